//! One file of a print: rate, dither, encoding, labels; then measured from the file itself.

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use engine::{Fault, Grid, Sink, Taken};
use measure::stem_facts::{EdgeMeter, SILENCE_DBFS};
use measure::{Measured, Meter};
use media::codec::CodecChoice;
use media::{IntegerBits, Kbps, Loudness, MediaError, Metadata, OggKbps, RateConverter, WavSample, Writer};
use sha2::{Digest, Sha256};
use sheet::{FileFormat, FileSpec};
use units::{Frame, MAX_BLOCK_FRAMES};

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

/// The rate that a file of a print gets.
#[must_use]
pub fn rate_of(spec: &FileSpec, song_rate_hz: u32) -> u32 {
    spec.rate_hz.unwrap_or_else(|| format_of(spec.format).rate_for(song_rate_hz))
}

/// A file of a print on its way to the disk: frames are brought to its rate, put on its grid and encoded as they come.
/// Dropped before [`Self::finish`], it leaves nothing behind.
pub struct Pending {
    /// What the sheet asked for.
    pub spec: FileSpec,
    /// Where it goes.
    pub path: PathBuf,
    converter: Option<RateConverter>,
    grid: Option<Grid>,
    writer: Writer,
    /// Frames on their way, at the file's rate.
    under_way: Vec<Frame>,
}

impl Pending {
    /// Starts the file of a print of `frames` frames at the song's rate.
    ///
    /// # Errors
    /// The folder cannot be written, or the format cannot be had at this rate.
    pub fn start(
        spec: FileSpec,
        path: PathBuf,
        metadata: &Metadata,
        (song_rate_hz, frames): (u32, u64),
    ) -> Result<Self, Fault> {
        let rate_hz = rate_of(&spec, song_rate_hz);
        let converter = (rate_hz != song_rate_hz).then(|| RateConverter::new(song_rate_hz, rate_hz)).transpose();
        let converter = converter.map_err(|reason| media_fault(&MediaError { path: path.clone(), reason }))?;
        let frames = converter.as_ref().map_or(frames, |converter| converter.output_frames(frames));
        let rounding = spec.format.rounding();
        let grid = rounding.map(|(bits, dither)| Grid::new(bits, dither, 0, f64::from(rate_hz))).transpose()?;
        let writer = media::create(&path, &format_of(spec.format), rate_hz, Some(frames), metadata);
        let writer = writer.map_err(|error| media_fault(&error))?;
        Ok(Self { spec, path, converter, grid, writer, under_way: Vec::new() })
    }

    /// Takes the next frames of the print.
    ///
    /// # Errors
    /// The disk is full or gone.
    pub fn push(&mut self, frames: &[Frame]) -> Result<(), Fault> {
        self.under_way.clear();
        match &mut self.converter {
            Some(converter) => converter.convert(frames, &mut self.under_way),
            // Nothing has two signs in a file.
            None => self.under_way.extend(frames.iter().map(|[l, r]| [l + 0.0, r + 0.0])),
        }
        self.hand_over()
    }

    /// Takes a whole print from its 64-bit file.
    ///
    /// # Errors
    /// The disk is full or gone.
    pub fn push_all(&mut self, spool: &Path) -> Result<(), Fault> {
        let mut reader = media::Reader::open(spool).map_err(|error| media_fault(&error))?;
        let mut block = vec![units::SILENCE; MAX_BLOCK_FRAMES];
        loop {
            match reader.read(&mut block).map_err(|error| media_fault(&error))? {
                0 => return Ok(()),
                read => self.push(&block[..read])?,
            }
        }
    }

    fn hand_over(&mut self) -> Result<(), Fault> {
        if let Some(grid) = &mut self.grid {
            grid.put(&mut self.under_way);
        }
        self.writer.write(&self.under_way).map_err(|error| media_fault(&error))
    }

    /// Completes the file with loudness figures of the print, reads it back and measures it.
    ///
    /// # Errors
    /// Disk or encoder.
    pub fn finish(mut self, loudness: Loudness) -> Result<Finished, Fault> {
        self.under_way.clear();
        if let Some(mut converter) = self.converter.take() {
            converter.finish(&mut self.under_way);
            self.hand_over()?;
        }
        self.writer.set_loudness(loudness);
        let written = self.writer.finish().map_err(|error| media_fault(&error))?;
        let (measured, read) = read_back(&self.path)?;
        let sha256 = sha256_of(&self.path).map_err(|error| crate::revision::machine(&self.path, &error))?;
        Ok(Finished { sha256, measured, clamped_samples: written.clamped_samples, read })
    }
}

impl Sink for &mut Pending {
    fn take(&mut self, taken: &Taken<'_>) -> Result<(), Fault> {
        self.push(taken.lane(0))
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

/// A codec by its name in the sheet, as people write it: `MP3 at 192 kbit/s`.
pub(crate) fn codec_in_words(name: &str) -> String {
    name.parse().map_or_else(|_| name.to_owned(), CodecChoice::in_words)
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
