//! What a low end asks of a disc: its lateral and its vertical movement.
//!
//! A stereo disc is cut at 45 degrees to either side (IEC 60098): the sum of the channels moves the stylus sideways, their
//! difference up and down. `lateral = (L+R)/sqrt 2`, `vertical = (L-R)/sqrt 2`. Sideways there is room; a strong vertical
//! movement of long waves makes the groove too shallow or too deep. Both are read below 300 Hz, cut by two second-order
//! Butterworth low-passes in a row (24 dB an octave, -6 dB at the corner).

use std::f64::consts::FRAC_1_SQRT_2;

use serde::{Deserialize, Serialize};
use units::{Frame, db_from_gain, db_from_power};

use crate::envelope::Filter;
use crate::stereo::StereoPower;

/// Where the low end of a disc ends: cutting houses ask for the middle below 100 to 300 Hz. Common practice, no source.
pub const LOW_HZ: f64 = 300.0;

/// Streaming meter of a disc's low end.
#[derive(Clone, Debug)]
pub struct DiscMeter {
    cuts: [Filter; 2],
    power: StereoPower,
    peaks: [f64; 2],
    frames: u64,
}

/// Lateral and vertical movement below [`LOW_HZ`]. Each level is none for silence.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Disc {
    /// Mean square of the lateral movement, in dB, 0 dB at 1.0.
    pub lateral_db: Option<f64>,
    /// Mean square of the vertical movement.
    pub vertical_db: Option<f64>,
    /// Largest lateral excursion, in dBFS.
    pub lateral_peak_dbfs: Option<f64>,
    /// Largest vertical excursion, in dBFS.
    pub vertical_peak_dbfs: Option<f64>,
}

impl Disc {
    /// Vertical over lateral movement, in power: 0 dB for unrelated channels of equal power and for one channel alone.
    #[must_use]
    pub fn vertical_over_lateral_db(&self) -> Option<f64> {
        self.vertical_db.zip(self.lateral_db).map(|(vertical, lateral)| vertical - lateral)
    }
}

impl DiscMeter {
    /// A meter at a sample rate.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        let cut = Filter::low_pass(LOW_HZ, rate_hz);
        Self { cuts: [cut; 2], power: StereoPower::default(), peaks: [0.0; 2], frames: 0 }
    }

    /// Takes in the next frames. Values must be finite.
    pub fn push(&mut self, frames: &[Frame]) {
        let [one, two] = &mut self.cuts;
        for x in frames {
            let [left, right] = two.next(one.next(*x));
            self.power.left += left * left;
            self.power.right += right * right;
            self.power.product += left * right;
            self.peaks[0] = self.peaks[0].max((left + right).abs());
            self.peaks[1] = self.peaks[1].max((left - right).abs());
        }
        self.frames += frames.len() as u64;
    }

    /// The low end once all frames are in.
    #[must_use]
    pub fn finish(self) -> Disc {
        let power = self.power.scaled(1.0 / self.frames.max(1) as f64);
        // Middle and side are halves: twice their power is that of the orthonormal sum and difference.
        let level = |power: f64| (power > 0.0).then(|| db_from_power(2.0 * power));
        let peak = |peak: f64| (peak > 0.0).then(|| db_from_gain(FRAC_1_SQRT_2 * peak));
        Disc {
            lateral_db: level(power.mid()),
            vertical_db: level(power.side()),
            lateral_peak_dbfs: peak(self.peaks[0]),
            vertical_peak_dbfs: peak(self.peaks[1]),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signals::{noise, tone};

    const RATE_HZ: f64 = 48_000.0;

    fn disc(frames: impl IntoIterator<Item = Frame>) -> Disc {
        let mut meter = DiscMeter::new(RATE_HZ);
        let frames: Vec<Frame> = frames.into_iter().collect();
        frames.chunks(777).for_each(|piece| meter.push(piece));
        meter.finish()
    }

    #[test]
    fn a_bass_in_the_middle_moves_sideways_and_one_out_of_phase_up_and_down() {
        // L = R = sine of 0.5: (L+R)/sqrt 2 has the peak 0.7071, -3.01 dBFS, and the mean square 0.25, -6.02 dB. At 50 Hz
        // the low-pass takes 10 lg(1 + (50/300)^4) = 0.003 dB, twice.
        let bass = tone(RATE_HZ, 50.0, -6.0206, 2.0);
        let middle = disc(bass.clone());
        assert!((middle.lateral_db.unwrap() + 6.02).abs() < 0.05, "{middle:?}");
        assert!((middle.lateral_peak_dbfs.unwrap() + 3.01).abs() < 0.2, "{middle:?}");
        assert!(middle.vertical_db.is_none_or(|db| db < -150.0), "{middle:?}");
        let turned = disc(bass.iter().map(|x| [x[0], -x[1]]));
        assert!((turned.vertical_db.unwrap() + 6.02).abs() < 0.05, "{turned:?}");
        assert!((turned.vertical_peak_dbfs.unwrap() + 3.01).abs() < 0.2, "{turned:?}");
        assert!(turned.lateral_db.is_none_or(|db| db < -150.0), "{turned:?}");
    }

    #[test]
    fn one_channel_alone_moves_both_ways_alike() {
        let left = disc(noise(96_000, 0.1, 3).iter().map(|x| [x[0], 0.0]));
        assert!(left.vertical_over_lateral_db().unwrap().abs() < 1e-9, "{left:?}");
        // Channels with correlation r and equal levels: 10 lg((1 - r) / (1 + r)), here r = 0.6 by construction.
        let related = noise(2_000_000, 0.1, 5).into_iter().map(|[a, b]| [a, 0.6 * a + 0.8 * b]);
        let ratio = disc(related).vertical_over_lateral_db().unwrap();
        assert!((ratio - db_from_power(0.4 / 1.6)).abs() < 0.2, "{ratio}");
    }

    #[test]
    fn what_lies_above_counts_for_nothing() {
        // Swelling from nothing, so that no start is heard below.
        let swelling = |(n, x): (usize, Frame)| {
            let level = n as f64 / RATE_HZ;
            [level * level * x[0], -level * level * x[1]]
        };
        let end = tone(RATE_HZ, 3000.0, -6.0, 0.99);
        let high = disc(end.into_iter().enumerate().map(swelling));
        assert!(high.vertical_db.unwrap() < -75.0, "ten times the corner, 24 dB an octave: {high:?}");
    }
}
