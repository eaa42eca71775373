//! Sinks of a render: the temporary 64-bit file that a print is made from, meters, and outlines for pictures.

use std::path::Path;

use engine::{Fault, Plan, Sink, Taken};
use measure::{LoudnessMeter, TruePeakMeter};
use media::{FileFormat, MediaError, Metadata, WavSample, Writer};

use crate::files::read_through;

/// The fault of a file that cannot be read or written.
#[must_use]
pub fn media_fault(error: &MediaError) -> Fault {
    let at = error.path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let (message, remedy) = (format!("{error}."), error.remedy().to_owned());
    if error.is_machine_fault() {
        Fault::machine("cannot-write", &at, message, remedy)
    } else {
        Fault::input("cannot-read", &at, message, remedy)
    }
}

/// Writes an output, bit for bit, into a 64-bit float file.
pub struct Spool {
    writer: Writer,
}

impl Spool {
    /// Starts the file.
    ///
    /// # Errors
    /// The folder cannot be written.
    pub fn create(path: &Path, rate_hz: u32, frames: u64) -> Result<Self, Fault> {
        let format = FileFormat::Wav(WavSample::Float64);
        let writer = media::create(path, &format, rate_hz, Some(frames), &Metadata::default());
        Ok(Self { writer: writer.map_err(|error| media_fault(&error))? })
    }

    /// Appends frames.
    ///
    /// # Errors
    /// The disk is full or gone.
    pub fn keep(&mut self, frames: &[units::Frame]) -> Result<(), Fault> {
        self.writer.write(frames).map_err(|error| media_fault(&error))
    }

    /// Completes the file.
    ///
    /// # Errors
    /// The disk is full or gone.
    pub fn finish(self) -> Result<(), Fault> {
        self.writer.finish_without_sync().map(|_| ()).map_err(|error| media_fault(&error))
    }
}

impl Sink for &mut Spool {
    fn take(&mut self, taken: &Taken<'_>) -> Result<(), Fault> {
        self.keep(taken.lane(0))
    }
}

/// What is known of an output before it becomes files.
#[derive(Clone)]
pub struct Gauged {
    /// Loudness, over time and as a whole.
    pub loudness: LoudnessMeter,
    /// True peak of the louder channel; none for silence.
    pub true_peak_dbtp: Option<f64>,
    /// Largest sample in equal stretches.
    pub outline: Vec<f32>,
}

impl Gauged {
    /// What is known of a print of a plan that lies in a 64-bit file.
    ///
    /// # Errors
    /// It cannot be read.
    pub fn of_file(path: &Path, plan: &Plan) -> Result<Self, Fault> {
        let mut gauge = Gauge::new(plan.rate_hz, plan.print_frames());
        read_through(path, &mut |_, frames| gauge.push(frames))?;
        Ok(gauge.finish())
    }
}

/// Measures an output as far as its labels and the search for its loudness need; everything else is read back from the
/// files.
pub struct Gauge {
    loudness: LoudnessMeter,
    true_peak: TruePeakMeter,
    outline: Outline,
}

impl Gauge {
    /// A gauge for an output of so many frames.
    #[must_use]
    pub fn new(rate_hz: f64, frames: u64) -> Self {
        let (loudness, true_peak) = (LoudnessMeter::new(rate_hz), TruePeakMeter::new());
        Self { loudness, true_peak, outline: Outline::new(frames) }
    }

    /// Takes the next frames.
    pub fn push(&mut self, frames: &[units::Frame]) {
        self.loudness.push(frames);
        self.true_peak.push(frames);
        self.outline.push(frames);
    }

    /// What was measured.
    #[must_use]
    pub fn finish(self) -> Gauged {
        let [left, right] = self.true_peak.finish().map(|peak| peak.db());
        // None is below every level.
        let true_peak_dbtp = if left > right { left } else { right };
        Gauged { loudness: self.loudness, true_peak_dbtp, outline: self.outline.peaks }
    }
}

impl Sink for &mut Gauge {
    fn take(&mut self, taken: &Taken<'_>) -> Result<(), Fault> {
        self.push(taken.lane(0));
        Ok(())
    }
}

/// Measures the loudness of an output and nothing else.
pub struct LoudnessSink(pub LoudnessMeter);

impl LoudnessSink {
    /// A meter at a sample rate.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        Self(LoudnessMeter::new(rate_hz))
    }
}

impl Sink for &mut LoudnessSink {
    fn take(&mut self, taken: &Taken<'_>) -> Result<(), Fault> {
        self.0.push(taken.lane(0));
        Ok(())
    }
}

/// Columns of a waveform picture.
const COLUMNS: u64 = 1200;

/// The largest sample in each of a fixed number of equal stretches.
struct Outline {
    peaks: Vec<f32>,
    column_frames: u64,
    position: u64,
}

impl Outline {
    fn new(frames: u64) -> Self {
        Self {
            peaks: Vec::with_capacity(COLUMNS as usize),
            column_frames: frames.div_ceil(COLUMNS).max(1),
            position: 0,
        }
    }

    fn push(&mut self, frames: &[units::Frame]) {
        let mut rest = frames;
        while !rest.is_empty() {
            let column = (self.position / self.column_frames) as usize;
            if column >= self.peaks.len() {
                self.peaks.push(0.0);
            }
            let left = self.column_frames - self.position % self.column_frames;
            let (now, later) = rest.split_at(rest.len().min(left as usize));
            self.peaks[column] = self.peaks[column].max(largest(now) as f32);
            self.position += now.len() as u64;
            rest = later;
        }
    }
}

/// The largest magnitude; what is no number counts as nothing. In lanes, so that it is vector code.
fn largest(frames: &[units::Frame]) -> f64 {
    let mut most = [0.0; 4];
    let (fours, rest) = frames.as_flattened().as_chunks::<4>();
    for four in fours {
        for (most, x) in most.iter_mut().zip(four) {
            *most = if x.abs() > *most { x.abs() } else { *most };
        }
    }
    most.iter().chain(rest).fold(0.0, |most: f64, x| most.max(x.abs()))
}

/// Finds out whether an output ever sounds.
#[derive(Default)]
pub struct SoundSink {
    /// Whether it has sounded.
    pub sounds: bool,
}

impl Sink for &mut SoundSink {
    fn take(&mut self, taken: &Taken<'_>) -> Result<(), Fault> {
        self.sounds = self.sounds || largest(taken.lane(0)) > AUDIBLE;
        Ok(())
    }
}

/// -100 dB of full scale: below it a stem counts as silent. Common practice, no source.
const AUDIBLE: f64 = 1e-5;
