//! A step at work: its source, its delay lines, its processors.

use std::ops::Deref;

use dsp::ramp::RAMP_FRAMES;
use dsp::{BuildError, Context, Processor};
use units::{At, Block, Frame, SILENCE, Settings, Value, all_finite};

use crate::curve::{Curve, GainLaw};
use crate::delay_line::DelayLine;
use crate::fault::Fault;
use crate::plan::{Feed, Input, PlanLink, Step};

/// The time over which a number that a hand has moved arrives: as long as a quick turn, and never a click.
const HAND_MS: f64 = 20.0;

/// A recording that is read from its first frame to its last.
pub trait Playback: Send {
    /// Fills `out` with the next frames; returns how many there were, less than asked for only at the end.
    ///
    /// # Errors
    /// The file cannot be read on.
    fn read(&mut self, out: &mut [Frame]) -> Result<usize, Fault>;

    /// Whether the next frames, or all that are left, can be read without waiting for anything.
    fn is_ready(&self, _frames: usize) -> bool {
        true
    }

    /// Leaves out the next frames: the next read starts behind them, or at the end if there are fewer.
    ///
    /// # Errors
    /// The file cannot be read on.
    fn skip(&mut self, mut frames: u64) -> Result<(), Fault> {
        let mut waste = vec![SILENCE; frames.min(1 << 14) as usize];
        while frames > 0 {
            let most = frames.min(waste.len() as u64) as usize;
            match self.read(&mut waste[..most])? {
                0 => break,
                read => frames -= read as u64,
            }
        }
        Ok(())
    }
}

/// Frames of a recording that were no numbers, and were replaced by silence.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct NotNumbers {
    /// How many frames.
    pub frames: u64,
    /// The first, in frames of song time.
    pub first: i64,
}

/// Builds the processor that settings describe.
pub(crate) fn build(settings: &Settings, context: &Context<'_>) -> Result<Box<dyn Processor>, BuildError> {
    let name = settings.spec().name;
    match dsp::entry(name) {
        Some(entry) => entry.build(settings, context),
        None => Err(BuildError {
            message: format!("There is no processor called “{name}”."),
            remedy: "Take one of those that `fairprint schema` lists.".to_owned(),
        }),
    }
}

/// The moving part of a [`Step`].
pub(crate) struct StepState {
    playback: Option<Box<dyn Playback>>,
    ended: bool,
    /// Where its feed is cut, in frames of song time.
    cut: Option<i64>,
    /// For each input: the lane that holds all of its sound, if one does, and a delay line per lane.
    aligning: Vec<(Option<usize>, Vec<DelayLine>)>,
    leaving: Leaving,
    delay: Vec<DelayLine>,
    links: Vec<LinkState>,
    pub(crate) not_numbers: NotNumbers,
}

/// Where a stream is cut into blocks.
pub(crate) struct Span {
    /// Frames in a block.
    pub block_frames: usize,
    /// The first frame that it computes, counted from the start of the song.
    pub from: u64,
    /// The end of every print.
    pub print_frames: u64,
}

/// Laws that a hand has just replaced: the next block glides from them to those that hold now.
struct Leaving {
    trim: Option<GainLaw>,
    inputs: Vec<Option<GainLaw>>,
}

struct LinkState {
    /// None where the link is off.
    processor: Option<Box<dyn Processor>>,
    wait: Vec<DelayLine>,
    bypass: Vec<DelayLine>,
    key: Option<KeyState>,
    rides: Vec<RideState>,
    /// The numbers that it was built with.
    numbers: Settings,
}

struct KeyState {
    aligning: DelayLine,
    frames: Vec<Frame>,
}

struct RideState {
    at: At,
    curve: Curve,
    value: f64,
}

impl StepState {
    /// Builds all that the step needs; from then on it does not allocate. `pure` tells for each step the lane that holds
    /// all of its sound, if one does.
    pub(crate) fn build(
        step: &Step,
        context: &Context<'_>,
        playback: Option<Box<dyn Playback>>,
        pure: &[Option<usize>],
        span: &Span,
    ) -> Result<Self, BuildError> {
        let lines = |frames: usize| vec![DelayLine::new(frames); context.lanes];
        let aligning = match &step.feed {
            Feed::File { .. } => Vec::new(),
            Feed::Sum(inputs) => inputs.iter().map(|input| (pure[input.from], lines(input.align_frames))).collect(),
        };
        let aligning_count = aligning.len();
        let links = step.links.iter().map(|link| LinkState::build(link, context, span));
        Ok(Self {
            playback,
            ended: false,
            cut: step.cut.then_some(span.print_frames as i64),
            aligning,
            leaving: Leaving { trim: None, inputs: vec![None; aligning_count] },
            delay: lines(step.delay_frames),
            links: links.collect::<Result<_, _>>()?,
            not_numbers: NotNumbers::default(),
        })
    }

    /// Computes one block, whose first frame is `at` frames after the start of the stream. `output_of` gives another
    /// step's lanes in this block, `stride` frames apart.
    pub(crate) fn run<G: Deref<Target = Vec<Frame>>>(
        &mut self,
        step: &Step,
        at: u64,
        output_of: impl Fn(usize) -> G,
        stride: usize,
        out: &mut Block<'_>,
    ) -> Result<(), Fault> {
        let song = at as i64 - step.arrives as i64;
        match &step.feed {
            Feed::File { starts_at, .. } => self.play(song, *starts_at, out)?,
            Feed::Sum(inputs) => self.sum(inputs, song, &output_of, stride, out),
        }
        if let Some(end) = self.cut {
            silence_outside(song, end, out);
        }
        let leaving = self.leaving.trim.take();
        for lane in out.lanes_mut() {
            match &leaving {
                None => step.trim.apply(song, lane),
                Some(old) => old.glide(&step.trim, song, lane),
            }
        }
        for (lane, line) in out.lanes_mut().zip(&mut self.delay) {
            line.delay(lane);
        }
        for (link, state) in step.links.iter().zip(&mut self.links) {
            let song = at as i64 - link.arrives as i64;
            if let Some(key) = &link.key {
                state.listen(key, song, &output_of(key.from)[..out.frames()]);
            }
            state.run(song, out);
        }
        Ok(())
    }

    /// Takes what a hand has moved: from the next block on, the step is as `now` says. Gains glide over that block,
    /// numbers of processors over [`HAND_MS`]. Both must have the same shape.
    pub(crate) fn follow(&mut self, before: &Step, now: &Step, at: u64, rate_hz: f64) {
        if before.trim != now.trim {
            self.leaving.trim = Some(before.trim.clone());
        }
        if let (Feed::Sum(before), Feed::Sum(now)) = (&before.feed, &now.feed) {
            for ((before, now), leaving) in before.iter().zip(now).zip(&mut self.leaving.inputs) {
                if before.law != now.law {
                    *leaving = Some(before.law.clone());
                }
            }
        }
        for ((before, now), state) in before.links.iter().zip(&now.links).zip(&mut self.links) {
            let song = at as i64 - now.arrives as i64;
            for at in now.settings.numbers() {
                let value = now.settings.number_at(at);
                if before.settings.number_at(at) != value {
                    state.take_by_hand(at, value, song, rate_hz);
                }
            }
        }
    }

    /// Whether so many frames of its recording, if it has one, can be had without waiting.
    pub(crate) fn is_ready(&self, frames: usize) -> bool {
        self.ended || self.playback.as_ref().is_none_or(|playback| playback.is_ready(frames))
    }

    /// The strongest gain reduction of the last block in each link, in dB, where there is one.
    pub(crate) fn gain_reductions_db(&self) -> impl Iterator<Item = Option<f64>> + '_ {
        self.links.iter().map(|link| link.processor.as_ref().and_then(|processor| processor.gain_reduction_db()))
    }

    fn play(&mut self, song: i64, starts_at: i64, out: &mut Block<'_>) -> Result<(), Fault> {
        let frames = out.frames();
        out.lanes_mut().for_each(|lane| lane.fill(SILENCE));
        let skip = usize::try_from(starts_at - song).unwrap_or(0).min(frames);
        let (Some(playback), false) = (&mut self.playback, self.ended || skip == frames) else { return Ok(()) };
        let key = &mut out.key_mut()[skip..];
        let mut filled = 0;
        while filled < key.len() && !self.ended {
            let read = playback.read(&mut key[filled..])?;
            self.ended = read == 0;
            filled += read;
        }
        if all_finite(&key[..filled]) {
            return Ok(());
        }
        for (index, frame) in key[..filled].iter_mut().enumerate() {
            if !(frame[0].is_finite() && frame[1].is_finite()) {
                *frame = SILENCE;
                if self.not_numbers.frames == 0 {
                    self.not_numbers.first = song + (skip + index) as i64;
                }
                self.not_numbers.frames += 1;
            }
        }
        Ok(())
    }

    fn sum<G: Deref<Target = Vec<Frame>>>(
        &mut self,
        inputs: &[Input],
        song: i64,
        output_of: &impl Fn(usize) -> G,
        stride: usize,
        out: &mut Block<'_>,
    ) {
        let frames = out.frames();
        let moved = self.leaving.inputs.iter().any(Option::is_some);
        if inputs.is_empty() || moved {
            out.lanes_mut().for_each(|lane| lane.fill(SILENCE));
        }
        let paths = inputs.iter().zip(&mut self.leaving.inputs).zip(&mut self.aligning).enumerate();
        for (path, ((input, leaving), (pure, lines))) in paths {
            let leaving = leaving.take();
            let source = output_of(input.from);
            let begins = path == 0 && !moved;
            let lanes = out.lanes_mut().zip(lines).zip(source.chunks_exact(stride)).enumerate();
            for (index, ((lane, line), source)) in lanes {
                if index > 0 && pure.is_some_and(|own| own != index) {
                    if begins {
                        lane.fill(SILENCE);
                    }
                    continue;
                }
                line.pass(&source[..frames], |from, piece| {
                    let (at, sum) = (song + from as i64, &mut lane[from..from + piece.len()]);
                    match &leaving {
                        None if begins => input.law.begin(at, piece, sum),
                        None => input.law.add(at, piece, sum),
                        Some(old) => old.add_gliding(&input.law, (song, frames), at, piece, sum),
                    }
                });
            }
        }
    }
}

/// Silences a block, whose first frame is at `song` frames of song time, ahead of the song and from `end` on.
fn silence_outside(song: i64, end: i64, block: &mut Block<'_>) {
    let within = |frame: i64| usize::try_from(frame - song).unwrap_or(0).min(block.frames());
    let [from, to] = [within(0), within(end)];
    for lane in block.lanes_mut() {
        lane[..from].fill(SILENCE);
        lane[to..].fill(SILENCE);
    }
}

impl LinkState {
    fn build(link: &PlanLink, context: &Context<'_>, span: &Span) -> Result<Self, BuildError> {
        let lines = |frames: usize| vec![DelayLine::new(frames); context.lanes];
        let mut settings = link.settings.clone();
        let mut rides = Vec::with_capacity(link.rides.len());
        for (at, curve) in &link.rides {
            let value = curve.value_at(span.from as i64 - link.arrives as i64);
            settings.set(*at, Value::Number(value));
            rides.push(RideState { at: *at, curve: curve.clone(), value });
        }
        let processor = if link.off { None } else { Some(build(&settings, context)?) };
        let key = link.key.as_ref().map(|key| KeyState {
            aligning: DelayLine::new(key.align_frames),
            frames: vec![SILENCE; span.block_frames],
        });
        let bypass = if link.off { lines(link.latency_frames) } else { Vec::new() };
        Ok(Self { processor, wait: lines(link.wait_frames), bypass, key, rides, numbers: settings })
    }

    /// Leads a number from where it is now to a value, as a ride that begins at `song`.
    fn take_by_hand(&mut self, at: At, value: f64, song: i64, rate_hz: f64) {
        let index = self.rides.iter().position(|ride| ride.at == at);
        let from = index.map_or_else(|| self.numbers.number_at(at), |index| self.rides[index].value);
        let curve = Curve::between((song, from), (song + units::frames_from_ms(HAND_MS, rate_hz) as i64, value));
        let ride = RideState { at, curve, value: from };
        match index {
            Some(index) => self.rides[index] = ride,
            None => self.rides.push(ride),
        }
    }

    /// Takes in the block of the bus that the link listens to.
    fn listen(&mut self, input: &Input, song: i64, source: &[Frame]) {
        let Some(state) = &mut self.key else { return };
        state.frames[..source.len()].fill(SILENCE);
        state.aligning.pass(source, |from, piece| {
            input.law.add(song + from as i64, piece, &mut state.frames[from..from + piece.len()]);
        });
    }

    /// Runs the link over a block whose first frame is at `song` frames of song time.
    fn run(&mut self, song: i64, block: &mut Block<'_>) {
        for (lane, line) in block.lanes_mut().zip(&mut self.wait) {
            line.delay(lane);
        }
        let frames = block.frames();
        let Some(processor) = &mut self.processor else {
            block.lanes_mut().zip(&mut self.bypass).for_each(|(lane, line)| line.delay(lane));
            return;
        };
        let key = self.key.as_ref().map(|key| &key.frames[..frames]);
        let rests = |ride: &RideState| {
            let end = song + (frames + RAMP_FRAMES) as i64;
            ride.curve.rests_between(song, end) && ride.curve.value_at(song) == ride.value
        };
        if self.rides.iter().all(rests) {
            return processor.process(block, key);
        }
        let tick_frames = RAMP_FRAMES as i64;
        let mut from = 0;
        while from < frames {
            let now = song + from as i64;
            let into_tick = now.rem_euclid(tick_frames);
            if into_tick == 0 {
                for ride in &mut self.rides {
                    let value = ride.curve.value_at(now + tick_frames);
                    if value != ride.value {
                        processor.set(ride.at, value);
                        ride.value = value;
                    }
                }
            }
            let length = ((tick_frames - into_tick) as usize).min(frames - from);
            processor.process(&mut block.part(from, length), key.map(|key| &key[from..from + length]));
            from += length;
        }
    }
}
