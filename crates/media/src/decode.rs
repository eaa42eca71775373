//! Reads everything that is not a wave file, through the symphonia decoders, with exact lengths and nothing extra at
//! either end.
//!
//! What a container says about its length is taken where it is known to be exact; otherwise its packets are counted
//! once. Encoder delay and padding are cut away wherever the file states them: MP3 with a gapless frame, Vorbis, and AAC
//! in MPEG-4 files, whose edit list is read here ([`crate::mp4`]) because the library ignores it. A bare AAC stream and an
//! MP3 file without a gapless frame have no place to state them: these are read whole, from their first decoded frame.
//!
//! Known limit: ALAC in a core audio file whose packet table is padded (libsndfile writes such files) is refused.

use std::fs::File;
use std::io;

use symphonia::core::audio::GenericAudioBufferRef;
use symphonia::core::codecs::CodecParameters;
use symphonia::core::codecs::audio::well_known as codec_id;
use symphonia::core::codecs::audio::{AudioCodecParameters, AudioDecoder, AudioDecoderOptions};
use symphonia::core::errors::Error as SymphoniaError;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, FormatReader, SeekMode, SeekTo, Track, TrackType};
use symphonia::core::io::MediaSourceStream;
use symphonia::core::meta::{MetadataOptions, StandardTag, Tag};
use symphonia::core::packet::Packet;
use symphonia::core::units::Timestamp;
use units::Frame;

use crate::caf::Bounded;
use crate::reader::{Audio, Purpose};
use crate::{Format, Info, Reason, mp4};

/// Frames decoded ahead of a seek's target, so that a lossy decoder has settled: more than the 511 bytes that an MP3
/// frame may reach back (ISO/IEC 11172-3, `main_data_begin`) at any rate from 32 kbit/s.
const SETTLE_FRAMES: u64 = 16 * 1152;

/// Where the ALAC decoder configuration states the bits of a sample (after frame length and version).
const ALAC_BITS_AT: usize = 5;

/// Most frames of a packet: many times more than any real one has.
const MOST_PACKET_FRAMES: u64 = 1 << 18;

/// Nearer than this, decoding on is faster than moving.
const NEAR_FRAMES: u64 = 1 << 15;

/// Audio through a decoder.
pub(crate) struct Decoded {
    /// The same open file as the container's, for starting over: only one of them reads at a time.
    file: File,
    ending: Option<String>,
    container: Box<dyn FormatReader>,
    decoder: Box<dyn AudioDecoder>,
    params: AudioCodecParameters,
    gapless: bool,
    purpose: Purpose,
    track: u32,
    info: Info,
    /// Frames of the decoder's timeline before frame 0.
    lead: u64,
    /// Frame that the next read starts at.
    next: u64,
    /// Decoded frames, from frame `pending_at` on; unknown right after a seek. Negative in the lead.
    pending: Vec<Frame>,
    pending_at: Option<i64>,
    samples: Vec<f64>,
}

impl Decoded {
    pub(crate) fn open(mut file: File, ending: Option<&str>, purpose: Purpose) -> Result<Self, Reason> {
        let trim = mp4::trim_of(&mut file)?;
        let mut container = probe(&file, ending)?;
        let track = container.default_track(TrackType::Audio).cloned();
        let track = track.ok_or_else(|| Reason::UnknownFormat("no audio in it".to_owned()))?;
        let Some(CodecParameters::Audio(params)) = track.codec_params.clone() else {
            return Err(Reason::UnknownFormat("no audio in it".to_owned()));
        };
        refuse_huge_packets(&params)?;
        let format = format_of(&*container, &params)?;
        let gapless = format != Format::Mp3 || track.delay.is_some();
        let info = describe(&mut *container, format, &params, purpose)?;
        let mut decoded = Self {
            file,
            ending: ending.map(str::to_owned),
            decoder: decoder_of(&params, gapless)?,
            container,
            params,
            gapless,
            purpose,
            track: track.id,
            info,
            lead: 0,
            next: 0,
            pending: Vec::new(),
            pending_at: Some(0),
            samples: Vec::new(),
        };
        let total = match exact_frames(format, &track, decoded.container.format_info().short_name) {
            Some(frames) => frames,
            None => decoded.count()?,
        };
        (decoded.lead, decoded.info.frames) =
            if format == Format::Aac { trim.apply(total, decoded.info.rate_hz) } else { (0, total) };
        decoded.pending_at = Some(-decoded.lead.cast_signed());
        Ok(decoded)
    }

    /// Decoded frames from the next frame on.
    fn ready(&self) -> &[Frame] {
        let Some(at) = self.pending_at else { return &[] };
        let skip = usize::try_from(self.next.cast_signed() - at).unwrap_or(0);
        self.pending.get(skip..).unwrap_or_default()
    }

    /// Replaces the pending frames by those of the next packet.
    fn decode_more(&mut self) -> Result<(), Reason> {
        let Some(packet) = self.packet()? else {
            return Err(Reason::CutShort { declared: self.info.frames, present: self.next });
        };
        let at = self.pending_at.map(|at| at + self.pending.len() as i64);
        self.pending.clear();
        let next = self.next;
        let buffer = self.decoder.decode(&packet).map_err(|error| reason_of(error, next))?;
        if buffer.spec().rate() != self.info.rate_hz || buffer.num_planes() != usize::from(self.info.channels) {
            let detail = "the rate or the number of channels changes in mid-file".to_owned();
            return Err(Reason::Damaged { frame: next, detail });
        }
        spread(&buffer, self.purpose, &mut self.samples, &mut self.pending);
        let first = packet.pts.get().saturating_add(packet.trim_start.get().cast_signed());
        self.pending_at = at.or_else(|| (!self.pending.is_empty()).then_some(first - self.lead.cast_signed()));
        if self.pending_at.is_some_and(|at| at > self.next.cast_signed()) {
            let detail = "samples are missing between packets".to_owned();
            return Err(Reason::Damaged { frame: next, detail });
        }
        Ok(())
    }

    fn move_to(&mut self, frame: u64) -> bool {
        let to = SeekTo::Timestamp { ts: Timestamp::new(frame.cast_signed()), track_id: self.track };
        self.container.seek(SeekMode::Accurate, to).is_ok()
    }

    /// Opens the container afresh, at its start.
    fn start_over(&mut self) -> Result<(), Reason> {
        self.container = probe(&self.file, self.ending.as_deref())?;
        self.decoder = decoder_of(&self.params, self.gapless)?;
        self.pending.clear();
        self.pending_at = Some(-self.lead.cast_signed());
        Ok(())
    }

    /// The next packet of our track.
    fn packet(&mut self) -> Result<Option<Packet>, Reason> {
        loop {
            match self.container.next_packet() {
                Ok(Some(packet)) if packet.track_id == self.track => return Ok(Some(packet)),
                Ok(Some(_)) => {}
                Ok(None) => return Ok(None),
                Err(SymphoniaError::IoError(error)) if error.kind() == io::ErrorKind::UnexpectedEof => return Ok(None),
                Err(error) => return Err(reason_of(error, self.next)),
            }
        }
    }

    /// Counts the frames of all packets, and returns to the start. The last packet of a lossless file may hold fewer
    /// frames than its container says, so that one is decoded.
    fn count(&mut self) -> Result<u64, Reason> {
        let (mut frames, mut last) = (0_u64, None);
        while let Some(packet) = self.packet()? {
            frames = frames.saturating_add(packet.dur.get());
            last = Some(packet);
        }
        if let Some(packet) = last.filter(|_| !self.info.lossy) {
            let buffer = self.decoder.decode(&packet).map_err(|error| reason_of(error, frames))?;
            frames = frames - packet.dur.get() + buffer.frames() as u64;
        }
        self.start_over()?;
        Ok(frames)
    }
}

impl Audio for Decoded {
    fn info(&self) -> &Info {
        &self.info
    }

    fn read(&mut self, out: &mut [Frame]) -> Result<usize, Reason> {
        let left = usize::try_from(self.info.frames - self.next).unwrap_or(usize::MAX);
        let wanted = out.len().min(left);
        let mut done = 0;
        while done < wanted {
            let ready = self.ready();
            if ready.is_empty() {
                self.decode_more()?;
                continue;
            }
            let count = ready.len().min(wanted - done);
            out[done..done + count].copy_from_slice(&ready[..count]);
            done += count;
            self.next += count as u64;
        }
        Ok(wanted)
    }

    fn seek(&mut self, frame: u64) -> Result<(), Reason> {
        let ahead = self.pending_at.and_then(|at| u64::try_from(frame.cast_signed() - at).ok());
        // An AAC decoder replaces noise by noise of its own, which depends on all that it decoded before.
        let from_the_start = self.info.format == Format::Aac;
        let near = if from_the_start { u64::MAX } else { NEAR_FRAMES };
        self.next = frame;
        if frame == self.info.frames || ahead.is_some_and(|ahead| ahead <= near) {
            return Ok(());
        }
        // Always from a fresh start: containers do not forget where they were, and then lose frames or do not move.
        self.start_over()?;
        if from_the_start {
            return Ok(());
        }
        let settle = if self.info.lossy { SETTLE_FRAMES } else { 0 };
        if self.move_to(frame.saturating_sub(settle)) {
            self.pending_at = None;
            return Ok(());
        }
        self.start_over()
    }
}

/// A decoder makes room for a whole packet at once, however large a faulty header says that is.
fn refuse_huge_packets(params: &AudioCodecParameters) -> Result<(), Reason> {
    let by_container = params.max_frames_per_packet.unwrap_or(0);
    let by_codec = alac_config(params).and_then(|config| config.first_chunk()).map_or(0, |b| u32::from_be_bytes(*b));
    match by_container.max(u64::from(by_codec)) {
        frames if frames > MOST_PACKET_FRAMES => Err(Reason::FaultyHeader(format!("packets of {frames} samples"))),
        _ => Ok(()),
    }
}

fn decoder_of(params: &AudioCodecParameters, gapless: bool) -> Result<Box<dyn AudioDecoder>, Reason> {
    let options = AudioDecoderOptions::default().gapless(gapless);
    let made = symphonia::default::get_codecs().make_audio_decoder(params, &options);
    made.map_err(|error| reason_of(error, 0))
}

fn probe(file: &File, ending: Option<&str>) -> Result<Box<dyn FormatReader>, Reason> {
    let stream = MediaSourceStream::new(Box::new(Bounded::new(file.try_clone()?)?), Default::default());
    let mut hint = Hint::new();
    if let Some(ending) = ending {
        hint.with_extension(ending);
    }
    let probe = symphonia::default::get_probe();
    probe.probe(&hint, stream, FormatOptions::default(), MetadataOptions::default()).map_err(|error| match error {
        SymphoniaError::Unsupported(_) => Reason::UnknownFormat("it starts like no audio file".to_owned()),
        SymphoniaError::IoError(e) if e.kind() == io::ErrorKind::UnexpectedEof => {
            Reason::UnknownFormat("it ends before any audio begins".to_owned())
        }
        other => reason_of(other, 0),
    })
}

/// Length as the container says it, where that is exact: not for core audio files (rounded up to a packet), and not
/// for streams of bare frames (guessed).
fn exact_frames(format: Format, track: &Track, container: &str) -> Option<u64> {
    let guessed = match format {
        Format::Mp3 => track.delay.is_none(),
        Format::Alac => container == "caf",
        Format::Aac => container == "aac",
        _ => false,
    };
    track.num_frames.filter(|_| !guessed)
}

fn format_of(container: &dyn FormatReader, params: &AudioCodecParameters) -> Result<Format, Reason> {
    let known = match params.codec {
        codec_id::CODEC_ID_FLAC => Some(Format::Flac),
        codec_id::CODEC_ID_ALAC => Some(Format::Alac),
        codec_id::CODEC_ID_MP3 => Some(Format::Mp3),
        codec_id::CODEC_ID_AAC => Some(Format::Aac),
        codec_id::CODEC_ID_VORBIS => Some(Format::Vorbis),
        _ => match container.format_info().short_name {
            "aiff" => Some(Format::Aiff),
            "caf" => Some(Format::Caf),
            "isomp4" => Some(Format::Mpeg4),
            _ => None,
        },
    };
    known.ok_or_else(|| Reason::UnsupportedEncoding(format!("the codec {}", params.codec)))
}

fn describe(
    container: &mut dyn FormatReader,
    format: Format,
    params: &AudioCodecParameters,
    purpose: Purpose,
) -> Result<Info, Reason> {
    let channels = params.channels.as_ref().map_or(0, |channels| channels.count());
    let channels = u16::try_from(channels).unwrap_or(u16::MAX);
    purpose.check(channels)?;
    let rate_hz = params.sample_rate.filter(|rate| *rate > 0);
    let rate_hz = rate_hz.ok_or_else(|| Reason::FaultyHeader("no sample rate".to_owned()))?;
    let float_bits = match params.codec {
        codec_id::CODEC_ID_PCM_F32LE | codec_id::CODEC_ID_PCM_F32BE => Some(32),
        codec_id::CODEC_ID_PCM_F64LE | codec_id::CODEC_ID_PCM_F64BE => Some(64),
        _ => None,
    };
    let lossy = matches!(format, Format::Mp3 | Format::Aac | Format::Vorbis);
    let alac_bits = alac_config(params).and_then(|config| config.get(ALAC_BITS_AT)).map(|bits| u16::from(*bits));
    let integer_bits = params.bits_per_sample.and_then(|bits| u16::try_from(bits).ok()).filter(|bits| *bits > 0);
    let tags = container.metadata().skip_to_latest().map(|revision| tags_of(&revision.media.tags));
    Ok(Info {
        format,
        rate_hz,
        channels,
        frames: 0,
        bits: if lossy { None } else { float_bits.or(alac_bits).or(integer_bits) },
        float: float_bits.is_some(),
        lossy,
        bwf: None,
        track_names: Vec::new(),
        tags: tags.unwrap_or_default(),
    })
}

/// The ALAC decoder's configuration, which core audio files wrap in boxes of their own.
fn alac_config(params: &AudioCodecParameters) -> Option<&[u8]> {
    let cookie = params.extra_data.as_ref().filter(|_| params.codec == codec_id::CODEC_ID_ALAC)?;
    // The wrapping box: name, version and flags.
    let wrapped = cookie.windows(4).rposition(|name| name == b"alac").map_or(0, |at| at + 8);
    cookie.get(wrapped..)
}

/// Tags under the names that [`Info`] uses; those of no known meaning under their own.
fn tags_of(tags: &[Tag]) -> Vec<(String, String)> {
    let key_of = |tag: &Tag| match tag.std.as_ref()? {
        StandardTag::TrackTitle(_) => Some("title"),
        StandardTag::Artist(_) => Some("artist"),
        StandardTag::Album(_) => Some("album"),
        StandardTag::Comment(_) | StandardTag::Description(_) => Some("comment"),
        StandardTag::TrackSubtitle(_) => Some("version"),
        StandardTag::IdentIsrc(_) => Some("isrc"),
        StandardTag::Bpm(_) => Some("tempo_bpm"),
        StandardTag::InitialKey(_) => Some("key"),
        StandardTag::Encoder(_) | StandardTag::EncoderSettings(_) | StandardTag::EncodedBy(_) => Some("software"),
        StandardTag::RecordingDate(_) | StandardTag::ReleaseDate(_) => Some("date"),
        _ => None,
    };
    let named = |tag: &Tag| {
        let key = key_of(tag).map_or_else(|| tag.raw.key.to_lowercase(), str::to_owned);
        (key, tag.raw.value.to_string())
    };
    tags.iter().map(named).filter(|(_, value)| !value.is_empty()).collect()
}

/// Frames of a decoded buffer: mono into both sides.
fn spread(buffer: &GenericAudioBufferRef<'_>, purpose: Purpose, samples: &mut Vec<f64>, frames: &mut Vec<Frame>) {
    buffer.copy_to_vec_interleaved(samples);
    match buffer.num_planes() {
        1 => frames.extend(samples.iter().map(|x| [*x; 2])),
        channels => {
            let first = purpose.first_channel();
            frames.extend(samples.chunks_exact(channels).map(|all| [all[first], all[first + 1]]));
        }
    }
}

fn reason_of(error: SymphoniaError, frame: u64) -> Reason {
    match error {
        // Only the system's own errors are the machine's fault, and of these not the place that cannot be, which the
        // library goes to where sizes in the file lie. All others are its words for data that end too early.
        SymphoniaError::IoError(error)
            if error.raw_os_error().is_some() && error.kind() != io::ErrorKind::InvalidInput =>
        {
            Reason::System(error)
        }
        SymphoniaError::Unsupported(what) => Reason::UnsupportedEncoding(format!("something unusual ({what})")),
        other => Reason::Damaged { frame, detail: other.to_string() },
    }
}
