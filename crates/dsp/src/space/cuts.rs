//! Low cut and high cut of a return: Butterworth, second order (12 dB an octave), -3.01 dB at the corner. Its magnitude
//! never exceeds 1, so it may sit inside a feedback loop. A cut that is off is exactly absent.

use std::f64::consts::{FRAC_1_SQRT_2, PI};

use units::{Frame, Param, Unit};

use super::SILENT;
use crate::biquad::{Coefficients, Gliding, State};

/// The high cut's greatest value stands for off.
pub(crate) const HIGH_CUT_OFF_HZ: f64 = 20_000.0;

/// Low cut; 0 is off.
pub(crate) const LOW_CUT: Param = Param::number(
    "low_cut_hz",
    Unit::Hertz,
    [0.0, 2000.0],
    0.0,
    "Cuts the return below this corner, 12 dB an octave, so that it leaves the low end alone; 0 is off.",
);

/// High cut; the top of its range is off.
pub(crate) const HIGH_CUT: Param = Param::number(
    "high_cut_hz",
    Unit::Hertz,
    [200.0, HIGH_CUT_OFF_HZ],
    HIGH_CUT_OFF_HZ,
    "Cuts the return above this corner, 12 dB an octave, so that it sits behind; 20 kHz is off.",
);

/// Both cuts; the same for every lane.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Cuts([Gliding; 2]);

/// The memory of both cuts of one lane.
pub(crate) type CutsMemory = [State; 2];

impl Cuts {
    /// Cuts at rest at their settings.
    pub(crate) fn new(low_hz: f64, high_hz: f64, rate_hz: f64) -> Self {
        Self(coefficients(low_hz, high_hz, rate_hz).map(Gliding::at))
    }

    /// Moves the corners.
    pub(crate) fn set(&mut self, low_hz: f64, high_hz: f64, rate_hz: f64) {
        for (cut, target) in self.0.iter_mut().zip(coefficients(low_hz, high_hz, rate_hz)) {
            if *cut.target() != target {
                cut.go_to(target);
            }
        }
    }

    /// Cuts a chunk of a lane. Glides stay where they were: see [`Cuts::pass`].
    pub(crate) fn process(&self, memory: &mut CutsMemory, chunk: &mut [Frame]) {
        for (cut, state) in self.0.iter().zip(memory) {
            if cut.is_at_rest() && *cut.now() == Coefficients::IDENTITY && state.is_silent() {
                continue;
            }
            let mut cut = *cut;
            for frame in chunk.iter_mut() {
                *frame = state.step(cut.advance(), *frame);
                state.settle();
            }
        }
    }

    /// Cuts a chunk of one channel.
    pub(crate) fn process_mono(&self, memory: &mut CutsMemory, chunk: &mut [f64]) {
        let mut frames = SILENT;
        let frames = &mut frames[..chunk.len()];
        frames.iter_mut().zip(chunk.iter()).for_each(|(frame, x)| *frame = [*x, 0.0]);
        self.process(memory, frames);
        chunk.iter_mut().zip(frames.iter()).for_each(|(x, frame)| *x = frame[0]);
    }

    /// Lets frames go by, once every lane has been through them.
    pub(crate) fn pass(&mut self, frames: usize) {
        for cut in &mut self.0 {
            for _ in 0..frames.min(crate::ramp::RAMP_FRAMES) {
                cut.advance();
            }
        }
    }

    /// Ends the glides.
    pub(crate) fn finish(&mut self) {
        self.0.iter_mut().for_each(Gliding::finish);
    }

    /// Frames by which the cuts hold back the frequencies that pass them latest: the group delay of each stays below
    /// 2 / (2 pi corner).
    pub(crate) fn most_delay_frames(low_hz: f64, high_hz: f64, rate_hz: f64) -> f64 {
        let one = |hz: f64| rate_hz / (PI * hz);
        (if low_hz > 0.0 { one(low_hz) } else { 0.0 }) + if high_hz < HIGH_CUT_OFF_HZ { one(high_hz) } else { 0.0 }
    }

    /// Frames after which the memory has fallen by 120 dB.
    pub(crate) fn tail_frames(&self) -> usize {
        self.0.iter().map(|cut| cut.target().tail_frames()).sum()
    }
}

/// Low cut and high cut.
fn coefficients(low_hz: f64, high_hz: f64, rate_hz: f64) -> [Coefficients; 2] {
    let off = Coefficients::IDENTITY;
    [
        if low_hz > 0.0 { Coefficients::high_pass(low_hz, FRAC_1_SQRT_2, rate_hz) } else { off },
        if high_hz < HIGH_CUT_OFF_HZ { Coefficients::low_pass(high_hz, FRAC_1_SQRT_2, rate_hz) } else { off },
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Level in dB of a sine after the cuts, by correlation over whole periods once settled.
    fn level_db(cuts: &Cuts, hz: f64, rate_hz: f64) -> f64 {
        let mut memory = CutsMemory::default();
        let (mut re, mut im) = (0.0, 0.0);
        for n in 0..rate_hz as usize {
            let angle = 2.0 * PI * hz * n as f64 / rate_hz;
            let mut chunk = [[libm::sin(angle); 2]];
            cuts.process(&mut memory, &mut chunk);
            if n >= rate_hz as usize / 2 {
                re += chunk[0][0] * libm::sin(angle);
                im += chunk[0][0] * libm::cos(angle);
            }
        }
        units::db_from_power((re * re + im * im) * 16.0 / (rate_hz * rate_hz))
    }

    #[test]
    fn the_cuts_follow_the_butterworth_response() {
        // Butterworth 1930: |H|^2 = 1 / (1 + (f/fc)^4) for the second order; half power at the corner.
        for rate_hz in [44_100.0, 96_000.0] {
            let low = Cuts::new(200.0, HIGH_CUT_OFF_HZ, rate_hz);
            let high = Cuts::new(0.0, 2000.0, rate_hz);
            assert!((level_db(&low, 200.0, rate_hz) + 3.0103).abs() < 0.001);
            assert!((level_db(&low, 100.0, rate_hz) + 12.3045).abs() < 0.01);
            assert!((level_db(&high, 2000.0, rate_hz) + 3.0103).abs() < 0.001);
            assert!((level_db(&high, 1000.0, rate_hz) + 0.2633).abs() < 0.01);
        }
    }

    #[test]
    fn a_cut_that_is_off_changes_nothing() {
        let cuts = Cuts::new(0.0, HIGH_CUT_OFF_HZ, 48_000.0);
        let mut chunk = [[0.1, -0.7]; 5];
        cuts.process(&mut CutsMemory::default(), &mut chunk);
        assert_eq!(chunk, [[0.1, -0.7]; 5]);
    }
}
