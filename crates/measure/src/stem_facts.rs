//! Facts about an incoming stem that checks are made of: where it sounds and where it is silent, what is wrong with its
//! samples, what its channels have in common, and how many bits it uses; what hums, clicks, was cut, clipped or coded with
//! loss before; and how it is tuned.

mod breaks;
mod cut_off;
mod edges;
mod flat_tops;
mod hum;
mod low_end;
pub mod tuning;

use serde::{Deserialize, Serialize};
use units::Frame;

pub use breaks::{Break, Breaks};
pub use cut_off::CutOff;
pub use edges::{EdgeMeter, Edges, OUTLINE_HZ};
pub use flat_tops::FlatTops;
pub use hum::Hum;
pub use tuning::Tuning;

use crate::align::{Polarity, align};
use crate::level::{Clips, LevelMeter};
use crate::summary::NonFinite;
use crate::true_peak::{Peak, TruePeakMeter};
use breaks::BreakFinder;
use cut_off::CutOffFinder;
use flat_tops::FlatTopFinder;
use hum::HumFinder;
use low_end::LowEnd;
use tuning::TuningMeter;

/// Level below which a sample counts as silent: the peak of dither and idle noise of 16-bit audio. Common practice, no
/// source.
pub const SILENCE_DBFS: f64 = -90.0;
/// Silences that are shorter are not listed: they are gaps between notes.
pub const LEAST_SILENCE_SECS: f64 = 0.5;
/// Level of the difference of the channels, peak over peak, below which a stereo file holds one channel twice.
pub const DUAL_MONO_DB: f64 = -90.0;
/// Level of a channel under the other, peak over peak, below which it counts as empty.
pub const ONE_SIDED_DB: f64 = -90.0;
/// Silences that are listed one by one.
const MOST_SILENCES_LISTED: usize = 1000;
/// Two stems whose correlation is at least this are taken as two takes of one sound (two microphones, a copy). Common
/// practice, no source.
const RELATED: f64 = 0.5;

/// A stretch of silence in both channels.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Silence {
    /// First frame.
    pub from_frame: u64,
    /// Length.
    pub frames: u64,
    /// Whether every sample in it is exactly zero: nothing was recorded, edited or dithered there.
    pub digital: bool,
}

/// What the two channels of a file hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Channels {
    /// Nothing but silence.
    Silent,
    /// The same in both, to the bit.
    Identical,
    /// The same in both within -90 dB.
    NearlyIdentical,
    /// The right channel is empty.
    LeftOnly,
    /// The left channel is empty.
    RightOnly,
    /// Two different channels.
    Stereo,
}

/// The facts about a stem.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct StemFacts {
    /// Length.
    pub frames: u64,
    /// First frame above the silence level: the start offset.
    pub first_sound_frame: Option<u64>,
    /// Last frame above the silence level.
    pub last_sound_frame: Option<u64>,
    /// Silences of half a second and more, also before the first and after the last sound.
    pub silences: Vec<Silence>,
    /// Whether every sample of the file is exactly zero.
    pub all_zero: bool,
    /// Stretches at full scale.
    pub clips: Clips,
    /// Mean of each channel, 1 at full scale.
    pub dc: [f64; 2],
    /// RMS level of each channel.
    pub rms_db: [Option<f64>; 2],
    /// Samples that are not numbers.
    pub non_finite: Option<NonFinite>,
    /// What the channels hold.
    pub channels: Channels,
    /// Correlation of the channels; -1 for one side turned over.
    pub correlation: Option<f64>,
    /// True peak of the louder channel.
    pub true_peak_dbtp: Option<f64>,
    /// Largest sample.
    pub sample_peak_dbfs: Option<f64>,
    /// Bits in use, from the sign down to the lowest bit that is ever set: 16 for 16-bit audio in a 24-bit file. None if
    /// samples lie between the steps of 32 bits (floating point), or all are zero.
    pub bit_depth: Option<u32>,
    /// Mains hum that stands through it.
    pub hum: Option<Hum>,
    /// Clicks.
    pub clicks: Breaks,
    /// Edits without a fade.
    pub edits: Breaks,
    /// Levels at its ends.
    pub edges: Edges,
    /// Tops that were cut flat, at any level.
    pub flat_tops: Option<FlatTops>,
    /// Where its treble was cut off.
    pub cut_off: Option<CutOff>,
    /// How it is tuned; none for silence.
    pub tuning: Option<Tuning>,
    /// RMS amplitude [`OUTLINE_HZ`] times a second.
    #[serde(skip)]
    pub outline: Vec<f32>,
    /// Hash of what sounds: equal for files that hold the same samples, also with other lengths of zeros around them.
    pub content_hash: u64,
}

/// What relates two stems.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Relation {
    /// Frames by which the second lies behind the first.
    pub delay_samples: f64,
    /// Polarity of the second against the first.
    pub polarity: Polarity,
    /// Correlation once aligned, 0 to 1.
    pub correlation: f64,
}

/// How a second stem lies against a first, if they hold the same sound (two microphones, a copy): what a check may
/// suggest to correct. None if they are unrelated.
#[must_use]
pub fn relation(first: &[Frame], second: &[Frame], max_delay_frames: usize) -> Option<Relation> {
    let found = align(first, second, max_delay_frames).filter(|found| found.correlation >= RELATED)?;
    Some(Relation { delay_samples: found.delay_samples, polarity: found.polarity, correlation: found.correlation })
}

/// Streaming meter of a stem's facts.
#[derive(Clone)]
pub struct StemMeter {
    rate_hz: f64,
    frames: u64,
    level: LevelMeter,
    true_peak: TruePeakMeter,
    non_finite: Option<NonFinite>,
    difference_peak: f64,
    bits: Bits,
    hash: ContentHash,
    silence: SilenceFinder,
    low_end: LowEnd,
    hum: HumFinder,
    tuning: TuningMeter,
    breaks: BreakFinder,
    flat_tops: FlatTopFinder,
    cut_off: CutOffFinder,
    edges: EdgeMeter,
}

impl StemMeter {
    /// A meter at a sample rate.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        Self {
            rate_hz,
            frames: 0,
            level: LevelMeter::new(rate_hz),
            true_peak: TruePeakMeter::new(),
            non_finite: None,
            difference_peak: 0.0,
            bits: Bits::default(),
            hash: ContentHash::default(),
            silence: SilenceFinder::new(),
            low_end: LowEnd::new(rate_hz),
            hum: HumFinder::default(),
            tuning: TuningMeter::default(),
            breaks: BreakFinder::new(rate_hz),
            flat_tops: FlatTopFinder::default(),
            cut_off: CutOffFinder::new(rate_hz),
            edges: EdgeMeter::new(rate_hz),
        }
    }

    /// Takes in the next frames, as they come from the file.
    pub fn push(&mut self, frames: &[Frame]) {
        for chunk in frames.chunks(1024) {
            let clean: Vec<Frame> = chunk.iter().enumerate().map(|(i, frame)| self.without_faults(i, *frame)).collect();
            self.level.push(&clean);
            self.true_peak.push(&clean);
            let (hum, tuning) = (&mut self.hum, &mut self.tuning);
            self.low_end.push(&clean, |stretch| {
                hum.take(stretch);
                tuning.take(stretch);
            });
            self.breaks.push(&clean);
            self.flat_tops.push(&clean);
            self.cut_off.push(&clean);
            self.edges.push(&clean);
            for frame in &clean {
                let difference = (frame[0] - frame[1]).abs();
                self.difference_peak = self.difference_peak.max(difference);
                self.bits.push(frame[0]);
                self.bits.push(frame[1]);
                self.hash.push(*frame);
                self.silence.push(*frame);
            }
            self.frames += chunk.len() as u64;
        }
    }

    fn without_faults(&mut self, i: usize, frame: Frame) -> Frame {
        frame.map(|x| {
            if !x.is_finite() {
                let first_frame = self.frames + i as u64;
                self.non_finite.get_or_insert(NonFinite { samples: 0, first_frame }).samples += 1;
                return 0.0;
            }
            x
        })
    }

    /// The facts once all frames are in.
    #[must_use]
    pub fn finish(mut self) -> StemFacts {
        self.level.end();
        self.silence.close_run();
        let peaks = self.level.peaks();
        let louder = |peaks: [Peak; 2]| peaks[usize::from(peaks[1].value > peaks[0].value)].db();
        let least = (LEAST_SILENCE_SECS * self.rate_hz) as u64;
        let mut silences = self.silence.runs;
        silences.retain(|silence| silence.frames >= least);
        silences.truncate(MOST_SILENCES_LISTED);
        let (clicks, edits) = self.breaks.finish();
        let (edges, outline) = self.edges.finish(self.level.dc());
        StemFacts {
            frames: self.frames,
            first_sound_frame: self.silence.first,
            last_sound_frame: self.silence.last,
            silences,
            all_zero: peaks[0].value == 0.0 && peaks[1].value == 0.0 && self.non_finite.is_none(),
            clips: self.level.clips().clone(),
            dc: self.level.dc(),
            rms_db: self.level.rms_db(),
            non_finite: self.non_finite,
            channels: channels(peaks.map(|peak| peak.value), self.difference_peak),
            correlation: self.level.power().image().correlation,
            true_peak_dbtp: louder(self.true_peak.finish()),
            sample_peak_dbfs: louder(peaks),
            bit_depth: self.bits.depth(),
            hum: self.hum.finish(),
            clicks,
            edits,
            edges,
            flat_tops: self.flat_tops.finish(),
            cut_off: self.cut_off.finish(),
            tuning: self.tuning.finish(),
            outline,
            content_hash: self.hash.value(),
        }
    }
}

fn channels([left, right]: [f64; 2], difference: f64) -> Channels {
    let peak = left.max(right);
    let empty = units::gain_from_db(ONE_SIDED_DB) * peak;
    if peak <= units::gain_from_db(SILENCE_DBFS) {
        Channels::Silent
    } else if difference == 0.0 {
        Channels::Identical
    } else if difference <= units::gain_from_db(DUAL_MONO_DB) * peak {
        Channels::NearlyIdentical
    } else if right <= empty {
        Channels::LeftOnly
    } else if left <= empty {
        Channels::RightOnly
    } else {
        Channels::Stereo
    }
}

/// Runs of silence.
#[derive(Clone)]
struct SilenceFinder {
    threshold: f64,
    frames: u64,
    first: Option<u64>,
    last: Option<u64>,
    run: Silence,
    runs: Vec<Silence>,
}

impl SilenceFinder {
    fn new() -> Self {
        Self {
            threshold: units::gain_from_db(SILENCE_DBFS),
            frames: 0,
            first: None,
            last: None,
            run: Silence { from_frame: 0, frames: 0, digital: true },
            runs: Vec::new(),
        }
    }

    fn push(&mut self, frame: Frame) {
        if frame[0].abs().max(frame[1].abs()) > self.threshold {
            self.first.get_or_insert(self.frames);
            self.last = Some(self.frames);
            if self.run.frames > 0 {
                self.close_run();
            }
        } else {
            if self.run.frames == 0 {
                self.run = Silence { from_frame: self.frames, frames: 0, digital: true };
            }
            self.run.frames += 1;
            self.run.digital &= frame == units::SILENCE;
        }
        self.frames += 1;
    }

    fn close_run(&mut self) {
        // Shorter ones than a thousand frames are never listed, at any rate; leaving them out bounds the memory.
        if self.run.frames > 1000 {
            self.runs.push(self.run);
        }
        self.run.frames = 0;
    }
}

/// All bits that are ever set, on a scale of 32 bits.
#[derive(Clone, Copy, Default)]
struct Bits {
    set: u64,
    finer: bool,
}

impl Bits {
    fn push(&mut self, x: f64) {
        let scaled = x * f64::from(1u32 << 31);
        let whole = scaled as i64;
        self.finer |= whole as f64 != scaled;
        self.set |= whole.unsigned_abs();
    }

    fn depth(self) -> Option<u32> {
        (!self.finer && self.set != 0).then(|| 32 - self.set.trailing_zeros().min(31))
    }
}

/// A hash after the manner of FNV-1a (64 bits; RFC 9923), taking a sample at a time instead of a byte, with high bits
/// folded down after each since the low bits of short words are zero. From the first sample that is not zero to the last.
#[derive(Clone, Copy)]
struct ContentHash {
    running: u64,
    at_last_sound: u64,
    started: bool,
}

impl Default for ContentHash {
    fn default() -> Self {
        Self { running: Self::BASIS, at_last_sound: Self::BASIS, started: false }
    }
}

impl ContentHash {
    const BASIS: u64 = 0xcbf2_9ce4_8422_2325;
    const PRIME: u64 = 0x0000_0100_0000_01b3;

    fn push(&mut self, frame: Frame) {
        let sounds = frame != units::SILENCE;
        self.started |= sounds;
        if !self.started {
            return;
        }
        for x in frame {
            // Adding zero makes one of the two zeros.
            let bits = (x + 0.0).to_bits();
            self.running = (self.running ^ bits).wrapping_mul(Self::PRIME);
            self.running ^= self.running >> 29;
        }
        if sounds {
            self.at_last_sound = self.running;
        }
    }

    fn value(self) -> u64 {
        self.at_last_sound
    }
}

#[cfg(test)]
mod damage;
#[cfg(test)]
mod tests;
