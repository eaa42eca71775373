//! Convolution: the signal in a space (or through a thing) of which an impulse response was recorded.
//!
//! `y[n] = sum h[k] x[n - k]`, at no latency (see `partitioned.rs`). What a file holds decides what it does:
//!
//! | channels | paths |
//! | --- | --- |
//! | 1 | the same response for left and right |
//! | 2 | left to left, right to right |
//! | 4 | true stereo: LL, LR, RL, RR, the first letter the loudspeaker and the second the microphone |
//! | 2 and, in `file_right`, 2 | the same four: the files of the left and of the right loudspeaker |

use units::{Frame, Param, Settings, Spec, Unit, gain_from_db};

use crate::{
    BuildError, Channels, Context, Processor,
    partitioned::{self, Convolver, Response},
    ramp::Ramp,
    space,
};
use space::{
    cuts::{Cuts, CutsMemory, HIGH_CUT, HIGH_CUT_OFF_HZ, LOW_CUT},
    return_path::{MIX, PRE_DELAY, ReturnPath, Space},
    side::{FULL_SPREAD_GAIN, SPREAD, Side},
};

/// Impulse response.
pub const FILE: Param =
    Param::file("file", "Impulse response with 1, 2 or 4 channels; 4 (LL, LR, RL, RR) are true stereo.");
/// Impulse response of the right loudspeaker.
pub const FILE_RIGHT: Param = Param::file(
    "file_right",
    "True stereo from two files: this one is of the right loudspeaker, the other of the left; 2 channels each.",
);
/// Gain.
pub const GAIN: Param = Param::number(
    "gain_db",
    Unit::Decibel,
    [-60.0, 24.0],
    0.0,
    "Level of the return; the response itself is used as it is.",
);

/// Description.
pub const SPEC: Spec = Spec {
    name: "convolution",
    title: "convolution",
    summary: "The signal in a space, or through a thing, of which an impulse response was recorded.",
    source: "Partitioned convolution without latency: Gardner, “Efficient Convolution without Input-Output \
             Delay”, JAES 43(3), 1995.",
    caution: "A response that starts with silence is late by as much: its pre-delay is in the file.",
    sentence: "in the space of {file}[, its right side from {file_right}][, at {gain_db}][; it waits {pre_delay_ms} first]\
               [; cut below {low_cut_hz}][; cut above {high_cut_hz}][; spread {spread_percent} in the side only]\
               [; {mix_percent} of the output]",
    params: &[FILE, FILE_RIGHT, GAIN, PRE_DELAY, LOW_CUT, HIGH_CUT, SPREAD, MIX],
    rows: None,
    outside_key: false,
};

/// What one lane remembers.
struct Memory {
    convolved: partitioned::Memory,
    cuts: CutsMemory,
    side: Side,
}

/// The recorded space.
struct Recorded {
    rate_hz: f64,
    response_frames: usize,
    convolver: Convolver,
    gain: Ramp,
    spread: Ramp,
    cuts: Cuts,
}

/// Builds a convolution.
///
/// # Errors
/// If no file is named, or one that is cannot be had, holds no sound, or has another number of channels than 1, 2 or 4.
pub fn build(settings: &Settings, context: &Context<'_>) -> Result<Box<dyn Processor>, BuildError> {
    let recorded = Recorded::new(&response_of(settings, context)?, context.rate_hz);
    Ok(Box::new(ReturnPath::new(settings, context, recorded)))
}

/// The response that the settings name.
fn response_of(settings: &Settings, context: &Context<'_>) -> Result<Response, BuildError> {
    let Some(name) = settings.file(&FILE) else {
        return Err(BuildError {
            message: "The convolution names no impulse response.".to_owned(),
            remedy: "Name an audio file: `file = \"...\"`.".to_owned(),
        });
    };
    let first = channels(name, context)?;
    match (&*first, settings.file(&FILE_RIGHT)) {
        ([both], None) => Ok(Response::of(both, both, None)),
        ([left, right], None) => Ok(Response::of(left, right, None)),
        ([ll, lr, rl, rr], None) => Ok(Response::of(ll, rr, Some([rl, lr]))),
        ([ll, lr], Some(name)) => match &*channels(name, context)? {
            [rl, rr] => Ok(Response::of(ll, rr, Some([rl, lr]))),
            other => Err(channel_count(name, other.len(), "beside a second file, each has 2")),
        },
        (other, Some(_)) => Err(channel_count(name, other.len(), "beside a second file, each has 2")),
        (other, None) => Err(channel_count(name, other.len(), CHANNELS)),
    }
}

/// What a file may hold.
const CHANNELS: &str = "1 (mono), 2 (left, right) or 4 (true stereo: LL, LR, RL, RR) can be used";

fn channel_count(name: &str, count: usize, accepted: &str) -> BuildError {
    BuildError {
        message: format!("The impulse response “{name}” has {}; {accepted}.", units::counted(count, "channel")),
        remedy: "Export it with one of these numbers of channels.".to_owned(),
    }
}

fn channels(name: &str, context: &Context<'_>) -> Result<Channels, BuildError> {
    let channels = (context.audio)(name)?;
    if channels.iter().flatten().all(|x| *x == 0.0) {
        return Err(BuildError {
            message: format!("The impulse response “{name}” is silent."),
            remedy: "Name a file that holds the response.".to_owned(),
        });
    }
    if channels.iter().flatten().any(|x| !x.is_finite()) {
        return Err(BuildError {
            message: format!("The impulse response “{name}” holds samples that are not numbers."),
            remedy: "Export it again; what made it is broken there.".to_owned(),
        });
    }
    Ok(channels)
}

impl Recorded {
    fn new(response: &Response, rate_hz: f64) -> Self {
        Self {
            rate_hz,
            response_frames: response.frames(),
            convolver: Convolver::new(response),
            gain: Ramp::at(0.0),
            spread: Ramp::at(0.0),
            cuts: Cuts::new(0.0, HIGH_CUT_OFF_HZ, rate_hz),
        }
    }
}

impl Space for Recorded {
    type Memory = Memory;

    fn memory(&self) -> Memory {
        Memory { convolved: self.convolver.memory(), cuts: CutsMemory::default(), side: Side::new(self.rate_hz) }
    }

    fn clear(&self, memory: &mut Memory) {
        memory.convolved.clear();
        memory.cuts = CutsMemory::default();
        memory.side.clear();
    }

    fn set(&mut self, s: &Settings) {
        self.gain.go_to(gain_from_db(s.number(&GAIN)));
        self.spread.go_to(s.number(&SPREAD) / 100.0 * FULL_SPREAD_GAIN);
        self.cuts.set(s.number(&LOW_CUT), s.number(&HIGH_CUT), self.rate_hz);
    }

    fn finish(&mut self) {
        self.gain.finish();
        self.spread.finish();
        self.cuts.finish();
    }

    fn answer(&mut self, memory: &mut Memory, signal: &mut [Frame]) {
        self.convolver.process(&mut memory.convolved, signal);
        let mut gain = self.gain;
        for frame in signal.iter_mut() {
            let gain = gain.next_value();
            *frame = frame.map(|x| x * gain);
        }
        self.cuts.process(&mut memory.cuts, signal);
        memory.side.process(self.spread, signal);
    }

    fn pass(&mut self, frames: usize) {
        space::pass(&mut self.gain, frames);
        space::pass(&mut self.spread, frames);
        self.cuts.pass(frames);
    }

    fn tail_frames(&self, settings: &Settings) -> usize {
        let spread = if settings.number(&SPREAD) > 0.0 { Side::tail_frames(self.rate_hz) } else { 0 };
        self.response_frames + self.cuts.tail_frames() + spread
    }
}

#[cfg(test)]
mod tests;
