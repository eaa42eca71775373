//! What one path adds to another, at any level, from one hearing.
//!
//! Of dry `d` and wet `w` blended as `d + g w`, every energy is a square in the blend `g`:
//! `E(g) = E_dd + 2 g E_dw + g^2 E_ww`. A meter of the dry path, one of the wet path and one of their sum (`g = 1`) hold
//! all three terms, since `2 E_dw = E(1) - E_dd - E_ww`. So loudness (block by block, gates included), bands and the
//! stereo image follow for every level of the return from one render; the crest factor, which hangs on peaks, does not.

use units::Frame;

use crate::envelope::{Band, Envelope, EnvelopeMeter};
use crate::level::LevelMeter;
use crate::loudness::{self, LoudnessMeter};
use crate::stereo::StereoPower;

/// Energy of `d + g w` from the energies of `d`, of `w` and of `d + w`. Rounding may leave a trace below zero where the
/// two cancel; that counts as nothing.
#[must_use]
pub fn blended_energy(dry: f64, wet: f64, sum: f64, gain: f64) -> f64 {
    cross(dry, wet, sum, gain).max(0.0)
}

/// The same for terms that may be negative: the product of two channels.
fn cross(dry: f64, wet: f64, sum: f64, gain: f64) -> f64 {
    dry + gain * (sum - dry - wet) + gain * gain * wet
}

/// Stereo powers of `d + g w`.
#[must_use]
pub fn blended_power(dry: &StereoPower, wet: &StereoPower, sum: &StereoPower, gain: f64) -> StereoPower {
    StereoPower {
        left: blended_energy(dry.left, wet.left, sum.left, gain),
        right: blended_energy(dry.right, wet.right, sum.right, gain),
        product: cross(dry.product, wet.product, sum.product, gain),
    }
}

/// Correlation of two signals, both channels together: `E_dw / sqrt(E_dd E_ww)`. None if one is silent.
#[must_use]
pub fn correlation(dry: &StereoPower, wet: &StereoPower, sum: &StereoPower) -> Option<f64> {
    let [d, w, s] = [dry, wet, sum].map(StereoPower::mean);
    let scale = (d * w).sqrt();
    (scale > 0.0).then(|| ((s - d - w) / 2.0 / scale).clamp(-1.0, 1.0))
}

/// What a blend is made of: loudness, sample levels and envelope of one of its three signals.
#[derive(Clone)]
pub struct PartMeter {
    loudness: LoudnessMeter,
    level: LevelMeter,
    envelope: EnvelopeMeter,
}

/// A part once all frames are in.
#[derive(Clone, Debug)]
pub struct Part {
    /// Its loudness.
    pub loudness: LoudnessMeter,
    /// Its sample levels.
    pub level: LevelMeter,
    /// Its bands over time.
    pub envelope: Envelope,
}

impl PartMeter {
    /// A meter at a sample rate.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        Self {
            loudness: LoudnessMeter::new(rate_hz),
            level: LevelMeter::new(rate_hz),
            envelope: EnvelopeMeter::new(rate_hz),
        }
    }

    /// Takes in the next frames. Values must be finite.
    pub fn push(&mut self, frames: &[Frame]) {
        self.loudness.push(frames);
        self.level.push(frames);
        self.envelope.push(frames);
    }

    /// The part once all frames are in.
    #[must_use]
    pub fn finish(mut self) -> Part {
        self.level.end();
        Part { loudness: self.loudness, level: self.level, envelope: self.envelope.finish() }
    }
}

/// Dry path, wet path and their sum.
#[derive(Clone, Copy)]
pub struct Blend<'a> {
    /// The dry path alone.
    pub dry: &'a Part,
    /// The wet path alone, at its present level.
    pub wet: &'a Part,
    /// Both.
    pub sum: &'a Part,
}

impl Blend<'_> {
    /// Integrated loudness with the wet path at a gain on top of its present level; exact, gates included.
    #[must_use]
    pub fn integrated_lufs_at(&self, gain: f64) -> Option<f64> {
        loudness::blended_lufs(&self.dry.loudness, &self.wet.loudness, &self.sum.loudness, gain)
    }

    /// Mean square in a band with the wet path at a gain.
    #[must_use]
    pub fn band_at(&self, band: Band, gain: f64) -> f64 {
        let [dry, wet, sum] = [self.dry, self.wet, self.sum].map(|part| part.envelope.power(band));
        blended_energy(dry, wet, sum, gain)
    }

    /// Power of the whole with the wet path at a gain.
    #[must_use]
    pub fn whole_at(&self, gain: f64) -> StereoPower {
        let [dry, wet, sum] = [self.dry, self.wet, self.sum].map(|part| part.level.power());
        blended_power(&dry, &wet, &sum, gain)
    }

    /// Correlation of the wet with the dry path.
    #[must_use]
    pub fn correlation(&self) -> Option<f64> {
        correlation(&self.dry.level.power(), &self.wet.level.power(), &self.sum.level.power())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signals::{music, noise};

    const RATE_HZ: f64 = 48_000.0;

    fn part(frames: &[Frame]) -> Part {
        let mut meter = PartMeter::new(RATE_HZ);
        meter.push(frames);
        meter.finish()
    }

    fn mixed(dry: &[Frame], wet: &[Frame], gain: f64) -> Vec<Frame> {
        dry.iter().zip(wet).map(|(d, w)| [d[0] + gain * w[0], d[1] + gain * w[1]]).collect()
    }

    #[test]
    fn every_blend_follows_from_one_hearing() {
        // Against the same blend, really mixed and measured.
        let (dry, other) = (music(RATE_HZ, 8.0, 3), noise(8 * 48_000, 0.03, 5));
        let wet: Vec<Frame> =
            mixed(&dry, &other, 1.0).into_iter().map(|x| [0.3 * x[0] - 0.1 * x[1], 0.2 * x[1]]).collect();
        let [d, w, s] = [&dry, &wet, &mixed(&dry, &wet, 1.0)].map(|frames| part(frames));
        let blend = Blend { dry: &d, wet: &w, sum: &s };
        for gain_db in [-30.0, -6.0, 0.0, 9.0] {
            let gain = units::gain_from_db(gain_db);
            let real = part(&mixed(&dry, &wet, gain));
            let (ours, theirs) = (blend.integrated_lufs_at(gain).unwrap(), real.loudness.integrated_lufs().unwrap());
            assert!((ours - theirs).abs() < 1e-6, "{gain_db}: {ours} {theirs}");
            let (ours, theirs) = (blend.band_at(Band::Low, gain), real.envelope.power(Band::Low));
            assert!((ours / theirs - 1.0).abs() < 1e-9, "{gain_db}: {ours} {theirs}");
            let (ours, theirs) = (blend.whole_at(gain).image(), real.level.power().image());
            assert!((ours.correlation.unwrap() - theirs.correlation.unwrap()).abs() < 1e-9);
        }
    }

    #[test]
    fn a_coherent_copy_adds_what_the_closed_form_says() {
        // 20 log10(1 + g): a copy at -6, -10, -12, -20 dB adds 3.5, 2.4, 1.9, 0.8 dB (the sum of two like waves, any
        // handbook of acoustics).
        let dry = noise(4 * 48_000, 0.1, 7);
        let wet: Vec<Frame> = dry.iter().map(|x| [0.5 * x[0], 0.5 * x[1]]).collect();
        let [d, w, s] = [&dry, &wet, &mixed(&dry, &wet, 1.0)].map(|frames| part(frames));
        let blend = Blend { dry: &d, wet: &w, sum: &s };
        assert!((blend.correlation().unwrap() - 1.0).abs() < 1e-12);
        for (under_db, adds_db) in [(-6.0, 3.5287), (-10.0, 2.3866), (-12.0, 1.9465), (-20.0, 0.8279)] {
            let gain = units::gain_from_db(under_db) / 0.5;
            let adds = blend.integrated_lufs_at(gain).unwrap() - d.loudness.integrated_lufs().unwrap();
            assert!((adds - adds_db).abs() < 1e-3, "{under_db}: {adds}");
        }
    }
}
