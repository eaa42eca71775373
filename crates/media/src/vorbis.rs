//! Writes Vorbis in an Ogg stream (Vorbis I specification), at a variable rate around one that is asked for.

use std::fs::File;
use std::io::{BufWriter, IntoInnerError};
use std::num::{NonZeroU8, NonZeroU32};
use std::sync::mpsc::{SyncSender, sync_channel};
use std::thread::JoinHandle;

use units::Frame;
use vorbis_rs::{VorbisBitrateManagementStrategy, VorbisEncoderBuilder, VorbisError};

use crate::writer::Encode;
use crate::{Loudness, Metadata, OggKbps, Reason, flac};

/// Rates that the encoder has modes for at every rate of [`OggKbps`].
pub(crate) const RATES_HZ: [u32; 2] = [44_100, 48_000];

/// Frames that the encoder is handed at once: what its authors advise.
const FRAMES_AT_ONCE: usize = 1024;

/// Serial number of the stream: a file holds one.
const SERIAL: i32 = 1;

/// Blocks that may wait for the encoder.
const WAITING_BLOCKS: usize = 8;

/// A Vorbis file being written. The encoder cannot be handed from thread to thread, and a writer may be: so it lives on
/// a thread of its own.
pub(crate) struct VorbisWriter {
    blocks: SyncSender<[Vec<f32>; 2]>,
    /// The block that is being filled: the encoder's choices depend on how its input is cut.
    filling: [Vec<f32>; 2],
    encoder: JoinHandle<Result<File, Reason>>,
}

impl VorbisWriter {
    pub(crate) fn new(file: File, kbps: OggKbps, rate_hz: u32, metadata: &Metadata) -> Result<Self, Reason> {
        let rate = NonZeroU32::new(rate_hz).filter(|rate| RATES_HZ.contains(&rate.get()));
        let rate = rate.ok_or(Reason::RateNotPossible { format: "Vorbis", rate_hz })?;
        let target_bitrate = NonZeroU32::MIN.saturating_add(u32::from(kbps.get()) * 1000 - 1);
        let comments = flac::comments(metadata);
        let (blocks, coming) = sync_channel::<[Vec<f32>; 2]>(WAITING_BLOCKS);
        let encode = move || {
            let out = BufWriter::with_capacity(1 << 16, file);
            let stereo = NonZeroU8::MIN.saturating_add(1);
            let mut builder = VorbisEncoderBuilder::new_with_serial(rate, stereo, out, SERIAL);
            builder.bitrate_management_strategy(VorbisBitrateManagementStrategy::Vbr { target_bitrate });
            builder.comment_tags(comments).map_err(failed)?;
            let mut encoder = builder.build().map_err(failed)?;
            for block in coming {
                encoder.encode_audio_block(block).map_err(failed)?;
            }
            let out = encoder.finish().map_err(failed)?;
            Ok(out.into_inner().map_err(IntoInnerError::into_error)?)
        };
        let encoder = std::thread::Builder::new().name("vorbis".to_owned()).spawn(encode)?;
        Ok(Self { blocks, filling: Default::default(), encoder })
    }
}

impl VorbisWriter {
    /// Sends what has been filled. An encoder that has stopped takes no more, and says why at the end.
    fn hand_over(&mut self) {
        let block = std::mem::replace(&mut self.filling, [0, 1].map(|_| Vec::with_capacity(FRAMES_AT_ONCE)));
        if !block[0].is_empty() {
            let _ = self.blocks.send(block);
        }
    }
}

impl Encode for VorbisWriter {
    fn write(&mut self, frames: &[Frame]) -> Result<(), Reason> {
        for frame in frames {
            for (channel, sample) in self.filling.iter_mut().zip(frame) {
                channel.push(*sample as f32);
            }
            if self.filling[0].len() == FRAMES_AT_ONCE {
                self.hand_over();
            }
        }
        Ok(())
    }

    fn finish(mut self: Box<Self>, _: &Loudness) -> Result<(File, u64), Reason> {
        self.hand_over();
        let Self { blocks, encoder, .. } = *self;
        drop(blocks);
        let file = encoder.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))?;
        Ok((file, 0))
    }
}

fn failed(error: VorbisError) -> Reason {
    match error {
        VorbisError::Io(error) => Reason::System(error),
        other => Reason::Encoder { encoder: "Vorbis", detail: other.to_string() },
    }
}
