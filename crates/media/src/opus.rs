//! Opus in an Ogg stream (RFC 6716, RFC 7845), written and read with exact length: what the encoder is late by is cut
//! away at the front, its padding at the end.

use std::fs::File;
use std::io::{BufReader, BufWriter, IntoInnerError, Read, Seek, SeekFrom};

use opus_pure::{
    Application, MAX_PACKET_BYTES, MAX_PACKET_SAMPLES, OggOpusReader, OggOpusWriter, OggPacket, OpusDecoder,
    OpusEncoder, OpusHead, OpusTags, Trim,
};
use units::Frame;

use crate::reader::{Audio, Purpose};
use crate::writer::Encode;
use crate::{Format, Info, Loudness, Metadata, OggKbps, Reason, flac};

/// The rate that all Opus audio has inside (RFC 7845, section 4).
pub(crate) const RATE_HZ: u32 = 48_000;

/// Frames of a packet: 20 ms, the usual choice (RFC 6716, section 2.1.4).
const PACKET_FRAMES: usize = 960;

/// Serial number of the stream: a file holds one.
const SERIAL: u32 = 1;

/// An Opus file being written.
pub(crate) struct OpusWriter {
    encoder: OpusEncoder,
    out: OggOpusWriter<BufWriter<File>>,
    pre_skip: usize,
    waiting: Vec<f32>,
    packet: Vec<u8>,
    frames: u64,
}

impl OpusWriter {
    pub(crate) fn new(file: File, kbps: OggKbps, rate_hz: u32, metadata: &Metadata) -> Result<Self, Reason> {
        if rate_hz != RATE_HZ {
            return Err(Reason::RateNotPossible { format: "Opus", rate_hz });
        }
        let mut encoder = OpusEncoder::new(RATE_HZ.cast_signed(), 2, Application::Audio).map_err(not_encoded)?;
        encoder.bitrate_bps = i32::from(kbps.get()) * 1000;
        let head = OpusHead::for_encoder(&encoder, RATE_HZ);
        let mut tags = OpusTags::new();
        for (field, value) in flac::comments(metadata) {
            tags.push(&field, &value).map_err(not_encoded)?;
        }
        let pre_skip = usize::from(head.pre_skip);
        let out = OggOpusWriter::with_serial(BufWriter::with_capacity(1 << 16, file), head, tags, SERIAL);
        let out = out.map_err(not_encoded)?;
        let (waiting, packet) = (Vec::with_capacity(2 * PACKET_FRAMES), vec![0; MAX_PACKET_BYTES]);
        Ok(Self { encoder, out, pre_skip, waiting, packet, frames: 0 })
    }

    /// Encodes the frames that wait; they fill a packet.
    fn encode(&mut self, last: bool) -> Result<(), Reason> {
        let bytes = self.encoder.encode(&self.waiting, PACKET_FRAMES, &mut self.packet).map_err(not_encoded)?;
        self.waiting.clear();
        let packet = &self.packet[..bytes];
        if !last {
            return self.out.write_packet(packet).map_err(not_encoded);
        }
        // The last packet ends where the audio does: RFC 7845, section 4.4.
        let end = self.pre_skip as u64 + self.frames;
        let duration = end.saturating_sub(self.out.granule().unsigned_abs());
        self.out.write_packet_with_duration(packet, duration as u32).map_err(not_encoded)
    }

    fn push(&mut self, frames: &[Frame]) -> Result<(), Reason> {
        let mut rest = frames;
        while !rest.is_empty() {
            let room = PACKET_FRAMES - self.waiting.len() / 2;
            let (now, later) = rest.split_at(room.min(rest.len()));
            self.waiting.extend(now.as_flattened().iter().map(|sample| *sample as f32));
            rest = later;
            if self.waiting.len() == 2 * PACKET_FRAMES && !rest.is_empty() {
                self.encode(false)?;
            }
        }
        Ok(())
    }
}

impl Encode for OpusWriter {
    fn write(&mut self, frames: &[Frame]) -> Result<(), Reason> {
        self.frames += frames.len() as u64;
        if self.waiting.len() == 2 * PACKET_FRAMES && !frames.is_empty() {
            self.encode(false)?;
        }
        self.push(frames)
    }

    /// The encoder is late by `pre_skip` frames: as many frames of silence drive the last of the audio out of it.
    fn finish(mut self: Box<Self>, _: &Loudness) -> Result<(File, u64), Reason> {
        if self.waiting.len() == 2 * PACKET_FRAMES {
            self.encode(false)?;
        }
        let silence = vec![units::SILENCE; self.pre_skip];
        self.push(&silence)?;
        self.waiting.resize(2 * PACKET_FRAMES, 0.0);
        self.encode(true)?;
        let out = self.out.finish().map_err(not_encoded)?;
        Ok((out.into_inner().map_err(IntoInnerError::into_error)?, 0))
    }
}

fn not_encoded(error: opus_pure::Error) -> Reason {
    Reason::Encoder { encoder: "Opus", detail: error.to_string() }
}

/// An Opus file being read.
pub(crate) struct OpusReader {
    packets: OggOpusReader<BufReader<File>>,
    decoder: OpusDecoder,
    trim: Trim,
    info: Info,
    packet: OggPacket,
    samples: Vec<f32>,
    /// Decoded frames, from `next` on.
    pending: Vec<Frame>,
    /// Frames of `pending` that have been handed out.
    taken: usize,
    next: u64,
}

impl OpusReader {
    /// Whether a file is Opus in an Ogg stream: its first page holds the identification header (RFC 7845, section 5.1).
    /// The file is at its start again afterwards.
    pub(crate) fn recognises(file: &mut File) -> Result<bool, Reason> {
        let mut start = Vec::with_capacity(64);
        file.seek(SeekFrom::Start(0))?;
        Read::by_ref(file).take(64).read_to_end(&mut start)?;
        file.seek(SeekFrom::Start(0))?;
        Ok(start.starts_with(b"OggS") && start.windows(8).any(|window| window == b"OpusHead"))
    }

    pub(crate) fn open(mut file: File, purpose: Purpose) -> Result<Self, Reason> {
        let frames = length(&mut file)?;
        let packets = OggOpusReader::new(BufReader::with_capacity(1 << 16, file)).map_err(faulty)?;
        let channels = u16::from(packets.head().channel_count);
        purpose.check(channels)?;
        let channels = channels.min(2);
        let (decoder, trim) = start(&packets)?;
        let info = Info {
            format: Format::Opus,
            rate_hz: RATE_HZ,
            channels,
            frames,
            bits: None,
            float: false,
            lossy: true,
            bwf: None,
            track_names: Vec::new(),
            tags: tags(packets.tags()),
        };
        let samples = vec![0.0; MAX_PACKET_SAMPLES * usize::from(channels)];
        let (packet, pending) = (OggPacket::default(), Vec::new());
        Ok(Self { packets, decoder, trim, info, packet, samples, pending, taken: 0, next: 0 })
    }

    /// Replaces the pending frames by those of the next packet; false at the end.
    fn decode_more(&mut self) -> Result<bool, Reason> {
        let frame = self.next;
        let damaged = |error: opus_pure::Error| Reason::Damaged { frame, detail: error.to_string() };
        if !self.packets.read_packet_into(&mut self.packet).map_err(damaged)? {
            return Ok(false);
        }
        let decoded = self.decoder.decode(&self.packet.data, MAX_PACKET_SAMPLES, &mut self.samples).map_err(damaged)?;
        let channels = usize::from(self.info.channels);
        let kept = self.trim.keep(&self.packet, &self.samples[..decoded * channels]);
        self.pending.clear();
        self.taken = 0;
        let spread = |frame: &[f32]| [f64::from(frame[0]), f64::from(frame[channels - 1])];
        self.pending.extend(kept.chunks_exact(channels).map(spread));
        Ok(true)
    }
}

/// What the file says, by the keys that all formats share; other fields by their own names in small letters.
fn tags(tags: &OpusTags) -> Vec<(String, String)> {
    let key = |field: &str| match field {
        "description" => "comment".to_owned(),
        "initialkey" => "key".to_owned(),
        "bpm" => "tempo_bpm".to_owned(),
        "encoded-by" => "software".to_owned(),
        other => other.to_owned(),
    };
    let entries = tags.comments.iter().filter_map(|entry| entry.split_once('='));
    entries.map(|(field, value)| (key(&field.to_ascii_lowercase()), value.to_owned())).collect()
}

/// A decoder and what to cut away, from the start of the stream.
fn start(packets: &OggOpusReader<BufReader<File>>) -> Result<(OpusDecoder, Trim), Reason> {
    let head = packets.head();
    let decoder = head.decoder(RATE_HZ.cast_signed()).map_err(faulty)?;
    let trim = Trim::new(head, RATE_HZ.cast_signed(), usize::from(head.channel_count)).map_err(faulty)?;
    Ok((decoder, trim))
}

/// Frames of the audio, from the position of the last page. Leaves the file at its start.
fn length(file: &mut File) -> Result<u64, Reason> {
    let mut packets = OggOpusReader::new(BufReader::with_capacity(1 << 16, file.try_clone()?)).map_err(faulty)?;
    let pre_skip = i64::from(packets.head().pre_skip);
    let (mut packet, mut end) = (OggPacket::default(), pre_skip);
    while packets.read_packet_into(&mut packet).map_err(faulty)? {
        end = end.max(packet.page_granule);
    }
    file.seek(SeekFrom::Start(0))?;
    Ok((end - pre_skip).unsigned_abs())
}

fn faulty(error: opus_pure::Error) -> Reason {
    Reason::FaultyHeader(error.to_string())
}

impl Audio for OpusReader {
    fn info(&self) -> &Info {
        &self.info
    }

    fn read(&mut self, out: &mut [Frame]) -> Result<usize, Reason> {
        let wanted = out.len().min(usize::try_from(self.info.frames - self.next).unwrap_or(usize::MAX));
        let mut done = 0;
        while done < wanted {
            if self.taken == self.pending.len() && !self.decode_more()? {
                return Err(Reason::CutShort { declared: self.info.frames, present: self.next });
            }
            let count = (wanted - done).min(self.pending.len() - self.taken);
            out[done..done + count].copy_from_slice(&self.pending[self.taken..self.taken + count]);
            (self.taken, self.next, done) = (self.taken + count, self.next + count as u64, done + count);
        }
        Ok(done)
    }

    /// A decoder's state reaches back without a stated limit, so that a move backwards decodes again from the start.
    fn seek(&mut self, frame: u64) -> Result<(), Reason> {
        if frame < self.next {
            self.packets.rewind().map_err(faulty)?;
            (self.decoder, self.trim) = start(&self.packets)?;
            self.pending.clear();
            (self.taken, self.next) = (0, 0);
        }
        let mut skipped = vec![units::SILENCE; PACKET_FRAMES];
        while self.next < frame {
            let count = skipped.len().min(usize::try_from(frame - self.next).unwrap_or(usize::MAX));
            self.read(&mut skipped[..count])?;
        }
        Ok(())
    }
}
