//! One file of a print: rate, dither, encoding, labels; then measured from the file itself.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

use engine::{Fault, Folder, Plan, Setup, Sink, Stream, Taken};
use measure::stem_facts::{EdgeMeter, SILENCE_DBFS};
use measure::{Measured, Meter};
use media::codec::CodecChoice;
use media::{IntegerBits, Kbps, Loudness, Metadata, OggKbps, WavSample, Writer};
use sha2::{Digest, Sha256};
use sheet::{FileFormat, FileSpec};
use units::Frame;

use crate::gate::ReadBack;
use crate::spool::media_fault;

/// A finished file.
pub struct Finished {
    /// SHA-256 of its bytes, in hexadecimal.
    pub sha256: String,
    /// What was read back from it.
    pub measured: Measured,
    /// Samples that did not fit into an integer file.
    pub clamped_samples: u64,
    /// What the gate looks at.
    pub read: ReadBack,
}

/// What to write, and from what.
pub struct Job<'a> {
    /// The plan that the print came from.
    pub plan: &'a Plan,
    /// Folder and name of the print's 64-bit file.
    pub spool: (&'a Path, &'a str),
    /// The wanted file.
    pub spec: FileSpec,
    /// Where it goes.
    pub path: &'a Path,
    /// Its labels.
    pub metadata: &'a Metadata,
    /// Loudness figures of the print.
    pub loudness: Loudness,
}

/// The rate that a file of a print gets.
#[must_use]
pub fn rate_of(spec: &FileSpec, song_rate_hz: u32) -> u32 {
    spec.rate_hz.unwrap_or_else(|| format_of(spec.format).rate_for(song_rate_hz))
}

/// Writes a file, reads it back and measures it.
///
/// # Errors
/// Disk or encoder.
pub fn write(job: &Job<'_>) -> Result<Finished, Fault> {
    let rate_hz = rate_of(&job.spec, job.plan.rate_hz as u32);
    let (folder, name) = job.spool;
    let sources = Folder::new(folder, rate_hz);
    let frames = engine::Facts::frames(&sources, name)?;
    let links = match job.spec.format.rounding() {
        None => Vec::new(),
        Some((bits, dither)) => vec![engine::dither_link(bits, dither, f64::from(rate_hz))?],
    };
    let plan = job.plan.through(name, frames, f64::from(rate_hz), links);
    let stream = Stream::open(&plan, &sources, &[1], &Setup::for_threads(1))?;
    let format = format_of(job.spec.format);
    let writer = media::create(job.path, &format, rate_hz, Some(frames), job.metadata);
    let mut writer = writer.map_err(|error| media_fault(&error))?;
    writer.set_loudness(job.loudness);
    stream.run(1, vec![Box::new(Encoding(&mut writer))], &|_| ())?;
    let written = writer.finish().map_err(|error| media_fault(&error))?;
    let (measured, read) = read_back(job.path)?;
    let sha256 = sha256_of(job.path).map_err(|error| crate::revision::machine(job.path, &error))?;
    Ok(Finished { sha256, measured, clamped_samples: written.clamped_samples, read })
}

struct Encoding<'a>(&'a mut Writer);

impl Sink for Encoding<'_> {
    fn take(&mut self, taken: &Taken<'_>) -> Result<(), Fault> {
        self.0.write(taken.lane(0)).map_err(|error| media_fault(&error))
    }
}

/// Measures a file; tells its number of channels, too. `progress` is told the part that is done.
///
/// # Errors
/// The file cannot be read.
pub fn measure_file(path: &Path, progress: &dyn Fn(f64)) -> Result<(u16, Measured), Fault> {
    let mut reader = media::Reader::open(path).map_err(|error| media_fault(&error))?;
    let info = reader.info();
    let (rate_hz, total, channels) = (f64::from(info.rate_hz), info.frames.max(1) as f64, info.channels);
    let mut meter = if channels == 1 { Meter::mono(rate_hz) } else { Meter::new(rate_hz) };
    let mut done = 0;
    read_on(&mut reader, &mut |frames| {
        meter.push(frames);
        done += frames.len();
        progress(done as f64 / total);
    })?;
    Ok((channels, meter.finish()))
}

/// Measures a finished file, and what the gate asks of it.
///
/// # Errors
/// The file cannot be read.
pub fn read_back(path: &Path) -> Result<(Measured, ReadBack), Fault> {
    let mut reader = media::Reader::open(path).map_err(|error| media_fault(&error))?;
    let info = reader.info().clone();
    let rate_hz = f64::from(info.rate_hz);
    let (mut meter, mut edges) = (Meter::new(rate_hz), EdgeMeter::new(rate_hz));
    let (mut frames, mut sounds) = (0, None);
    read_on(&mut reader, &mut |block| {
        meter.push(block);
        edges.push(block);
        let heard = |frame: &&Frame| frame[0].abs().max(frame[1].abs()) > units::gain_from_db(SILENCE_DBFS);
        if let Some(first) = block.iter().position(|frame| heard(&frame)) {
            let last = frames + block.iter().rposition(|frame| heard(&frame)).unwrap_or(first) as u64;
            sounds = Some((sounds.map_or(frames + first as u64, |(first, _)| first), last));
        }
        frames += block.len() as u64;
    })?;
    let measured = meter.finish();
    let (edges, _) = edges.finish(measured.dc);
    Ok((measured, ReadBack { info, frames, sounds, edges }))
}

/// Hands the frames of a file over, piece by piece.
///
/// # Errors
/// The file cannot be read.
pub fn read_through(path: &Path, take: &mut dyn FnMut(&media::Info, &[Frame])) -> Result<(), Fault> {
    let mut reader = media::Reader::open(path).map_err(|error| media_fault(&error))?;
    let info = reader.info().clone();
    read_on(&mut reader, &mut |frames| take(&info, frames))
}

fn read_on(reader: &mut media::Reader, take: &mut dyn FnMut(&[Frame])) -> Result<(), Fault> {
    let mut block = vec![[0.0; 2] as Frame; 1 << 14];
    loop {
        match reader.read(&mut block).map_err(|error| media_fault(&error))? {
            0 => return Ok(()),
            read => take(&block[..read]),
        }
    }
}

/// SHA-256 of a file, in hexadecimal.
///
/// # Errors
/// The file cannot be read.
pub fn sha256_of(path: &Path) -> io::Result<String> {
    sha256_from(&mut File::open(path)?)
}

/// SHA-256 of all that a reader gives, in hexadecimal.
///
/// # Errors
/// It cannot be read to its end.
pub(crate) fn sha256_from(reader: &mut dyn Read) -> io::Result<String> {
    let mut hasher = Sha256::new();
    let mut block = vec![0; 1 << 16];
    loop {
        match reader.read(&mut block)? {
            0 => return Ok(hasher.finalize().iter().map(|byte| format!("{byte:02x}")).collect()),
            read => hasher.update(&block[..read]),
        }
    }
}

/// The sheet's format in the words of the writer.
pub(crate) fn format_of(format: FileFormat) -> media::FileFormat {
    match format {
        FileFormat::Wav { bits: 16, .. } => media::FileFormat::Wav(WavSample::Int16),
        FileFormat::Wav { bits: 24, .. } => media::FileFormat::Wav(WavSample::Int24),
        FileFormat::Wav { .. } => media::FileFormat::Wav(WavSample::Float32),
        FileFormat::Aiff { bits, .. } => media::FileFormat::Aiff(integer_bits_of(bits)),
        FileFormat::Flac { bits, .. } => media::FileFormat::Flac(integer_bits_of(bits)),
        FileFormat::Mp3 { kbps } => media::FileFormat::Mp3(kbps_of(kbps)),
        FileFormat::Opus { kbps } => media::FileFormat::Opus(ogg_kbps_of(kbps)),
        FileFormat::Vorbis { kbps } => media::FileFormat::Vorbis(ogg_kbps_of(kbps)),
    }
}

fn integer_bits_of(bits: u32) -> IntegerBits {
    if bits == 16 { IntegerBits::Sixteen } else { IntegerBits::TwentyFour }
}

/// The codec of a sheet in the words of the encoder, which knows all that a sheet allows (a test below holds it to that).
pub(crate) fn codec_of(choice: &sheet::CodecChoice) -> CodecChoice {
    let known = format!("{} {}", choice.codec, choice.kbps).parse();
    known.unwrap_or(CodecChoice::Mp3(kbps_of(choice.kbps)))
}

/// The encoder's rate for a rate in a sheet, which allows only those that exist (a test below holds it to that).
pub(crate) fn kbps_of(kbps: u32) -> Kbps {
    Kbps::new(kbps).unwrap_or(Kbps::ALL[Kbps::ALL.len() - 1])
}

/// The same for Opus and Vorbis.
fn ogg_kbps_of(kbps: u32) -> OggKbps {
    OggKbps::new(kbps).unwrap_or(OggKbps::ALL[OggKbps::ALL.len() - 1])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_encoder_knows_every_rate_that_a_sheet_may_ask_for() {
        for kbps in sheet::keys::MP3_KBPS {
            assert_eq!(u32::from(kbps_of(*kbps).get()), *kbps);
        }
        for kbps in sheet::keys::OGG_KBPS {
            assert_eq!(u32::from(ogg_kbps_of(*kbps).get()), *kbps);
        }
    }

    #[test]
    fn the_encoders_know_every_codec_that_a_sheet_may_ask_for() {
        for (codec, rates_kbps) in sheet::keys::CODECS {
            for kbps in *rates_kbps {
                let choice = sheet::CodecChoice { codec, kbps: *kbps, place: units::Place::of("", 0..0) };
                assert_eq!(codec_of(&choice).to_string(), format!("{codec} {kbps}"));
            }
        }
    }
}
