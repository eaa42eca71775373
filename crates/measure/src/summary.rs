//! Everything that is measured of a programme, in one pass over it.

use serde::{Deserialize, Serialize};
use units::{Frame, all_finite};

use crate::level::{Clips, LevelMeter};
use crate::loudness::{LoudnessMeter, LoudnessPoint};
use crate::spectrum::{Spectrum, SpectrumMeter};
use crate::stereo::StereoImage;
use crate::true_peak::{Peak, TruePeakMeter};

/// Frames that all meters see before the next are fetched: small enough to stay in the nearest cache.
const CHUNK: usize = 1024;

/// The figures that scripts read: the JSON of `measure`. Undefined values (silence, too short) are `null`.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Measures {
    /// Integrated loudness, BS.1770-5.
    pub integrated_lufs: Option<f64>,
    /// Loudness range, EBU Tech 3342.
    pub loudness_range_lu: Option<f64>,
    /// Greatest momentary loudness (0.4 s).
    pub max_momentary_lufs: Option<f64>,
    /// Greatest short-term loudness (3 s).
    pub max_short_term_lufs: Option<f64>,
    /// True peak of the louder channel.
    pub true_peak_dbtp: Option<f64>,
    /// Largest sample.
    pub sample_peak_dbfs: Option<f64>,
    /// Largest sample over the RMS of the stronger channel.
    pub crest_db: Option<f64>,
    /// True peak less integrated loudness.
    pub plr_db: Option<f64>,
    /// Correlation of left and right.
    pub correlation: Option<f64>,
    /// Third-octave levels as `[nominal hz, db]`; see [`crate::spectrum`] for the reference.
    pub third_octave_db: Vec<(f64, Option<f64>)>,
}

/// Samples that are not numbers. Meters take them as silence.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct NonFinite {
    /// Samples that are NaN or infinite.
    pub samples: u64,
    /// Frame of the first.
    pub first_frame: u64,
}

/// All facts about a programme.
#[derive(Clone, Debug)]
pub struct Measured {
    /// Sample rate.
    pub rate_hz: f64,
    /// Length.
    pub frames: u64,
    /// The figures.
    pub measures: Measures,
    /// Momentary and short-term loudness every tenth of a second.
    pub loudness_history: Vec<LoudnessPoint>,
    /// Peak to short-term loudness at each point of the history (sample peak).
    pub psr_db: Vec<Option<f64>>,
    /// The loudness meter, to ask what a gain would give.
    pub loudness: LoudnessMeter,
    /// True peaks of left and right.
    pub true_peaks: [Peak; 2],
    /// Largest samples of left and right.
    pub sample_peaks: [Peak; 2],
    /// Stretches at full scale.
    pub clips: Clips,
    /// Mean of each channel.
    pub dc: [f64; 2],
    /// RMS level of each channel, 0 dB at a mean square of 1.
    pub rms_db: [Option<f64>; 2],
    /// Stereo image of the whole.
    pub stereo: StereoImage,
    /// Long-term average spectrum.
    pub spectrum: Spectrum,
    /// Samples that are not numbers, if any.
    pub non_finite: Option<NonFinite>,
}

/// Streaming meter of everything.
#[derive(Clone)]
pub struct Meter {
    rate_hz: f64,
    loudness: LoudnessMeter,
    true_peak: TruePeakMeter,
    level: LevelMeter,
    spectrum: SpectrumMeter,
    non_finite: Option<NonFinite>,
}

impl Meter {
    /// A meter for stereo at a sample rate from 8 to 192 kHz.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        Self::with_loudness(rate_hz, LoudnessMeter::new(rate_hz))
    }

    /// A meter for a file of one channel that is handed over in both: its loudness is that of one channel.
    #[must_use]
    pub fn mono(rate_hz: f64) -> Self {
        Self::with_loudness(rate_hz, LoudnessMeter::mono(rate_hz))
    }

    fn with_loudness(rate_hz: f64, loudness: LoudnessMeter) -> Self {
        Self {
            rate_hz,
            loudness,
            true_peak: TruePeakMeter::new(),
            level: LevelMeter::new(rate_hz),
            spectrum: SpectrumMeter::new(rate_hz),
            non_finite: None,
        }
    }

    /// Takes in the next frames.
    pub fn push(&mut self, frames: &[Frame]) {
        for chunk in frames.chunks(CHUNK) {
            if all_finite(chunk) {
                self.push_finite(chunk);
            } else {
                let clean = self.without_faults(chunk);
                self.push_finite(&clean);
            }
        }
    }

    fn push_finite(&mut self, chunk: &[Frame]) {
        self.level.push(chunk);
        self.loudness.push(chunk);
        self.true_peak.push(chunk);
        self.spectrum.push(chunk);
    }

    /// Counts the faulty samples and puts silence in their place.
    fn without_faults(&mut self, chunk: &[Frame]) -> Vec<Frame> {
        let mut clean = chunk.to_vec();
        for (i, frame) in clean.iter_mut().enumerate() {
            for sample in frame.iter_mut().filter(|x| !x.is_finite()) {
                *sample = 0.0;
                let first_frame = self.level.frames() + i as u64;
                self.non_finite.get_or_insert(NonFinite { samples: 0, first_frame }).samples += 1;
            }
        }
        clean
    }

    /// The loudness meter, for live readings.
    #[must_use]
    pub fn loudness(&self) -> &LoudnessMeter {
        &self.loudness
    }

    /// True peaks of left and right up to now, for live readings; they lag by a few hundred frames.
    #[must_use]
    pub fn true_peaks(&self) -> [Peak; 2] {
        self.true_peak.peaks()
    }

    /// The facts once all frames are in.
    #[must_use]
    pub fn finish(mut self) -> Measured {
        self.level.end();
        let true_peaks = self.true_peak.finish();
        let sample_peaks = self.level.peaks();
        let spectrum = self.spectrum.finish();
        let stereo = self.level.power().image();
        let louder = |peaks: [Peak; 2]| peaks[usize::from(peaks[1].value > peaks[0].value)].db();
        let (integrated_lufs, true_peak_dbtp) = (self.loudness.integrated_lufs(), louder(true_peaks));
        let measures = Measures {
            integrated_lufs,
            loudness_range_lu: self.loudness.loudness_range_lu(),
            max_momentary_lufs: self.loudness.max_momentary_lufs(),
            max_short_term_lufs: self.loudness.max_short_term_lufs(),
            true_peak_dbtp,
            sample_peak_dbfs: louder(sample_peaks),
            crest_db: self.level.crest_db(),
            plr_db: true_peak_dbtp.zip(integrated_lufs).map(|(peak, loudness)| peak - loudness),
            correlation: stereo.correlation,
            third_octave_db: spectrum.third_octave_db(),
        };
        let loudness_history = self.loudness.history();
        Measured {
            rate_hz: self.rate_hz,
            frames: self.level.frames(),
            measures,
            psr_db: self.level.psr_db(&loudness_history),
            loudness_history,
            loudness: self.loudness,
            true_peaks,
            sample_peaks,
            clips: self.level.clips().clone(),
            dc: self.level.dc(),
            rms_db: self.level.rms_db(),
            stereo,
            spectrum,
            non_finite: self.non_finite,
        }
    }
}

/// Measures a whole programme in memory.
#[must_use]
pub fn measure(frames: &[Frame], rate_hz: f64) -> Measured {
    let mut meter = Meter::new(rate_hz);
    meter.push(frames);
    meter.finish()
}

#[cfg(test)]
mod tests;
