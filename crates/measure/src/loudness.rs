//! Loudness after Recommendation ITU-R BS.1770-5, with the windows of EBU Tech 3341 and the range of EBU Tech 3342.
//!
//! Loudness of a stretch is `-0.691 + 10 log10(z)`, with `z` the mean square of the K-weighted left channel plus that
//! of the right (both weigh 1.0). All readings follow from the K-weighted energy of each tenth of a second, which is
//! all that is kept: 80 bytes for a second of programme.
//!
//! - momentary: the last 0.4 s; short-term: the last 3 s (both ungated, their maxima sought on a grid of 10 ms, since a
//!   grid of 100 ms misses a tone burst of 0.4 s by up to 0.58 LU);
//! - integrated: mean over blocks of 0.4 s that overlap by 75 %, gated at -70 LUFS and again at 10 LU below the
//!   loudness of what passed;
//! - loudness range: 95th less 10th percentile of short-term loudness at 10 Hz, gated at -70 LUFS and at 20 LU below
//!   the loudness of what passed.
//!
//! A window that the programme does not fill has no reading. The filter is Annex 1's at 48 kHz and, at other rates, the
//! bilinear transform of the same analogue prototype.

use serde::{Deserialize, Serialize};
use units::Frame;

mod k_weighting;

pub use k_weighting::KWeighting;

/// BS.1770-5, Annex 1: what makes a 997 Hz full-scale sine in one channel read -3.01 LKFS.
const OFFSET_DB: f64 = -0.691;
/// BS.1770-5, Annex 1: absolute gate.
const ABSOLUTE_GATE_LUFS: f64 = -70.0;
/// BS.1770-5, Annex 1: relative gate, 10 LU down, as a factor of energy.
const RELATIVE_GATE: f64 = 0.1;
/// EBU Tech 3342: relative gate of the loudness range, 20 LU down, as a factor of energy.
const RANGE_GATE: f64 = 0.01;
/// EBU Tech 3342: percentiles of the loudness range.
const RANGE_PERCENTILES: [f64; 2] = [0.10, 0.95];

/// Steps of 10 ms in a tenth, in the momentary and in the short-term window.
const HOPS_A_TENTH: usize = 10;
const MOMENTARY_HOPS: usize = 40;
const SHORT_TERM_HOPS: usize = 300;
/// Tenths of a second in a gating block (0.4 s, also the momentary window) and in the short-term window.
const MOMENTARY_TENTHS: usize = 4;
const SHORT_TERM_TENTHS: usize = 30;

/// One point of the loudness history.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct LoudnessPoint {
    /// End of both windows, from the start of the programme.
    pub secs: f64,
    /// Momentary loudness; none for silence.
    pub momentary_lufs: Option<f64>,
    /// Short-term loudness; none for silence and in the first three seconds.
    pub short_term_lufs: Option<f64>,
}

/// Streaming loudness meter. Feed it frames, ask it at any time.
#[derive(Clone, Debug)]
pub struct LoudnessMeter {
    filter: KWeighting,
    rate_hz: f64,
    frames: u64,
    hop_end: u64,
    hop_energy: f64,
    hops: u64,
    recent: Box<[f64; SHORT_TERM_HOPS]>,
    momentary_sum: f64,
    short_term_sum: f64,
    max_momentary: f64,
    max_short_term: f64,
    tenth_energy: f64,
    tenths: Vec<f64>,
}

impl LoudnessMeter {
    /// A meter for stereo at a sample rate from 8 to 192 kHz.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        Self::weighted(rate_hz, [1.0, 1.0])
    }

    /// A meter that hears only the left channel, for files of one channel, which read 3.01 LU lower than the same
    /// signal in both.
    #[must_use]
    pub fn mono(rate_hz: f64) -> Self {
        Self::weighted(rate_hz, [1.0, 0.0])
    }

    fn weighted(rate_hz: f64, weights: [f64; 2]) -> Self {
        Self {
            filter: KWeighting::new(rate_hz, weights),
            rate_hz,
            frames: 0,
            hop_end: hop_start(1, rate_hz),
            hop_energy: 0.0,
            hops: 0,
            recent: Box::new([0.0; SHORT_TERM_HOPS]),
            momentary_sum: 0.0,
            short_term_sum: 0.0,
            max_momentary: 0.0,
            max_short_term: 0.0,
            tenth_energy: 0.0,
            tenths: Vec::new(),
        }
    }

    /// Takes in the next frames. Values must be finite.
    pub fn push(&mut self, mut frames: &[Frame]) {
        while !frames.is_empty() {
            let count = frames.len().min((self.hop_end - self.frames) as usize);
            self.hop_energy = self.filter.energy(&frames[..count], self.hop_energy);
            self.frames += count as u64;
            frames = &frames[count..];
            if self.frames == self.hop_end {
                self.end_hop();
            }
        }
    }

    fn end_hop(&mut self) {
        self.filter.settle();
        let energy = std::mem::replace(&mut self.hop_energy, 0.0);
        let slot = self.hops as usize % SHORT_TERM_HOPS;
        let leaving = self.recent[(slot + SHORT_TERM_HOPS - MOMENTARY_HOPS) % SHORT_TERM_HOPS];
        self.momentary_sum += energy - leaving;
        self.short_term_sum += energy - self.recent[slot];
        self.recent[slot] = energy;
        self.hops += 1;
        if slot + 1 == SHORT_TERM_HOPS {
            self.short_term_sum = self.recent.iter().sum();
            self.momentary_sum = self.recent[SHORT_TERM_HOPS - MOMENTARY_HOPS..].iter().sum();
        }
        self.hop_end = hop_start(self.hops + 1, self.rate_hz);
        self.max_momentary = self.max_momentary.max(self.momentary_sum / self.window_frames(MOMENTARY_HOPS));
        self.max_short_term = self.max_short_term.max(self.short_term_sum / self.window_frames(SHORT_TERM_HOPS));
        self.tenth_energy += energy;
        if self.hops.is_multiple_of(HOPS_A_TENTH as u64) {
            self.tenths.push(std::mem::replace(&mut self.tenth_energy, 0.0));
        }
    }

    /// Frames in the last `hops` steps; infinite (so that a mean over them is zero) while there are fewer.
    fn window_frames(&self, hops: usize) -> f64 {
        match self.hops.checked_sub(hops as u64) {
            Some(first) => (self.frames - hop_start(first, self.rate_hz)) as f64,
            None => f64::INFINITY,
        }
    }

    /// Loudness of the last 0.4 s, stepping every 10 ms.
    #[must_use]
    pub fn momentary_lufs(&self) -> Option<f64> {
        lufs(self.recent_mean(MOMENTARY_HOPS))
    }

    /// Loudness of the last 3 s, stepping every 10 ms.
    #[must_use]
    pub fn short_term_lufs(&self) -> Option<f64> {
        lufs(self.recent_mean(SHORT_TERM_HOPS))
    }

    fn recent_mean(&self, hops: usize) -> f64 {
        let newest = self.hops as usize % SHORT_TERM_HOPS + SHORT_TERM_HOPS;
        let sum: f64 = (newest - hops..newest).map(|i| self.recent[i % SHORT_TERM_HOPS]).sum();
        let end = hop_start(self.hops, self.rate_hz);
        match self.hops.checked_sub(hops as u64) {
            Some(first) => sum / (end - hop_start(first, self.rate_hz)) as f64,
            None => 0.0,
        }
    }

    /// Greatest momentary loudness so far.
    #[must_use]
    pub fn max_momentary_lufs(&self) -> Option<f64> {
        lufs(self.max_momentary)
    }

    /// Greatest short-term loudness so far.
    #[must_use]
    pub fn max_short_term_lufs(&self) -> Option<f64> {
        lufs(self.max_short_term)
    }

    /// Integrated loudness so far; none when nothing passes the gates.
    #[must_use]
    pub fn integrated_lufs(&self) -> Option<f64> {
        self.integrated_lufs_at(0.0)
    }

    /// Integrated loudness of a stretch in seconds, to the nearest tenth, gated as if there were nothing else.
    #[must_use]
    pub fn integrated_lufs_between(&self, secs: [f64; 2]) -> Option<f64> {
        let [from, to] = secs.map(|secs| ((secs * 10.0).round().max(0.0) as usize).min(self.tenths.len()));
        let stretch = Self { tenths: self.tenths.get(from..to)?.to_vec(), ..self.clone() };
        stretch.integrated_lufs()
    }

    /// Integrated loudness of the same programme with a gain applied, exactly: the energies scale, and the absolute
    /// gate meets other blocks. Takes microseconds; hears no sample again.
    #[must_use]
    pub fn integrated_lufs_at(&self, gain_db: f64) -> Option<f64> {
        let blocks = || self.means(MOMENTARY_TENTHS);
        let loud = gated_mean(blocks(), energy_of(ABSOLUTE_GATE_LUFS - gain_db))?;
        let gate = energy_of(ABSOLUTE_GATE_LUFS - gain_db).max(loud * RELATIVE_GATE);
        lufs(gated_mean(blocks(), gate)?).map(|reading| reading + gain_db)
    }

    /// The gain in dB that takes integrated loudness to a target; none when there is none to take (silence), or
    /// when the gates leave no gain that meets it.
    #[must_use]
    pub fn gain_db_for(&self, target_lufs: f64) -> Option<f64> {
        // Where the absolute gate cuts nothing that counts, the first step is exact; more are needed near it only.
        let blocks = || self.means(MOMENTARY_TENTHS);
        let mut gain_db = target_lufs - lufs(gated_mean(blocks(), 0.0)?)?;
        for _ in 0..30 {
            let short = target_lufs - self.integrated_lufs_at(gain_db)?;
            gain_db += short;
            if short.abs() < 1e-9 {
                return Some(gain_db);
            }
        }
        None
    }

    /// K-weighted energy so far, in whole tenths of a second, without gates: for sums of parts.
    #[must_use]
    pub fn energy(&self) -> f64 {
        self.tenths.iter().sum()
    }

    /// Loudness range; none when nothing passes the gates.
    #[must_use]
    pub fn loudness_range_lu(&self) -> Option<f64> {
        range_lu(|| self.means(SHORT_TERM_TENTHS))
    }

    /// Momentary and short-term loudness every tenth of a second, from 0.4 s on.
    #[must_use]
    pub fn history(&self) -> Vec<LoudnessPoint> {
        let mut short_term = self.means(SHORT_TERM_TENTHS);
        let points = self.means(MOMENTARY_TENTHS).enumerate().map(|(at, momentary)| LoudnessPoint {
            secs: (at + MOMENTARY_TENTHS) as f64 / 10.0,
            momentary_lufs: lufs(momentary),
            short_term_lufs: if at + MOMENTARY_TENTHS < SHORT_TERM_TENTHS {
                None
            } else {
                lufs(short_term.next().unwrap_or(0.0))
            },
        });
        points.collect()
    }

    /// Mean squares of the windows of so many tenths, one for each step of a tenth.
    fn means(&self, tenths: usize) -> impl Iterator<Item = f64> + '_ {
        self.tenths.windows(tenths).enumerate().map(move |(at, window)| {
            let start = |tenth: usize| hop_start((tenth * HOPS_A_TENTH) as u64, self.rate_hz);
            window.iter().sum::<f64>() / (start(at + tenths) - start(at)) as f64
        })
    }
}

/// Integrated loudness of `d + g w`, exactly, from meters that have heard `d`, `w` and `d + w` (see [`crate::blend`]).
pub(crate) fn blended_lufs(dry: &LoudnessMeter, wet: &LoudnessMeter, sum: &LoudnessMeter, gain: f64) -> Option<f64> {
    let mut blend = dry.clone();
    for ((tenth, wet), sum) in blend.tenths.iter_mut().zip(&wet.tenths).zip(&sum.tenths) {
        *tenth = crate::blend::blended_energy(*tenth, *wet, *sum, gain);
    }
    blend.integrated_lufs()
}

/// First frame of a step of 10 ms, to the nearest frame.
fn hop_start(hop: u64, rate_hz: f64) -> u64 {
    (hop as f64 * rate_hz / 100.0).round() as u64
}

/// Mean of the energies above a gate (strictly, as in BS.1770); none if no one is.
fn gated_mean(energies: impl Iterator<Item = f64>, gate: f64) -> Option<f64> {
    let (sum, count) = energies.filter(|z| *z > gate).fold((0.0, 0u32), |(sum, count), z| (sum + z, count + 1));
    (count > 0).then(|| sum / f64::from(count))
}

/// Loudness range of the energies of short-term windows (EBU Tech 3342).
fn range_lu<I: Iterator<Item = f64>>(windows: impl Fn() -> I) -> Option<f64> {
    let absolute = energy_of(ABSOLUTE_GATE_LUFS);
    let gate = absolute.max(gated_mean(windows(), absolute)? * RANGE_GATE);
    let mut passed: Vec<f64> = windows().filter(|z| *z > gate).collect();
    passed.sort_by(f64::total_cmp);
    let nearest = |share: f64| passed.get((share * (passed.len() as f64 - 1.0)).round() as usize).copied();
    let [low, high] = RANGE_PERCENTILES.map(nearest);
    Some(lufs(high?)? - lufs(low?)?)
}

/// Loudness of a mean square; none for silence.
#[must_use]
pub fn lufs(mean_square: f64) -> Option<f64> {
    (mean_square > 0.0).then(|| OFFSET_DB + units::db_from_power(mean_square))
}

/// Mean square of a loudness.
fn energy_of(lufs: f64) -> f64 {
    libm::pow(10.0, (lufs - OFFSET_DB) / 10.0)
}

#[cfg(test)]
mod tests;
