//! The return path: what room, convolution and delay have in common. It waits for the pre-delay, lets the space answer,
//! and blends the answer with what came in. The dry sound is never late: a space answers from its first frame on.

use units::{At, Block, Frame, Kind, MAX_BLOCK_FRAMES, Param, SILENCE, Settings, Unit, Value, frames_from_ms};

use super::{CHUNK_FRAMES, SILENT, line::Line, moving::Moving, pass};
use crate::{Context, Processor, ramp::Ramp};

const _: () = assert!(CHUNK_FRAMES <= MAX_BLOCK_FRAMES);

/// Longest pre-delay in milliseconds.
const PRE_DELAY_MOST_MS: f64 = 250.0;

/// Wait before the space answers.
pub(crate) const PRE_DELAY: Param = Param::number(
    "pre_delay_ms",
    Unit::Millisecond,
    [0.0, PRE_DELAY_MOST_MS],
    0.0,
    "How long the space waits before it answers; 10 to 60 ms keep the source in front.",
);

/// Blend.
pub(crate) const MIX: Param = Param::number(
    "mix_percent",
    Unit::Percent,
    [0.0, 100.0],
    100.0,
    "How much of the output is the space: 100 % on a return, less when it sits in a chain.",
);

/// What answers on a return path. Its glides stand still while the lanes of a chunk are worked on; [`Space::pass`] then
/// moves them on.
pub(crate) trait Space: Send {
    /// What it remembers of one lane.
    type Memory: Send;

    /// Silent memory for one lane.
    fn memory(&self) -> Self::Memory;

    /// Silences the memory of a lane.
    fn clear(&self, memory: &mut Self::Memory);

    /// Takes over what the settings say. Never allocates.
    fn set(&mut self, settings: &Settings);

    /// Ends all glides, and forgets what belongs to no lane.
    fn finish(&mut self);

    /// How many of the coming `most` frames can be worked on at once.
    fn steady_frames(&self, most: usize) -> usize {
        most
    }

    /// Gets ready for a chunk, of which `key` is the signal to listen to.
    fn prepare(&mut self, _key: &[Frame]) {}

    /// Turns what a lane sends into the answer, in place.
    fn answer(&mut self, memory: &mut Self::Memory, signal: &mut [Frame]);

    /// Lets frames go by, once every lane has been through them.
    fn pass(&mut self, frames: usize);

    /// Frames for which it goes on above -120 dB.
    fn tail_frames(&self, settings: &Settings) -> usize;

    /// See [`Processor::gain_reduction_db`].
    fn gain_reduction_db(&self) -> Option<f64> {
        None
    }
}

/// A space on its return path.
pub(crate) struct ReturnPath<S: Space> {
    settings: Settings,
    rate_hz: f64,
    pre: Moving<usize>,
    mix: Ramp,
    space: S,
    lanes: Vec<Lane<S::Memory>>,
}

struct Lane<M> {
    input: Line<Frame>,
    memory: M,
}

impl<S: Space> ReturnPath<S> {
    /// Puts a space on its path.
    pub(crate) fn new(settings: &Settings, context: &Context<'_>, space: S) -> Self {
        let longest = frames_from_ms(PRE_DELAY_MOST_MS, context.rate_hz) + CHUNK_FRAMES;
        let lane = || Lane { input: Line::new(longest, CHUNK_FRAMES, SILENCE), memory: space.memory() };
        let lanes = (0..context.lanes).map(|_| lane()).collect();
        let (settings, rate_hz) = (settings.clone(), context.rate_hz);
        let mut path = Self { settings, rate_hz, pre: Moving::at(0), mix: Ramp::at(0.0), space, lanes };
        path.derive();
        path.reset();
        path
    }

    /// Takes over what the settings say.
    fn derive(&mut self) {
        self.pre.go_to(frames_from_ms(self.settings.number(&PRE_DELAY), self.rate_hz));
        self.mix.go_to(self.settings.number(&MIX) / 100.0);
        self.space.set(&self.settings);
    }

    fn process_chunk(&mut self, block: &mut Block<'_>, outside_key: Option<&[Frame]>) {
        let frames = block.frames();
        self.space.prepare(outside_key.unwrap_or(block.lane(0)));
        for (lane, signal) in self.lanes.iter_mut().zip(block.lanes_mut()) {
            let mut wet = SILENT;
            let wet = &mut wet[..frames];
            lane.input.write(signal);
            self.pre.read(&lane.input, |pre| pre + frames, wet);
            self.space.answer(&mut lane.memory, wet);
            blend(self.mix, signal, wet);
        }
        self.pre.pass(frames);
        self.space.pass(frames);
        pass(&mut self.mix, frames);
    }
}

/// `dry (1 - mix) + wet mix`, with the mix of each frame from `mix`, which is left where it was.
fn blend(mut mix: Ramp, dry: &mut [Frame], wet: &[Frame]) {
    for (dry, wet) in dry.iter_mut().zip(wet) {
        let mix = mix.next_value();
        *dry = [0, 1].map(|c| if mix == 1.0 { wet[c] } else { dry[c] + mix * (wet[c] - dry[c]) });
    }
}

impl<S: Space> Processor for ReturnPath<S> {
    fn process(&mut self, block: &mut Block<'_>, outside_key: Option<&[Frame]>) {
        let mut done = 0;
        while done < block.frames() {
            let most = (block.frames() - done).min(CHUNK_FRAMES);
            let frames = self.space.steady_frames(self.pre.steady_frames(most));
            let key = outside_key.map(|key| &key[done..done + frames]);
            self.process_chunk(&mut block.part(done, frames), key);
            done += frames;
        }
    }

    fn set(&mut self, at: At, value: f64) {
        if matches!(self.settings.spec().params[at.param].kind, Kind::Number { .. }) {
            self.settings.set(at, Value::Number(value));
            self.derive();
        }
    }

    fn reset(&mut self) {
        self.pre.finish();
        self.mix.finish();
        self.space.finish();
        for lane in &mut self.lanes {
            lane.input.clear(SILENCE);
            self.space.clear(&mut lane.memory);
        }
    }

    fn tail_frames(&self) -> usize {
        self.pre.wanted() + self.space.tail_frames(&self.settings)
    }

    fn gain_reduction_db(&self) -> Option<f64> {
        self.space.gain_reduction_db()
    }
}
