//! Convolution: the signal in a space (or through a thing) of which an impulse response was recorded.
//!
//! `y[n] = sum h[k] x[n - k]`, at no latency (see `partitioned.rs`). With one stereo file, left goes through its left
//! channel and right through its right. With two, `file` is what both microphones heard of the left loudspeaker and
//! `file_right` what they heard of the right one, and all four paths are taken: true stereo.

use std::sync::Arc;

use units::{At, Block, Frame, Kind, Param, SILENCE, Settings, Spec, Unit, Value, frames_from_ms, gain_from_db};

use crate::{
    BuildError, Context, Processor,
    partitioned::{Convolver, Memory, Response},
    ramp::Ramp,
    space,
};
use space::{
    CHUNK_FRAMES, MIX, PRE_DELAY, PRE_DELAY_MOST_MS, SILENT,
    cuts::{Cuts, CutsMemory, HIGH_CUT, HIGH_CUT_OFF_HZ, LOW_CUT},
    line::Line,
    moving::Moving,
    side::{FULL_SPREAD_GAIN, SPREAD, Side},
};

/// Impulse response.
pub const FILE: Param =
    Param::file("file", "Impulse response; with a second file, what was heard of the left loudspeaker.");
/// Impulse response to the right input.
pub const FILE_RIGHT: Param =
    Param::file("file_right", "What was heard of the right loudspeaker: makes the convolution true stereo.");
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
    sentence: "in the space of {file}[, its right side from {file_right}][, at {gain_db}][; it waits {pre_delay_ms} first]\
               [; cut below {low_cut_hz}][; cut above {high_cut_hz}][; spread {spread_percent} in the side only]\
               [; {mix_percent} of the output]",
    params: &[FILE, FILE_RIGHT, GAIN, PRE_DELAY, LOW_CUT, HIGH_CUT, SPREAD, MIX],
    rows: None,
    outside_key: false,
};

/// What one lane remembers.
struct Lane {
    input: Line<Frame>,
    memory: Memory,
    cuts: CutsMemory,
    side: Side,
}

/// The processor.
pub struct Convolution {
    settings: Settings,
    rate_hz: f64,
    response_frames: usize,
    convolver: Convolver,
    pre: Moving<usize>,
    gain: Ramp,
    spread: Ramp,
    mix: Ramp,
    cuts: Cuts,
    lanes: Vec<Lane>,
}

/// Builds a convolution.
///
/// # Errors
/// If no file is named, or one that is cannot be had or holds no sound.
pub fn build(settings: &Settings, context: &Context<'_>) -> Result<Box<dyn Processor>, BuildError> {
    Ok(Box::new(Convolution::new(settings, context, &response(settings, context)?)))
}

/// The response that the settings name.
fn response(settings: &Settings, context: &Context<'_>) -> Result<Response, BuildError> {
    let Some(name) = settings.file(&FILE) else {
        return Err(BuildError {
            message: "the convolution names no impulse response".to_owned(),
            remedy: "name an audio file: file = \"...\"".to_owned(),
        });
    };
    let left = audio(name, context)?;
    let Some(name) = settings.file(&FILE_RIGHT) else {
        return Ok(Response { own: left.to_vec(), cross: None });
    };
    let right = audio(name, context)?;
    let at = |taps: &[Frame], i: usize| taps.get(i).copied().unwrap_or(SILENCE);
    let length = left.len().max(right.len());
    Ok(Response {
        own: (0..length).map(|i| [at(&left, i)[0], at(&right, i)[1]]).collect(),
        cross: Some((0..length).map(|i| [at(&right, i)[0], at(&left, i)[1]]).collect()),
    })
}

fn audio(name: &str, context: &Context<'_>) -> Result<Arc<[Frame]>, BuildError> {
    let taps = (context.audio)(name).ok_or_else(|| BuildError {
        message: format!("the impulse response \"{name}\" cannot be read"),
        remedy: "check the path, counted from the sheet's folder, and that the file is audio".to_owned(),
    })?;
    if taps.iter().flatten().all(|x| *x == 0.0) {
        return Err(BuildError {
            message: format!("the impulse response \"{name}\" is silent"),
            remedy: "name a file that holds the response".to_owned(),
        });
    }
    if taps.iter().flatten().any(|x| !x.is_finite()) {
        return Err(BuildError {
            message: format!("the impulse response \"{name}\" holds values that are not numbers"),
            remedy: "write the file again from its source".to_owned(),
        });
    }
    Ok(taps)
}

impl Convolution {
    fn new(settings: &Settings, context: &Context<'_>, response: &Response) -> Self {
        let rate_hz = context.rate_hz;
        let convolver = Convolver::new(response);
        let lane = || Lane {
            input: Line::new(frames_from_ms(PRE_DELAY_MOST_MS, rate_hz) + CHUNK_FRAMES, CHUNK_FRAMES, SILENCE),
            memory: convolver.memory(),
            cuts: CutsMemory::default(),
            side: Side::new(rate_hz),
        };
        let lanes = (0..context.lanes).map(|_| lane()).collect();
        let mut convolution = Self {
            settings: settings.clone(),
            rate_hz,
            response_frames: response.own.len(),
            convolver,
            pre: Moving::at(0),
            gain: Ramp::at(0.0),
            spread: Ramp::at(0.0),
            mix: Ramp::at(0.0),
            cuts: Cuts::new(0.0, HIGH_CUT_OFF_HZ, rate_hz),
            lanes,
        };
        convolution.derive();
        convolution.reset();
        convolution
    }

    /// Takes over what the settings say.
    fn derive(&mut self) {
        let s = &self.settings;
        self.pre.go_to(frames_from_ms(s.number(&PRE_DELAY), self.rate_hz));
        self.gain.go_to(gain_from_db(s.number(&GAIN)));
        self.spread.go_to(s.number(&SPREAD) / 100.0 * FULL_SPREAD_GAIN);
        self.mix.go_to(s.number(&MIX) / 100.0);
        self.cuts.set(s.number(&LOW_CUT), s.number(&HIGH_CUT), self.rate_hz);
    }

    fn process_chunk(&mut self, block: &mut Block<'_>) {
        let frames = block.frames();
        for (lane, signal) in self.lanes.iter_mut().zip(block.lanes_mut()) {
            let (mut dry, mut wet) = (SILENT, SILENT);
            let (dry, wet) = (&mut dry[..frames], &mut wet[..frames]);
            dry.copy_from_slice(signal);
            lane.input.write(dry);
            self.pre.read(&lane.input, |pre| pre + frames, wet);
            self.convolver.process(&mut lane.memory, wet);
            let mut gain = self.gain;
            for wet in wet.iter_mut() {
                let gain = gain.next_value();
                *wet = wet.map(|x| x * gain);
            }
            self.cuts.process(&mut lane.cuts, wet);
            lane.side.process(self.spread, wet);
            space::blend(self.mix, dry, wet, signal);
        }
        self.pre.pass(frames);
        for ramp in [&mut self.gain, &mut self.spread, &mut self.mix] {
            space::pass(ramp, frames);
        }
        self.cuts.pass(frames);
    }
}

impl Processor for Convolution {
    fn process(&mut self, block: &mut Block<'_>, _outside_key: Option<&[Frame]>) {
        let mut done = 0;
        while done < block.frames() {
            let frames = self.pre.steady_frames((block.frames() - done).min(CHUNK_FRAMES));
            self.process_chunk(&mut block.part(done, frames));
            done += frames;
        }
    }

    fn set(&mut self, at: At, value: f64) {
        if matches!(SPEC.params[at.param].kind, Kind::Number { .. }) {
            self.settings.set(at, Value::Number(value));
            self.derive();
        }
    }

    fn reset(&mut self) {
        self.pre.finish();
        for ramp in [&mut self.gain, &mut self.spread, &mut self.mix] {
            ramp.finish();
        }
        self.cuts.finish();
        for lane in &mut self.lanes {
            lane.input.clear(SILENCE);
            lane.memory.clear();
            lane.cuts = CutsMemory::default();
            lane.side.reset();
        }
    }

    fn tail_frames(&self) -> usize {
        let s = &self.settings;
        let spread = if s.number(&SPREAD) > 0.0 { Side::tail_frames(self.rate_hz) } else { 0 };
        self.pre.wanted() + self.response_frames + self.cuts.tail_frames() + spread
    }
}

#[cfg(test)]
mod tests;
