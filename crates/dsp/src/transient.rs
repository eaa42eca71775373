//! Transient shaper: more or less onset, more or less ringing on, at any level.
//!
//! Three envelopes of the key, all of them proportional to it:
//!
//! - the *peak* P: the largest magnitude of both channels within the last 25 ms, a whole wave of 40 Hz, so that any
//!   steady tone from there up reads a steady level;
//! - the *slow rise* S: goes up to P with the time constant `onset_ms`, and down with P at once;
//! - the *slow fall* L: goes up with P at once, and down with the time constant `sustain_ms`, never below P.
//!
//! The gain in dB is `onset_db w(P / S) + sustain_db w(L / P)`, where w of a ratio is its level over 12 dB, at most 1. It
//! glides with a time constant of 1 ms. No threshold above silence, which ends at -200 dBFS: a song 40 dB down is shaped
//! alike, and what stands still passes at 0 dB. Latency is 0. Lanes share the key's gain.

use std::collections::VecDeque;

use units::{At, Block, Frame, Param, Settings, Spec, Unit, Value, frames_from_ms};

use crate::decibel_fast::{db_from_amplitude, gain_from_db};
use crate::{BuildError, Context, Processor};

/// What onsets get.
pub const ONSET_DB: Param = Param::number(
    "onset_db",
    Unit::Decibel,
    [-18.0, 18.0],
    0.0,
    "How much the first moments of each sound are raised or lowered, at most.",
);
/// How long an onset is.
pub const ONSET_MS: Param = Param::number(
    "onset_ms",
    Unit::Millisecond,
    [2.0, 100.0],
    20.0,
    "How long an onset counts: of its change, a third is left after this time.",
);
/// What rings on gets.
pub const SUSTAIN_DB: Param = Param::number(
    "sustain_db",
    Unit::Decibel,
    [-18.0, 18.0],
    0.0,
    "How much what rings on after the onset is raised or lowered, at most.",
);
/// What counts as dying away.
pub const SUSTAIN_MS: Param = Param::number(
    "sustain_ms",
    Unit::Millisecond,
    [50.0, 2000.0],
    400.0,
    "The time constant against which ringing is judged: only what dies away faster is changed.",
);

/// The transient shaper's description.
pub static SPEC: Spec = Spec {
    name: "transient",
    title: "transient shaper",
    summary: "Raises or lowers the onsets of sounds and what rings on after them, whatever their level.",
    source: "Followers that rise and fall with time constants, as the level detectors in Giannoulis, Massberg and Reiss \
             (JAES 60(6), 2012). That the ratio of two drives a gain is common practice, no source; the peak over a whole \
             wave and the law from ratio to gain are our own.",
    caution: "Raised ringing brings up noise and spill between the sounds too. Raised onsets make peaks that a limiter \
              behind takes away again.",
    sentence: "changes onsets by {onset_db}[, a third of it left after {onset_ms}], and what rings on by \
               {sustain_db}[, where it dies away faster than in {sustain_ms}]",
    params: &[ONSET_DB, ONSET_MS, SUSTAIN_DB, SUSTAIN_MS],
    rows: None,
    outside_key: true,
};

/// Length of the peak's window.
const PEAK_MS: f64 = 25.0;
/// A ratio of this many dB counts in full.
const FULL_DB: f64 = 12.0;
/// Time constant with which the gain glides.
const GLIDE_MS: f64 = 1.0;
/// A key below this is silent (-200 dBFS): what the arithmetic of processors before it leaves would be onsets of their own.
const SILENCE: f64 = 1e-10;
/// Gains and envelopes below this are none, and would end in denormal numbers.
const NOTHING: f64 = 1e-30;
/// Frames handled at once; the result does not depend on it.
const PIECE: usize = 128;

/// The largest of the last magnitudes: those that no later one tops, with the frame at which they leave the window.
struct Peak {
    window: u64,
    now: u64,
    untopped: VecDeque<(u64, f64)>,
}

impl Peak {
    fn over(frames: usize) -> Self {
        Self { window: frames as u64, now: 0, untopped: VecDeque::with_capacity(frames + 1) }
    }

    #[inline]
    fn next(&mut self, magnitude: f64) -> f64 {
        if self.untopped.front().is_some_and(|(leaves, _)| *leaves <= self.now) {
            self.untopped.pop_front();
        }
        while self.untopped.back().is_some_and(|(_, other)| *other <= magnitude) {
            self.untopped.pop_back();
        }
        self.untopped.push_back((self.now + self.window, magnitude));
        self.now += 1;
        self.untopped.front().map_or(0.0, |(_, largest)| *largest)
    }

    fn reset(&mut self) {
        self.untopped.clear();
        self.now = 0;
    }
}

/// A transient shaper. See the module's description.
pub struct Transient {
    settings: Settings,
    rate_hz: f64,
    peak: Peak,
    slow_rise: f64,
    slow_fall: f64,
    gain_db: f64,
    /// Share of its way that the slow rise goes in a frame, what the slow fall keeps, and the gain's share.
    rise: f64,
    fall: f64,
    glide: f64,
}

/// Builds it.
///
/// # Errors
/// Never.
pub fn build(settings: &Settings, context: &Context<'_>) -> Result<Box<dyn Processor>, BuildError> {
    let rate_hz = context.rate_hz;
    let mut transient = Transient {
        settings: settings.clone(),
        rate_hz,
        peak: Peak::over(frames_from_ms(PEAK_MS, rate_hz)),
        slow_rise: 0.0,
        slow_fall: 0.0,
        gain_db: 0.0,
        rise: 0.0,
        fall: 0.0,
        glide: 1.0 - kept_per_frame(GLIDE_MS, rate_hz),
    };
    transient.tune();
    Ok(Box::new(transient))
}

/// What a one-pole of a time constant keeps of its distance in a frame.
fn kept_per_frame(ms: f64, rate_hz: f64) -> f64 {
    libm::exp(-1000.0 / (ms * rate_hz))
}

/// How far a ratio of envelopes counts, 0 to 1.
#[inline]
fn weight(upper: f64, lower: f64) -> f64 {
    if upper <= lower {
        return 0.0;
    }
    if lower == 0.0 { 1.0 } else { (db_from_amplitude(upper / lower) / FULL_DB).clamp(0.0, 1.0) }
}

impl Transient {
    fn tune(&mut self) {
        self.rise = 1.0 - kept_per_frame(self.settings.number(&ONSET_MS), self.rate_hz);
        self.fall = kept_per_frame(self.settings.number(&SUSTAIN_MS), self.rate_hz);
    }

    /// The gain of each frame of a key.
    fn follow(&mut self, key: &[Frame], gains: &mut [f64]) {
        let [onset_db, sustain_db] = [&ONSET_DB, &SUSTAIN_DB].map(|param| self.settings.number(param));
        for (frame, gain) in key.iter().zip(gains) {
            let magnitude = frame[0].abs().max(frame[1].abs());
            let peak = self.peak.next(if magnitude < SILENCE { 0.0 } else { magnitude });
            self.slow_rise = peak.min(self.slow_rise + self.rise * (peak - self.slow_rise));
            let fallen = self.slow_fall * self.fall;
            self.slow_fall = peak.max(if fallen < NOTHING { 0.0 } else { fallen });
            let target = onset_db * weight(peak, self.slow_rise) + sustain_db * weight(self.slow_fall, peak);
            self.gain_db += self.glide * (target - self.gain_db);
            if self.gain_db.abs() < NOTHING {
                self.gain_db = 0.0;
            }
            *gain = gain_from_db(self.gain_db);
        }
    }
}

impl Processor for Transient {
    fn process(&mut self, block: &mut Block<'_>, outside_key: Option<&[Frame]>) {
        let mut gains = [0.0; PIECE];
        for from in (0..block.frames()).step_by(PIECE) {
            let length = PIECE.min(block.frames() - from);
            let mut piece = block.part(from, length);
            self.follow(outside_key.map_or(piece.lane(0), |key| &key[from..from + length]), &mut gains[..length]);
            for lane in piece.lanes_mut() {
                for (frame, gain) in lane.iter_mut().zip(&gains) {
                    *frame = [frame[0] * gain, frame[1] * gain];
                }
            }
        }
    }

    fn set(&mut self, at: At, value: f64) {
        self.settings.set(at, Value::Number(value));
        self.tune();
    }

    fn reset(&mut self) {
        self.peak.reset();
        (self.slow_rise, self.slow_fall, self.gain_db) = (0.0, 0.0, 0.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{RATES_HZ, noise, sine, through};

    /// 20 / ln 10: dB of a time constant.
    const DB_PER_E: f64 = 8.685_889_638_065_037;

    fn transient(onset_db: f64, sustain_db: f64, rate_hz: f64) -> Box<dyn Processor> {
        let settings = Settings::defaults(&SPEC).with_number(&ONSET_DB, onset_db).with_number(&SUSTAIN_DB, sustain_db);
        build(&settings, &Context::plain(rate_hz, 1)).unwrap()
    }

    /// Gain in dB, frame by frame.
    fn gains_db(onset_db: f64, sustain_db: f64, rate_hz: f64, signal: &[f64]) -> Vec<f64> {
        let out = through(transient(onset_db, sustain_db, rate_hz).as_mut(), signal);
        out.iter().zip(signal).map(|(after, before)| 20.0 * libm::log10(after / before)).collect()
    }

    /// Hits that ring, with noise between them.
    fn hits(scale: f64) -> Vec<f64> {
        let hit = |(n, x): (usize, f64)| scale * x * (1e-3 + libm::exp(-((n % 9000) as f64) / 1500.0));
        noise(40_000, 3).into_iter().enumerate().map(hit).collect()
    }

    #[test]
    fn at_0_db_every_bit_passes() {
        assert_eq!(through(transient(0.0, 0.0, 48_000.0).as_mut(), &hits(0.7)), hits(0.7));
    }

    #[test]
    fn the_level_does_not_matter() {
        // Every envelope is proportional to the key, so a power of two changes exponents and no digit.
        let scale = 1.0 / 4096.0;
        let of = |scale| through(transient(9.0, 7.0, 48_000.0).as_mut(), &hits(scale));
        let (loud, soft) = (of(1.0), of(scale));
        assert!(loud != hits(1.0) && loud.iter().zip(&soft).all(|(loud, soft)| loud * scale == *soft));
        // Elsewhere rounding comes in: -40 dB within 1e-9 dB.
        let worst =
            of(0.01).iter().zip(&loud).map(|(soft, loud)| (soft * 100.0 / loud - 1.0).abs()).fold(0.0, f64::max);
        assert!(worst < 1e-10, "{worst}");
    }

    /// A convolution by transforms leaves some 1e-16 of the loudest where there was silence.
    #[test]
    fn what_rounding_leaves_is_silence() {
        let after = |before: Vec<f64>| {
            let from = before.len();
            through(transient(9.0, 7.0, 48_000.0).as_mut(), &[before, hits(0.7)].concat()).split_off(from)
        };
        let left: Vec<f64> = noise(5000, 4).iter().map(|x| 1e-16 * x).collect();
        assert_eq!(after(left), after(vec![0.0; 5000]));
    }

    #[test]
    fn what_stands_still_passes() {
        for rate_hz in RATES_HZ {
            // 50 Hz with an octave: the crests above and below differ.
            let octave = sine(100.0, 0.3, rate_hz, rate_hz as usize);
            let tone: Vec<f64> =
                sine(50.0, 0.4, rate_hz, octave.len()).iter().zip(&octave).map(|(a, b)| a + b).collect();
            let out = through(transient(18.0, 18.0, rate_hz).as_mut(), &tone);
            let worst = out.iter().zip(&tone).skip(tone.len() / 2).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
            assert!(worst < 1e-8, "{worst} at {rate_hz} Hz");
        }
    }

    /// A rise by 6 dB: P / S = 1 / (1 - e^(-t / 20 ms) / 2), and the gain lags by its glide. Within 0.02 dB.
    #[test]
    fn an_onset_gets_the_gain_of_the_closed_form() {
        for rate_hz in RATES_HZ {
            let second = rate_hz as usize;
            let signal: Vec<f64> = (0..2 * second).map(|n| if n < second { 0.25 } else { 0.5 }).collect();
            let gains = gains_db(12.0, 0.0, rate_hz, &signal);
            assert!(gains[second - 1].abs() < 1e-9);
            for ms in [6.0, 10.0, 20.0, 40.0, 80.0] {
                let wanted = -20.0 * libm::log10(1.0 - 0.5 * libm::exp(-(ms - GLIDE_MS) / 20.0));
                let found = gains[second + frames_from_ms(ms, rate_hz)];
                assert!((found - wanted).abs() < 0.02, "{found} for {wanted} dB after {ms} ms at {rate_hz} Hz");
            }
        }
    }

    /// e^(-t / 60 ms): P follows 25 ms later, L falls from there with 400 ms, so that the gain grows in a straight line
    /// until the ratio is 12 dB; the glide comes 1 ms later. Within 0.01 dB.
    #[test]
    fn what_rings_on_gets_the_gain_of_the_closed_form() {
        for rate_hz in RATES_HZ {
            let signal: Vec<f64> =
                (0..rate_hz as usize / 2).map(|n| libm::exp(-(n as f64) / (0.06 * rate_hz))).collect();
            for sustain_db in [6.0, -9.0] {
                let gains = gains_db(0.0, sustain_db, rate_hz, &signal);
                for ms in [10.0, 40.0, 60.0, 100.0, 125.0, 200.0] {
                    let ratio_db = DB_PER_E * (ms - GLIDE_MS - PEAK_MS) * (1.0 / 60.0 - 1.0 / 400.0);
                    let wanted = sustain_db * (ratio_db / FULL_DB).clamp(0.0, 1.0);
                    let found = gains[frames_from_ms(ms, rate_hz)];
                    assert!((found - wanted).abs() < 0.01, "{found} for {wanted} dB after {ms} ms at {rate_hz} Hz");
                }
            }
        }
    }
}
