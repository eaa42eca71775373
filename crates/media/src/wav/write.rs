//! Writes wave files: `JUNK` (the place of `ds64`), `fmt `, `fact` for floats, `bext`, `iXML`, `LIST`, `data`.

use std::fs::File;
use std::io::{self, BufWriter, Seek, SeekFrom, Write};

use units::Frame;

use super::{bext, tags};
use crate::writer::Encode;
use crate::{Bext, Loudness, Metadata, Reason, WavSample};

/// Bytes of a `ds64` chunk without a table: EBU Tech 3306.
const DS64_BYTES: u32 = 28;

/// Where the reserved chunk starts.
const RESERVED_AT: u64 = 12;

/// Channels that are written.
const CHANNELS: u16 = 2;

/// Bytes of audio that are handed to the system at once: few enough to stay in a near cache until then.
const BUFFER_BYTES: usize = 1 << 16;

/// A wave file being written. All sizes are settled by `finish`.
pub(crate) struct WavWriter {
    out: BufWriter<File>,
    sample: WavSample,
    bext_at: u64,
    fact_at: Option<u64>,
    data_at: u64,
    frames: u64,
    clamped: u64,
    /// Audio that was not handed over yet. It goes past the buffer of `out`, which is for the small writes.
    bytes: Vec<u8>,
}

impl WavWriter {
    pub(crate) fn new(file: File, sample: WavSample, rate_hz: u32, metadata: &Metadata) -> Result<Self, Reason> {
        let mut header = b"RIFF\0\0\0\0WAVE".to_vec();
        push_chunk(&mut header, b"JUNK", &[0; DS64_BYTES as usize]);
        push_chunk(&mut header, b"fmt ", &format_chunk(sample, rate_hz));
        let fact_at = sample.is_float().then(|| push_chunk(&mut header, b"fact", &[0; 4]));
        let bext_at = push_chunk(&mut header, b"bext", &bext::build(&bext_of(metadata)));
        push_chunk(&mut header, b"iXML", &tags::build_ixml(metadata, rate_hz, sample.bits()));
        if let Some(list) = tags::build_list(metadata) {
            push_chunk(&mut header, b"LIST", &list);
        }
        let data_at = push_chunk(&mut header, b"data", &[]);
        let mut out = BufWriter::with_capacity(1 << 12, file);
        out.write_all(&header)?;
        let bytes = Vec::with_capacity(2 * BUFFER_BYTES);
        Ok(Self { out, sample, bext_at, fact_at, data_at, frames: 0, clamped: 0, bytes })
    }

    fn hand_over(&mut self) -> io::Result<()> {
        self.out.write_all(&self.bytes)?;
        self.bytes.clear();
        Ok(())
    }

    fn patch(&mut self, at: u64, bytes: &[u8]) -> io::Result<()> {
        self.out.seek(SeekFrom::Start(at))?;
        self.out.write_all(bytes)
    }

    /// Sizes of a file under 4 GiB.
    fn settle_short(&mut self, riff_bytes: u32, data_bytes: u32, frames: u32) -> io::Result<()> {
        self.patch(4, &riff_bytes.to_le_bytes())?;
        self.patch(self.data_at - 4, &data_bytes.to_le_bytes())?;
        self.fact_at.map_or(Ok(()), |at| self.patch(at, &frames.to_le_bytes()))
    }

    /// Sizes of a file past 4 GiB: the reserved chunk becomes `ds64`, and the short fields refer to it.
    fn settle_long(&mut self, riff_bytes: u64, data_bytes: u64) -> io::Result<()> {
        const ELSEWHERE: [u8; 4] = [0xff; 4];
        let mut ds64 = b"ds64".to_vec();
        ds64.extend(DS64_BYTES.to_le_bytes());
        for size in [riff_bytes, data_bytes, self.frames] {
            ds64.extend(size.to_le_bytes());
        }
        ds64.extend([0; 4]);
        self.patch(RESERVED_AT, &ds64)?;
        self.patch(0, b"RF64")?;
        self.patch(4, &ELSEWHERE)?;
        self.patch(self.data_at - 4, &ELSEWHERE)?;
        self.fact_at.map_or(Ok(()), |at| self.patch(at, &ELSEWHERE))
    }

    /// Leaves a hole of silence without writing it, to test long files.
    #[cfg(test)]
    fn skip(&mut self, frames: u64) {
        let bytes = frames * u64::from(CHANNELS * self.sample.bits() / 8);
        self.hand_over().expect("room on the disk");
        self.out.seek(SeekFrom::Current(bytes.cast_signed())).expect("a hole");
        self.frames += frames;
    }
}

impl Encode for WavWriter {
    fn write(&mut self, frames: &[Frame]) -> Result<(), Reason> {
        self.clamped += self.sample.encode(frames, &mut self.bytes);
        self.frames += frames.len() as u64;
        if self.bytes.len() >= BUFFER_BYTES {
            self.hand_over()?;
        }
        Ok(())
    }

    fn finish(mut self: Box<Self>, loudness: &Loudness) -> Result<(File, u64), Reason> {
        self.hand_over()?;
        // Frames of two channels are of even size: there is no pad byte.
        let data_bytes = self.frames * u64::from(CHANNELS * self.sample.bits() / 8);
        let riff_bytes = self.data_at + data_bytes - 8;
        self.patch(self.bext_at + bext::LOUDNESS_AT as u64, &bext::loudness_bytes(loudness))?;
        match (u32::try_from(riff_bytes), u32::try_from(data_bytes), u32::try_from(self.frames)) {
            (Ok(riff), Ok(data), Ok(frames)) if riff < u32::MAX => self.settle_short(riff, data, frames)?,
            _ => self.settle_long(riff_bytes, data_bytes)?,
        }
        let file = self.out.into_inner().map_err(io::IntoInnerError::into_error)?;
        Ok((file, self.clamped))
    }
}

/// Appends a chunk and returns where its content starts.
fn push_chunk(header: &mut Vec<u8>, id: &[u8; 4], content: &[u8]) -> u64 {
    header.extend_from_slice(id);
    header.extend((content.len() as u32).to_le_bytes());
    let at = header.len() as u64;
    header.extend_from_slice(content);
    if content.len() % 2 == 1 {
        header.push(0);
    }
    at
}

/// The `fmt ` chunk: format tag 1 (integers) or 3 (floats, with an empty extension).
fn format_chunk(sample: WavSample, rate_hz: u32) -> Vec<u8> {
    let frame_bytes = CHANNELS * sample.bits() / 8;
    let mut bytes = Vec::new();
    bytes.extend(if sample.is_float() { 3u16 } else { 1 }.to_le_bytes());
    bytes.extend(CHANNELS.to_le_bytes());
    bytes.extend(rate_hz.to_le_bytes());
    bytes.extend((rate_hz * u32::from(frame_bytes)).to_le_bytes());
    bytes.extend(frame_bytes.to_le_bytes());
    bytes.extend(sample.bits().to_le_bytes());
    if sample.is_float() {
        bytes.extend([0, 0]);
    }
    bytes
}

fn bext_of(metadata: &Metadata) -> Bext {
    let parts = [&metadata.title, &metadata.artist, &metadata.version];
    let history: String = metadata.coding_history.iter().map(|line| format!("{line}\r\n")).collect();
    Bext {
        version: 2,
        description: parts.into_iter().flatten().cloned().collect::<Vec<_>>().join(" / "),
        originator: metadata.originator.clone().unwrap_or_default(),
        originator_reference: metadata.isrc.clone().unwrap_or_default(),
        date: metadata.date.clone().unwrap_or_default(),
        time: metadata.time.clone().unwrap_or_default(),
        time_reference: metadata.time_reference,
        loudness: Loudness::default(),
        coding_history: history,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Format, Reader};

    /// A sparse file: a hole of silence stands for the first gigabytes.
    fn long_file(sample: WavSample, hole_frames: u64) -> (tempfile::TempDir, std::path::PathBuf) {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("long.wav");
        let file = File::create(&path).expect("a file");
        let mut writer = WavWriter::new(file, sample, 96_000, &Metadata::default()).expect("a header");
        writer.skip(hole_frames);
        writer.write(&[[0.5, -0.25], [-1.0, 0.125]]).expect("the end");
        Box::new(writer).finish(&Loudness::default()).expect("sizes");
        (folder, path)
    }

    #[test]
    fn files_past_4_gib_become_rf64_and_read_back() {
        for (sample, hole) in [(WavSample::Int24, 900_000_000), (WavSample::Float64, 300_000_000)] {
            let (_folder, path) = long_file(sample, hole);
            let mut reader = Reader::open(&path).expect("it opens");
            assert_eq!((reader.info().format, reader.info().frames), (Format::Rf64, hole + 2));
            reader.seek(hole - 1).expect("it seeks");
            let mut out = [[9.0; 2]; 4];
            assert_eq!(reader.read(&mut out).expect("it reads"), 3);
            assert_eq!(out[..3], [[0.0, 0.0], [0.5, -0.25], [-1.0, 0.125]]);
        }
    }

    #[test]
    fn the_long_header_is_laid_out_as_the_standard_says() {
        // EBU Tech 3306: ds64 at byte 12: size 28, riff size at 20, data size at 28, sample count at 36, no table.
        let (_folder, path) = long_file(WavSample::Int24, 900_000_000);
        let mut head = [0; 48];
        io::Read::read_exact(&mut File::open(&path).expect("it opens"), &mut head).expect("a header");
        let long = |at: usize| u64::from_le_bytes(head[at..at + 8].try_into().expect("eight bytes"));
        assert_eq!(&head[..20], b"RF64\xff\xff\xff\xffWAVEds64\x1c\0\0\0");
        assert_eq!(long(20), path.metadata().expect("its size").len() - 8);
        assert_eq!((long(28), long(36)), (5_400_000_012, 900_000_002));
        assert_eq!(head[44..48], [0; 4]);
    }

    #[test]
    fn libsndfile_reads_long_files() {
        let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/outside_media.py");
        let Ok(python) = std::env::var("FAIRPRINT_PYTHON") else {
            println!("FAIRPRINT_PYTHON is not set: nothing was checked against the outside");
            return;
        };
        let (_folder, path) = long_file(WavSample::Int24, 900_000_000);
        let output = std::process::Command::new(python).arg(script).arg("frames").arg(&path).output();
        assert_eq!(output.expect("it runs").stdout.trim_ascii_end(), b"900000002 RF64 PCM_24");
    }

    #[test]
    fn a_file_that_just_fits_stays_plain() {
        let (_folder, path) = long_file(WavSample::Int16, 1_073_000_000);
        assert_eq!(Reader::open(&path).expect("it opens").info().format, Format::Wav);
    }
}
