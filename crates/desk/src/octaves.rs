//! The correlation of left and right in each octave, over the last 0.4 s.

use dsp::biquad::{Coefficients, State};
use measure::StereoPower;
use measure::decay::OCTAVES_HZ;
use units::Frame;

use crate::meters::{MOMENTARY, Ring, correlation, power};

/// Quality factors of the three second-order sections of a sixth-order Butterworth filter: `1 / (2 cos(k 15 degrees))` for
/// k = 1, 3, 5.
const BUTTERWORTH_Q: [f64; 3] = [0.517_638_090_205_041_5, 0.707_106_781_186_547_5, 1.931_851_652_578_136_5];
/// Half an octave, as a ratio.
const HALF: f64 = std::f64::consts::SQRT_2;

/// One octave: what is above its lower and below its upper edge, steep enough for class 1 of IEC 61260-1.
struct Octave {
    sections: [Coefficients; 6],
    states: [State; 6],
    powers: Ring<StereoPower>,
}

impl Octave {
    fn new(centre_hz: f64, rate_hz: f64) -> Self {
        let [a, b, c] = BUTTERWORTH_Q;
        let high = |q| Coefficients::high_pass(centre_hz / HALF, q, rate_hz);
        let low = |q| Coefficients::low_pass(centre_hz * HALF, q, rate_hz);
        let sections = [high(a), high(b), high(c), low(a), low(b), low(c)];
        Self { sections, states: Default::default(), powers: Ring::new(MOMENTARY) }
    }

    fn push(&mut self, frames: &[Frame], work: &mut Vec<Frame>) {
        work.clear();
        work.extend_from_slice(frames);
        for (state, section) in self.states.iter_mut().zip(&self.sections) {
            state.process(section, work);
            state.settle();
        }
        self.powers.push(power(work.iter().copied()));
    }
}

/// All octaves whose upper edge lies below half the rate.
pub struct Octaves {
    octaves: Vec<Octave>,
    work: Vec<Frame>,
}

impl Octaves {
    /// For a rate.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        let heard = OCTAVES_HZ.into_iter().filter(|centre| centre * HALF < rate_hz / 2.0);
        Self { octaves: heard.map(|centre| Octave::new(centre, rate_hz)).collect(), work: Vec::new() }
    }

    /// Takes the next 10 ms.
    pub fn push(&mut self, frames: &[Frame]) {
        let work = &mut self.work;
        self.octaves.iter_mut().for_each(|octave| octave.push(frames, work));
    }

    /// Nominal centre and correlation of each; none where it is silent.
    #[must_use]
    pub fn read(&self) -> Vec<(f64, Option<f64>)> {
        OCTAVES_HZ.into_iter().zip(&self.octaves).map(|(hz, octave)| (hz, correlation(&octave.powers))).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE_HZ: f64 = 48_000.0;

    fn heard(wave: impl Fn(usize) -> Frame) -> Vec<(f64, Option<f64>)> {
        let mut octaves = Octaves::new(RATE_HZ);
        let frames: Vec<Frame> = (0..48_000).map(wave).collect();
        frames.chunks(480).for_each(|piece| octaves.push(piece));
        octaves.read()
    }

    fn tone(hz: f64, n: usize) -> f64 {
        libm::sin(std::f64::consts::TAU * hz * n as f64 / RATE_HZ)
    }

    /// Attenuation of the octave around 1 kHz at a frequency.
    fn attenuation_db(hz: f64) -> f64 {
        let mut octave = Octave::new(1000.0, RATE_HZ);
        let frames: Vec<Frame> = (0..48_000).map(|n| [tone(hz, n); 2]).collect();
        frames.chunks(480).for_each(|piece| octave.push(piece, &mut Vec::new()));
        let power = octave.powers.newest(MOMENTARY).map(|power| power.left).sum::<f64>() / (MOMENTARY * 240) as f64;
        -units::db_from_power(power)
    }

    #[test]
    fn an_octave_keeps_to_class_1_of_iec_61260_1() {
        // IEC 61260-1:2014, table 1, octave filters of class 1, from memory: limits of attenuation at powers of the octave
        // ratio (here 2; the standard prefers 10^0.3) from the middle.
        for (octaves, least, most) in [
            (0.0, -0.4, 0.4),
            (0.25, -0.4, 0.6),
            (-0.25, -0.4, 0.6),
            (0.5, 1.6, 5.3),
            (-0.5, 1.6, 5.3),
            (1.0, 16.6, f64::INFINITY),
            (-1.0, 16.6, f64::INFINITY),
            (2.0, 40.5, f64::INFINITY),
            (-2.0, 40.5, f64::INFINITY),
            (-3.0, 60.0, f64::INFINITY),
        ] {
            let found = attenuation_db(1000.0 * libm::exp2(octaves));
            assert!((least..=most).contains(&found), "{octaves} octaves away: {found} dB");
        }
    }

    #[test]
    fn each_octave_has_the_correlation_of_its_own_sound() {
        // The same at 125 Hz, upside down at 1 kHz, a quarter of a turn apart at 4 kHz.
        let read = heard(|n| {
            let (low, middle, high) = (tone(125.0, n), tone(1000.0, n), tone(4000.0, n));
            [low + middle + high, low - middle + tone(4000.0, n + 3)]
        });
        for (hz, expected) in [(125.0, 1.0), (1000.0, -1.0), (4000.0, 0.0)] {
            let (_, found) = read.iter().find(|(centre, _)| *centre == hz).expect("it is one");
            assert!((found.expect("it sounds") - expected).abs() < 0.01, "{hz}: {read:?}");
        }
        assert!(heard(|_| [0.0; 2]).iter().all(|(_, found)| found.is_none()), "silence has none");
    }

    #[test]
    fn the_middle_and_the_side_give_their_closed_form() {
        // Unrelated middle and side: r = (M - S) / (M + S); the side 6 dB below gives 0.59848.
        let side = units::gain_from_db(-6.0);
        let read = heard(|n| {
            let (middle, other) = (tone(500.0, n), side * tone(550.0, n));
            [middle + other, middle - other]
        });
        let (_, found) = read.iter().find(|(centre, _)| *centre == 500.0).expect("it is one");
        assert!((found.expect("it sounds") - 0.598_48).abs() < 0.01, "{found:?}");
    }
}
