//! How level moves: the sharpness of attacks and the length of note tails, of the whole and in three bands.
//!
//! Levels are mean squares of both channels over steps of 5 ms. Bands are cut by second-order Butterworth filters
//! (bilinear transform) at their edges. What a path changes is read at the same notes: they are found ahead of it, and
//! both sides are measured there.
//!
//! - A note starts where the level of 10 ms stands 6 dB or more over that of the 50 ms before.
//! - **Sharpness** of a note: level of its strongest 5 ms in the first 15 over that of the time from 30 to 100 ms.
//! - **Sustain** of a note: the time in which its tail falls by 20 dB, from a straight line through its levels in
//!   decibels by least squares, from 15 ms after its peak to 30 dB below it or to the next note.
//!
//! The change is the median over all notes. All of this is common practice, no source.

use std::f64::consts::{FRAC_1_SQRT_2, PI};

use units::{Frame, db_from_power};

/// Low, middle and high, in Hz.
pub const BANDS_HZ: [[f64; 2]; 3] = [[20.0, 250.0], [250.0, 4000.0], [4000.0, 20_000.0]];

/// Steps a second.
const STEPS_A_SECOND: f64 = 200.0;
/// Steps of an attack, and of what lies before it.
const ATTACK_STEPS: usize = 2;
const BEFORE_STEPS: usize = 10;
/// How far a note stands over what was before it.
const ONSET: f64 = 4.0;
/// Notes softer than this, under the loudest step of the band, are left out: 40 dB.
const SOFTEST: f64 = 1e-4;
/// Shortest time between two notes.
const NOTE_STEPS: usize = 14;
/// Body of a note, in steps from its start.
const BODY_STEPS: std::ops::Range<usize> = 6..20;
/// Steps over which the level of a band is smoothed before tails are read: a period of its lowest notes.
const SMOOTHED_STEPS: usize = 5;
/// What a tail must give for a line to be drawn: steps, and the least fall in dB a second.
const TAIL_STEPS: usize = 12;
const LEAST_FALL: f64 = 15.0;
/// How far a tail is followed down from its peak.
const TAIL_DB: f64 = 30.0;
/// The fall that sustain is stated for.
const SUSTAIN_DB: f64 = 20.0;
/// Notes that are needed before a change is spoken of.
const FEWEST_NOTES: usize = 4;
/// A sum this soft in a band tells nothing of its parts: -120 dB.
const NOTHING: f64 = 1e-12;
/// A sound that does not fall counts as one that takes this long.
const LONGEST_MS: f64 = 4000.0;

/// Part of the spectrum that an envelope follows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Band {
    /// Everything.
    Whole,
    /// The first of [`BANDS_HZ`].
    Low,
    /// The second.
    Middle,
    /// The third.
    High,
}

/// Streaming meter of envelopes.
#[derive(Clone, Debug)]
pub struct EnvelopeMeter {
    rate_hz: f64,
    /// Low-pass at each edge, then high-pass at each edge.
    filters: [[Filter; 2]; 2],
    sums: [f64; 4],
    totals: [f64; 4],
    frames: u64,
    step_end: u64,
    steps: Vec<[f32; 4]>,
}

/// Levels over time.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Envelope {
    /// Mean square of the whole time: whole, low, middle, high.
    powers: [f64; 4],
    /// Mean square of each step: whole, low, middle, high.
    steps: Vec<[f32; 4]>,
}

impl EnvelopeMeter {
    /// A meter at a sample rate.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        let edges = [BANDS_HZ[0][1], BANDS_HZ[1][1]];
        Self {
            rate_hz,
            filters: [edges.map(|hz| Filter::low_pass(hz, rate_hz)), edges.map(|hz| Filter::high_pass(hz, rate_hz))],
            sums: [0.0; 4],
            totals: [0.0; 4],
            frames: 0,
            step_end: step_start(1, rate_hz),
            steps: Vec::new(),
        }
    }

    /// Takes in the next frames. Values must be finite.
    pub fn push(&mut self, mut frames: &[Frame]) {
        while !frames.is_empty() {
            let count = frames.len().min((self.step_end - self.frames) as usize);
            self.push_within_step(&frames[..count]);
            self.frames += count as u64;
            frames = &frames[count..];
            if self.frames == self.step_end {
                let length = (self.step_end - step_start(self.steps.len() as u64, self.rate_hz)) as f64;
                self.steps.push(self.sums.map(|sum| (sum / (2.0 * length)) as f32));
                self.end_sums();
                self.step_end = step_start(self.steps.len() as u64 + 1, self.rate_hz);
            }
        }
    }

    fn end_sums(&mut self) {
        self.totals.iter_mut().zip(&self.sums).for_each(|(total, sum)| *total += sum);
        self.sums = [0.0; 4];
    }

    fn push_within_step(&mut self, frames: &[Frame]) {
        let [[low, below], [above, high]] = &mut self.filters;
        for x in frames {
            let power = |y: Frame| y[0] * y[0] + y[1] * y[1];
            self.sums[0] += power(*x);
            self.sums[1] += power(low.next(*x));
            self.sums[2] += power(below.next(above.next(*x)));
            self.sums[3] += power(high.next(*x));
        }
    }

    /// The envelope.
    #[must_use]
    pub fn finish(mut self) -> Envelope {
        self.end_sums();
        let values = 2.0 * self.frames.max(1) as f64;
        Envelope { powers: self.totals.map(|total| total / values), steps: self.steps }
    }
}

impl Envelope {
    /// Mean square of a band over the whole time, both channels.
    #[must_use]
    pub fn power(&self, band: Band) -> f64 {
        self.powers[band as usize]
    }

    /// A stretch in seconds, to the nearest step, as an envelope of its own.
    #[must_use]
    pub fn between(&self, secs: [f64; 2]) -> Self {
        let [from, to] = secs.map(|secs| ((secs * STEPS_A_SECOND).round().max(0.0) as usize).min(self.steps.len()));
        let steps = self.steps[from.min(to)..to].to_vec();
        let mean =
            |band: usize| steps.iter().map(|step| f64::from(step[band])).sum::<f64>() / steps.len().max(1) as f64;
        Self { powers: [0, 1, 2, 3].map(mean), steps }
    }

    /// Where the sound of a band is strongest over a window of so many seconds: its mean square, and where the window
    /// starts. None where nothing sounds.
    #[must_use]
    pub fn strongest(&self, band: Band, window_s: f64) -> Option<(f64, f64)> {
        let steps = ((window_s * STEPS_A_SECOND).round() as usize).max(1);
        let mean = |window: &[[f32; 4]]| window.iter().map(|step| f64::from(step[band as usize])).sum::<f64>();
        let windows = self.steps.windows(steps).map(|window| mean(window) / steps as f64).enumerate();
        let (at, power) = windows.max_by(|a, b| a.1.total_cmp(&b.1))?;
        (power > 0.0).then(|| (power, at as f64 / STEPS_A_SECOND))
    }

    fn levels(&self, band: Band) -> Vec<f64> {
        let raw: Vec<f64> = self.steps.iter().map(|step| f64::from(step[band as usize])).collect();
        if band != Band::Low {
            return raw;
        }
        // A window that looks back only: an attack stays where it is.
        let mean = |end: usize| {
            let window = &raw[(end + 1).saturating_sub(SMOOTHED_STEPS)..=end];
            window.iter().sum::<f64>() / window.len() as f64
        };
        (0..raw.len()).map(mean).collect()
    }
}

/// Sharpness of a programme's attacks in dB: the median over the notes of `noted`, which may be itself. None where too few
/// are found.
#[must_use]
pub fn sharpness_db(heard: &Envelope, noted: &Envelope) -> Option<f64> {
    let levels = heard.levels(Band::Whole);
    let notes = notes(&noted.levels(Band::Whole), levels.len());
    median(notes.into_iter().filter_map(|note| sharpness(&levels, note)).collect())
}

/// What a path does to attacks: the change of their sharpness in dB. None where too few notes are found.
#[must_use]
pub fn sharpness_change_db(before: &Envelope, after: &Envelope) -> Option<f64> {
    let (before, after) = (before.levels(Band::Whole), after.levels(Band::Whole));
    let changes = notes(&before, after.len())
        .into_iter()
        .filter_map(|note| Some(sharpness(&after, note)? - sharpness(&before, note)?));
    median(changes.collect())
}

/// The attack of a note, from its start to its end in steps, over its body, in dB.
fn sharpness(levels: &[f64], [at, end]: [usize; 2]) -> Option<f64> {
    let attack = levels[at..(at + 3).min(end)].iter().fold(0.0f64, |most, x| most.max(*x));
    let body = levels.get(at + BODY_STEPS.start..(at + BODY_STEPS.end).min(end)).filter(|body| body.len() >= 4)?;
    let body = body.iter().sum::<f64>() / body.len() as f64;
    (attack > 0.0 && body > 0.0).then(|| db_from_power(attack / body))
}

/// What a path does to the tails of notes in a band: the change of their sustain in ms. None where too few are found.
#[must_use]
pub fn sustain_change_ms(before: &Envelope, after: &Envelope, band: Band) -> Option<f64> {
    let (before, after) = (before.levels(band), after.levels(band));
    let changes = notes(&before, after.len()).into_iter().filter_map(|[at, end]| {
        let tail = tail(&before, at, end)?;
        let fall = fall_a_second(&before[tail.clone()])?;
        if fall < LEAST_FALL {
            return None;
        }
        let time = |fall: f64| if fall > 0.0 { (1000.0 * SUSTAIN_DB / fall).min(LONGEST_MS) } else { LONGEST_MS };
        Some(time(fall_a_second(&after[tail])?) - time(fall))
    });
    median(changes.collect())
}

/// What a chain that takes a sum does to the level of one part of it, in dB, as far as steps of 5 ms in three bands tell:
/// the part's energy in each step and band, weighed by the sum's energy behind the chain over that ahead of it, over its
/// energy unweighed. Exact for a gain that all parts share and that rests within a step; an estimate for the rest. None
/// where the part is silent.
#[must_use]
pub fn shared_change_db(part: &Envelope, before: &Envelope, after: &Envelope) -> Option<f64> {
    let (mut plain, mut weighed) = (0.0, 0.0);
    for ((part, before), after) in part.steps.iter().zip(&before.steps).zip(&after.steps) {
        for band in [Band::Low, Band::Middle, Band::High].map(|band| band as usize) {
            let [part, before, after] = [part, before, after].map(|step| f64::from(step[band]));
            if before > NOTHING {
                plain += part;
                weighed += part * after / before;
            }
        }
    }
    (plain > 0.0 && weighed > 0.0).then(|| db_from_power(weighed / plain))
}

/// Start and end of each note, in steps.
fn notes(levels: &[f64], most: usize) -> Vec<[usize; 2]> {
    let levels = &levels[..levels.len().min(most)];
    let loudest = levels.iter().fold(0.0f64, |most, x| most.max(*x));
    let mean = |steps: &[f64]| steps.iter().sum::<f64>() / steps.len() as f64;
    let mut starts: Vec<usize> = Vec::new();
    for at in BEFORE_STEPS..levels.len().saturating_sub(ATTACK_STEPS) {
        let (attack, before) = (mean(&levels[at..at + ATTACK_STEPS]), mean(&levels[at - BEFORE_STEPS..at]));
        let far = starts.last().is_none_or(|last| at - last >= NOTE_STEPS);
        if far && attack > SOFTEST * loudest && attack >= ONSET * before {
            // The step in which it starts may hold little of it yet.
            starts.push(if levels[at] < ONSET * before { at + 1 } else { at });
        }
    }
    let ends = starts.iter().skip(1).copied().chain([levels.len()]).collect::<Vec<_>>();
    starts.into_iter().zip(ends).map(|(at, end)| [at, end]).collect()
}

/// The steps of a note's tail, if it is long enough.
fn tail(levels: &[f64], at: usize, end: usize) -> Option<std::ops::Range<usize>> {
    let peak = (at..end.min(at + 10)).max_by(|a, b| levels[*a].total_cmp(&levels[*b]))?;
    let from = peak + 3;
    let floor = levels[peak] * units::gain_from_db(-TAIL_DB) * units::gain_from_db(-TAIL_DB);
    let to = (from..end.saturating_sub(1)).find(|i| levels[*i] <= floor).unwrap_or(end.saturating_sub(1));
    (to >= from + TAIL_STEPS).then_some(from..to)
}

/// Decibels a second by which levels fall: a straight line by least squares.
fn fall_a_second(levels: &[f64]) -> Option<f64> {
    let middle = (levels.len() as f64 - 1.0) / 2.0;
    let (mut along, mut squares) = (0.0, 0.0);
    for (i, level) in levels.iter().enumerate() {
        if *level <= 0.0 {
            return None;
        }
        let x = i as f64 - middle;
        along += x * db_from_power(*level);
        squares += x * x;
    }
    Some(-along / squares * STEPS_A_SECOND)
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    (values.len() >= FEWEST_NOTES).then(|| f64::midpoint(values[values.len() / 2], values[(values.len() - 1) / 2]))
}

/// First frame of a step, to the nearest frame.
fn step_start(step: u64, rate_hz: f64) -> u64 {
    (step as f64 * rate_hz / STEPS_A_SECOND).round() as u64
}

/// A second-order Butterworth filter for both channels, transposed direct form II.
#[derive(Clone, Copy, Debug)]
pub struct Filter {
    b: [f64; 3],
    a: [f64; 2],
    memory: [Frame; 2],
}

impl Filter {
    /// A low-pass.
    #[must_use]
    pub fn low_pass(hz: f64, rate_hz: f64) -> Self {
        Self::new(hz, rate_hz, |k| [k * k, 2.0 * k * k, k * k])
    }

    /// A high-pass.
    #[must_use]
    pub fn high_pass(hz: f64, rate_hz: f64) -> Self {
        Self::new(hz, rate_hz, |_| [1.0, -2.0, 1.0])
    }

    fn new(hz: f64, rate_hz: f64, numerator: impl Fn(f64) -> [f64; 3]) -> Self {
        let k = libm::tan(PI * hz.min(0.45 * rate_hz) / rate_hz);
        let a0 = 1.0 + k / FRAC_1_SQRT_2 + k * k;
        Self {
            b: numerator(k).map(|b| b / a0),
            a: [2.0 * (k * k - 1.0) / a0, (1.0 - k / FRAC_1_SQRT_2 + k * k) / a0],
            memory: [units::SILENCE; 2],
        }
    }

    /// The next frame.
    pub fn next(&mut self, x: Frame) -> Frame {
        let mut y = units::SILENCE;
        for c in 0..2 {
            y[c] = self.b[0] * x[c] + self.memory[0][c];
            self.memory[0][c] = self.b[1] * x[c] + self.memory[1][c] - self.a[0] * y[c];
            // The trace keeps dying sound from becoming denormal.
            self.memory[1][c] = self.b[2] * x[c] - self.a[1] * y[c] + 1e-200;
        }
        y
    }
}

#[cfg(test)]
mod tests;
