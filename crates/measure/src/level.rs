//! Levels of the samples themselves: peak, RMS, crest, DC, stretches at full scale, and crest and peak to loudness over time.
//!
//! RMS levels are decibels of the mean square, 0 dB at 1.0: a full-scale sine reads -3.01 dB.

use std::ops::Range;

use serde::{Deserialize, Serialize};
use units::Frame;

use crate::{loudness::LoudnessPoint, stereo::StereoPower, true_peak::Peak};

/// What counts as full scale: the greatest positive value of 16-bit audio, so that clipping is found in files of every
/// word length.
pub const FULL_SCALE: f64 = 1.0 - 1.0 / 32_768.0;
/// Stretches at full scale that are listed one by one; all are counted. Keeps memory bounded for ruined files.
const MOST_CLIPS_LISTED: usize = 1000;
/// Frames tested at once.
const GROUP: usize = 64;

/// Consecutive samples of one channel at or above full scale.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ClipRun {
    /// 0 left, 1 right.
    pub channel: usize,
    /// First frame.
    pub from_frame: u64,
    /// Length.
    pub frames: u64,
}

/// All stretches at full scale.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Clips {
    /// The first thousand, in order of their ends.
    pub runs: Vec<ClipRun>,
    /// How many there are.
    pub count: u64,
    /// The longest, in frames.
    pub longest_frames: u64,
}

/// Streaming meter of sample levels.
#[derive(Clone, Debug)]
pub struct LevelMeter {
    rate_hz: f64,
    frames: u64,
    sums: [f64; 2],
    power: StereoPower,
    peaks: [Peak; 2],
    clips: Clips,
    open_runs: [u64; 2],
    tenth_end: u64,
    tenth_peak: f64,
    tenth_peaks: Vec<f64>,
    tenth_sums: [f64; 2],
    /// Mean squares of left and right in each tenth of a second.
    tenth_powers: Vec<[f64; 2]>,
}

impl LevelMeter {
    /// A meter at a sample rate.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        Self {
            rate_hz,
            frames: 0,
            sums: [0.0; 2],
            power: StereoPower::default(),
            peaks: [Peak::NONE; 2],
            clips: Clips::default(),
            open_runs: [0; 2],
            tenth_end: tenth_start(1, rate_hz),
            tenth_peak: 0.0,
            tenth_peaks: Vec::new(),
            tenth_sums: [0.0; 2],
            tenth_powers: Vec::new(),
        }
    }

    /// Takes in the next frames. Values must be finite.
    pub fn push(&mut self, mut frames: &[Frame]) {
        while !frames.is_empty() {
            let count = frames.len().min(GROUP).min((self.tenth_end - self.frames) as usize);
            self.push_group(&frames[..count]);
            frames = &frames[count..];
        }
    }

    /// A group lies within one tenth of a second.
    fn push_group(&mut self, group: &[Frame]) {
        let mut most = [0.0f64; 2];
        for x in group {
            self.power.left += x[0] * x[0];
            self.power.right += x[1] * x[1];
            self.power.product += x[0] * x[1];
            for c in 0..2 {
                self.sums[c] += x[c];
                self.tenth_sums[c] += x[c] * x[c];
                most[c] = most[c].max(x[c].abs());
            }
        }
        for c in 0..2 {
            if most[c] > self.peaks[c].value {
                let at = group.iter().position(|x| x[c].abs() == most[c]).unwrap_or(0);
                self.peaks[c] = Peak { value: most[c], at_frame: (self.frames + at as u64) as f64 };
            }
        }
        if most[0].max(most[1]) >= FULL_SCALE || self.open_runs != [0; 2] {
            self.find_clips(group);
        }
        self.tenth_peak = self.tenth_peak.max(most[0]).max(most[1]);
        self.frames += group.len() as u64;
        if self.frames == self.tenth_end {
            let length = (self.tenth_end - tenth_start(self.tenth_peaks.len() as u64, self.rate_hz)) as f64;
            self.tenth_powers.push(std::mem::take(&mut self.tenth_sums).map(|sum| sum / length));
            self.tenth_peaks.push(std::mem::replace(&mut self.tenth_peak, 0.0));
            self.tenth_end = tenth_start(self.tenth_peaks.len() as u64 + 1, self.rate_hz);
        }
    }

    fn find_clips(&mut self, group: &[Frame]) {
        for (i, x) in group.iter().enumerate() {
            for (c, sample) in x.iter().enumerate() {
                if sample.abs() >= FULL_SCALE {
                    self.open_runs[c] += 1;
                } else {
                    self.close_run(c, self.frames + i as u64);
                }
            }
        }
    }

    fn close_run(&mut self, channel: usize, end: u64) {
        let frames = std::mem::replace(&mut self.open_runs[channel], 0);
        if frames > 0 {
            self.clips.count += 1;
            self.clips.longest_frames = self.clips.longest_frames.max(frames);
            if self.clips.runs.len() < MOST_CLIPS_LISTED {
                self.clips.runs.push(ClipRun { channel, from_frame: end - frames, frames });
            }
        }
    }

    /// Ends the programme: a stretch at full scale that reaches its end is counted.
    pub fn end(&mut self) {
        self.close_run(0, self.frames);
        self.close_run(1, self.frames);
    }

    /// Frames so far.
    #[must_use]
    pub fn frames(&self) -> u64 {
        self.frames
    }

    /// Largest samples of left and right.
    #[must_use]
    pub fn peaks(&self) -> [Peak; 2] {
        self.peaks
    }

    /// Stretches at full scale that have ended.
    #[must_use]
    pub fn clips(&self) -> &Clips {
        &self.clips
    }

    /// Mean of each channel, 1 at full scale.
    #[must_use]
    pub fn dc(&self) -> [f64; 2] {
        self.sums.map(|sum| sum / self.frames.max(1) as f64)
    }

    /// Mean squares of the channels and of their product.
    #[must_use]
    pub fn power(&self) -> StereoPower {
        self.power.scaled(1.0 / self.frames.max(1) as f64)
    }

    /// RMS level of each channel; none for silence.
    #[must_use]
    pub fn rms_db(&self) -> [Option<f64>; 2] {
        [self.power().left, self.power().right].map(|z| (z > 0.0).then(|| units::db_from_power(z)))
    }

    /// Crest factor: the largest sample over the RMS of the stronger channel. A sine has 3.01 dB, a square wave 0.
    #[must_use]
    pub fn crest_db(&self) -> Option<f64> {
        let StereoPower { left, right, .. } = self.power();
        let peak = self.peaks[0].value.max(self.peaks[1].value);
        (peak > 0.0).then(|| units::db_from_gain(peak) - units::db_from_power(left.max(right)))
    }

    /// Peak to short-term loudness (PSR) at each point of a loudness history that has a short-term reading: the largest
    /// sample of either channel in the same three seconds, in dBFS, less the short-term loudness. Sample peak, not
    /// true peak.
    #[must_use]
    pub fn psr_db(&self, history: &[LoudnessPoint]) -> Vec<Option<f64>> {
        let psr = |point: &LoudnessPoint| {
            let peak = self.peak_of(short_term(point)?)?;
            Some(units::db_from_gain(peak) - point.short_term_lufs?)
        };
        history.iter().map(psr).collect()
    }

    /// Crest factor of the three seconds that end at each point of a loudness history: the largest sample of either
    /// channel over the RMS of the stronger one. None for silence and in the first three seconds.
    #[must_use]
    pub fn crest_over_time_db(&self, history: &[LoudnessPoint]) -> Vec<Option<f64>> {
        let crest = |point: &LoudnessPoint| {
            let window = short_term(point)?;
            let peak = self.peak_of(window.clone()).filter(|peak| *peak > 0.0)?;
            let tenths = self.tenth_powers.get(window)?;
            let power = |c: usize| tenths.iter().map(|power| power[c]).sum::<f64>() / tenths.len() as f64;
            Some(units::db_from_gain(peak) - units::db_from_power(power(0).max(power(1))))
        };
        history.iter().map(crest).collect()
    }

    fn peak_of(&self, tenths: Range<usize>) -> Option<f64> {
        Some(self.tenth_peaks.get(tenths)?.iter().fold(0.0f64, |most, x| most.max(*x)))
    }
}

/// The tenths of the three seconds that end at a point.
fn short_term(point: &LoudnessPoint) -> Option<Range<usize>> {
    let end = (point.secs * 10.0).round() as usize;
    Some(end.checked_sub(30)?..end)
}

/// First frame of a tenth of a second, to the nearest frame, as in the loudness meter.
fn tenth_start(tenth: u64, rate_hz: f64) -> u64 {
    (tenth as f64 * rate_hz / 10.0).round() as u64
}

#[cfg(test)]
mod tests;
