//! The equaliser that runs its bands as second-order sections, with moving bands.

use units::{At, Block, Frame, SILENCE, Settings, Value};

use super::design::{Matcher, Pair};
use super::dynamic::Detector;
use super::prototype::{Curve, MOST_SECTIONS};
use super::{Route, band_of, curve_of, dynamics_of, route_of};
use crate::biquad::{Coefficients, Gliding, State};
use crate::ramp::RAMP_FRAMES;
use crate::{Context, Processor};

/// Frames between the points at which states are settled; a multiple of [`RAMP_FRAMES`].
const PIECE: usize = 256;

/// A moving band stays within this gain, whatever its own gain and range add up to.
const HIGHEST_GAIN_DB: f64 = 30.0;

/// The equaliser of minimum phase.
pub struct MinimumPhase {
    settings: Settings,
    rate_hz: f64,
    route: Route,
    curve: Curve,
    matcher: Matcher,
    bands: Vec<Running>,
    /// Frames since the last reset, modulo [`PIECE`].
    at: usize,
    work: Box<[Frame; PIECE]>,
    outside: Box<[Frame; PIECE]>,
    reduction_db: f64,
}

/// One band at work: up to four pairs of sections, and what moves them.
struct Running {
    pairs: [[Gliding; 2]; MOST_SECTIONS],
    /// Per lane.
    states: Vec<[[State; 2]; MOST_SECTIONS]>,
    detector: Option<Detector>,
}

/// A pair that stands still and waits for another, to be run with it.
type Resting<'a> = ([Coefficients; 2], &'a mut [State; 2]);

/// Runs a pair that waits, alone.
fn finish(waiting: Option<Resting<'_>>, frames: &mut [Frame]) {
    if let Some((coefficients, states)) = waiting {
        State::process_pair(states, &coefficients, frames);
    }
}

impl MinimumPhase {
    /// For settings, at rest.
    pub fn new(settings: &Settings, context: &Context<'_>) -> Self {
        let mut equaliser = Self {
            settings: settings.clone(),
            rate_hz: context.rate_hz,
            route: route_of(settings),
            curve: curve_of(settings),
            matcher: Matcher::new(context.rate_hz),
            bands: Vec::new(),
            at: 0,
            work: Box::new([SILENCE; PIECE]),
            outside: Box::new([SILENCE; PIECE]),
            reduction_db: 0.0,
        };
        equaliser.bands = (0..settings.row_count())
            .map(|row| {
                let detector = equaliser.detector(row);
                Running::new(&equaliser.design(row, 0.0), detector, context.lanes)
            })
            .collect();
        equaliser
    }

    fn design(&self, row: usize, change_db: f64) -> [Pair; MOST_SECTIONS] {
        let mut band = band_of(&self.settings, row);
        if change_db != 0.0 {
            band.gain_db = (band.gain_db + change_db).clamp(-HIGHEST_GAIN_DB, HIGHEST_GAIN_DB);
        }
        self.matcher.cascade(&band.prototypes(self.curve), band.hz)
    }

    fn detector(&self, row: usize) -> Option<Detector> {
        let dynamics = dynamics_of(&self.settings, row)?;
        Some(Detector::new(dynamics, &band_of(&self.settings, row), self.rate_hz))
    }

    fn process_piece(&mut self, block: &mut Block<'_>, outside_key: Option<&[Frame]>) {
        if let Some(key) = outside_key {
            self.route.take(key, &mut self.outside[..key.len()]);
        }
        let lanes = block.lanes();
        for lane in 0..lanes {
            let frames = block.lane_mut(lane);
            let work = &mut self.work[..frames.len()];
            self.route.take(frames, work);
            let mut waiting = None;
            for band in &mut self.bands {
                if let (0, Some(detector)) = (lane, &mut band.detector) {
                    finish(waiting.take(), work);
                    detector.hear(if outside_key.is_some() { &self.outside[..work.len()] } else { work });
                }
                waiting = band.process(lane, lane + 1 == lanes, work, waiting);
            }
            finish(waiting, work);
            self.route.give(work, frames);
        }
    }

    /// Moves the moving bands, after every [`RAMP_FRAMES`] frames.
    fn tick(&mut self) {
        for row in 0..self.bands.len() {
            let Some(detector) = &mut self.bands[row].detector else { continue };
            let before = detector.change_db();
            let change_db = detector.tick();
            self.reduction_db = self.reduction_db.min(change_db);
            if change_db != before {
                let pairs = self.design(row, change_db);
                self.bands[row].go_to(&pairs);
            }
        }
    }

    /// Frames until the next point at which something is due.
    fn piece_frames(&self) -> usize {
        let tick = if self.bands.iter().any(|band| band.detector.is_some()) { RAMP_FRAMES } else { PIECE };
        tick - self.at % tick
    }
}

impl Running {
    fn new(pairs: &[Pair; MOST_SECTIONS], detector: Option<Detector>, lanes: usize) -> Self {
        Self {
            pairs: pairs.map(|pair| pair.map(Gliding::at)),
            states: vec![[[State::default(); 2]; MOST_SECTIONS]; lanes],
            detector,
        }
    }

    fn go_to(&mut self, pairs: &[Pair; MOST_SECTIONS]) {
        for (gliding, target) in self.pairs.as_flattened_mut().iter_mut().zip(pairs.as_flattened()) {
            gliding.go_to(*target);
        }
    }

    /// Runs its pairs after the one that waits, two at a time; gives the one that is left over.
    fn process<'a>(
        &'a mut self,
        lane: usize,
        last: bool,
        frames: &mut [Frame],
        mut waiting: Option<Resting<'a>>,
    ) -> Option<Resting<'a>> {
        for (pair, states) in self.pairs.iter_mut().zip(&mut self.states[lane]) {
            if is_idle(pair, states) {
                continue;
            }
            if pair.iter().all(Gliding::is_at_rest) {
                let (coefficients, states) = (pair.map(|gliding| *gliding.now()), states);
                match waiting.take() {
                    None => waiting = Some((coefficients, states)),
                    Some((first, held)) => State::process_pairs([held, states], &[first, coefficients], frames),
                }
                continue;
            }
            finish(waiting.take(), frames);
            // Every lane starts from the same place on the way; the last one leaves the coefficients where they got to.
            let mut moved = *pair;
            process_pair(&mut moved, states, frames);
            if last {
                *pair = moved;
            }
        }
        waiting
    }

    fn settle(&mut self) {
        self.states.as_mut_slice().as_flattened_mut().as_flattened_mut().iter_mut().for_each(State::settle);
        self.detector.iter_mut().for_each(Detector::settle);
    }
}

fn process_pair(pair: &mut [Gliding; 2], states: &mut [State; 2], frames: &mut [Frame]) {
    let mut from = 0;
    while from < frames.len() && !pair.iter().all(Gliding::is_at_rest) {
        let first = states[0].step(pair[0].advance(), frames[from]);
        frames[from] = states[1].step(pair[1].advance(), first);
        from += 1;
    }
    State::process_pair(states, &[*pair[0].now(), *pair[1].now()], &mut frames[from..]);
}

/// Whether a pair passes everything unchanged and holds nothing.
fn is_idle(pair: &[Gliding; 2], states: &[State; 2]) -> bool {
    let passes = |gliding: &Gliding| gliding.is_at_rest() && *gliding.now() == Coefficients::IDENTITY;
    pair.iter().all(passes) && states.iter().all(State::is_silent)
}

impl Processor for MinimumPhase {
    fn process(&mut self, block: &mut Block<'_>, outside_key: Option<&[Frame]>) {
        self.reduction_db = 0.0;
        if self.bands.is_empty() {
            return;
        }
        let mut from = 0;
        while from < block.frames() {
            let frames = self.piece_frames().min(block.frames() - from);
            let key = outside_key.map(|key| &key[from..from + frames]);
            self.process_piece(&mut block.part(from, frames), key);
            from += frames;
            self.at = (self.at + frames) % PIECE;
            if self.at.is_multiple_of(RAMP_FRAMES) {
                self.tick();
            }
            if self.at == 0 {
                self.bands.iter_mut().for_each(Running::settle);
            }
        }
    }

    fn set(&mut self, at: At, value: f64) {
        self.settings.set(at, Value::Number(value));
        let Some(row) = at.row else { return };
        let dynamics = dynamics_of(&self.settings, row);
        let band = band_of(&self.settings, row);
        match (&mut self.bands[row].detector, dynamics) {
            (Some(detector), Some(dynamics)) => detector.tune(dynamics, &band, self.rate_hz),
            (detector, dynamics) => *detector = dynamics.map(|d| Detector::new(d, &band, self.rate_hz)),
        }
        let change_db = self.bands[row].detector.as_ref().map_or(0.0, Detector::change_db);
        let pairs = self.design(row, change_db);
        self.bands[row].go_to(&pairs);
    }

    fn reset(&mut self) {
        (self.at, self.reduction_db) = (0, 0.0);
        for row in 0..self.bands.len() {
            let pairs = self.design(row, 0.0);
            let band = &mut self.bands[row];
            band.pairs = pairs.map(|pair| pair.map(Gliding::at));
            band.states.fill([[State::default(); 2]; MOST_SECTIONS]);
            band.detector.iter_mut().for_each(Detector::reset);
        }
    }

    fn tail_frames(&self) -> usize {
        self.bands.iter().flat_map(|band| band.pairs.as_flattened()).map(|gliding| gliding.target().tail_frames()).sum()
    }

    fn gain_reduction_db(&self) -> Option<f64> {
        self.bands.iter().any(|band| band.detector.is_some()).then_some(self.reduction_db)
    }
}
