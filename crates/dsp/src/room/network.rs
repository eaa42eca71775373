//! The late part: a feedback delay network of 16 lines.
//!
//! `s = loss(line[n - m])`, `line[n] = Q s + b u`, out = (c s, d s): middle and side. Q is the Hadamard matrix over 4,
//! orthogonal, so without losses the energy in the lines stays what it is, and with them every mode of the network
//! decays by the law (Jot and Chaigne 1991). b, c and d are rows of signs; c and d are orthogonal. Before the network,
//! all-pass sections (Schroeder 1961) thicken what enters; their delays obey the same law of loss.
//!
//! Modulation turns pairs of lines by slowly swinging angles after the matrix. A turn is orthogonal: the decay stays.

use std::f64::consts::TAU;

use multiversion::multiversion;
use units::Frame;

use super::{
    decay::Decay,
    shape::{LINES, Shape},
};
use crate::{
    ramp::RAMP_FRAMES,
    space::{CHUNK_FRAMES, all_pass::all_pass, line::Line, moving::Moving, settle},
};

/// Longest a line may be, in seconds: the largest room's.
const LONGEST_S: f64 = 0.24;

/// All-pass sections in each input.
const SECTIONS: usize = 4;

/// Delays of the sections against the mean line.
const SECTION_SHARES: [[f64; SECTIONS]; 2] = [[0.0367, 0.0609, 0.0964, 0.1488], [0.0333, 0.0655, 0.0915, 0.1564]];

/// Coefficient of the sections at full diffusion.
const SECTION_GAIN: f64 = 0.7;

/// Lengths of the lines against their mean: spread over an octave and a half, without a common measure.
const LINE_SHARES: [f64; LINES] = [
    0.5131, 0.5573, 0.6047, 0.6521, 0.7079, 0.7673, 0.8231, 0.8861, 0.9539, 1.0337, 1.1171, 1.2013, 1.2989, 1.3967,
    1.4983, 1.6133,
];

/// The ways in and out of middle and side, each pair orthogonal. Of many that are, these were found by search to keep the
/// measured decay close to the setting where decays are short: a band then holds few modes, and their phases show.
static IN_MID: PerLine = signs(0x3acb);
static IN_SIDE: PerLine = signs(0xfebd);
static OUT_MID: PerLine = signs(0x5e18);
static OUT_SIDE: PerLine = signs(0x52ed);

/// Swing of the turns at full modulation, in radians, and their rates.
const SWING: f64 = 0.6;
const SWING_HZ: [f64; LINES / 2] = [0.23, 0.31, 0.37, 0.43, 0.53, 0.61, 0.71, 0.83];

/// One value a line.
type PerLine = [f64; LINES];

/// A chunk of every line.
type Columns = [[f64; CHUNK_FRAMES]; LINES];

/// Whole delays.
#[derive(Clone, Debug, PartialEq)]
struct Lengths {
    lines: [usize; LINES],
    sections: [[usize; SECTIONS]; 2],
}

/// Coefficients of the losses of all lines, by coefficient so that lines lie side by side.
#[derive(Clone, Copy, Debug)]
struct Losses {
    low: [PerLine; 3],
    high: [PerLine; 3],
}

/// The network, the same for every lane.
pub(super) struct Network {
    lengths: Moving<Lengths>,
    /// Where the losses' glide began, where it goes, a step of it, and the steps taken.
    losses: Losses,
    wanted: Losses,
    step: Losses,
    steps: usize,
    section_gains: [[f64; SECTIONS]; 2],
    diffusion: f64,
    modulation: f64,
    rate_hz: f64,
    /// Frames since the start, for the swing.
    first_frame: u64,
    clock: u64,
    turns: Box<[[[f64; 2]; LINES / 2]; CHUNK_FRAMES]>,
}

/// What the network remembers of one lane.
pub(super) struct NetworkMemory {
    lines: [Line<f64>; LINES],
    sections: [[Line<f64>; SECTIONS]; 2],
    low: PerLine,
    high: PerLine,
    /// A chunk of all lines, by frames and by lines: nothing that lasts.
    rows: Box<[PerLine; CHUNK_FRAMES]>,
    columns: Box<Columns>,
}

impl NetworkMemory {
    pub(super) fn new(rate_hz: f64) -> Self {
        let line = |share: f64| Line::new((share * LONGEST_S * rate_hz) as usize + 8, CHUNK_FRAMES, 0.0);
        Self {
            lines: LINE_SHARES.map(|share| line(share / LINE_SHARES[LINES - 1])),
            sections: SECTION_SHARES.map(|shares| shares.map(line)),
            low: [0.0; LINES],
            high: [0.0; LINES],
            rows: Box::new([[0.0; LINES]; CHUNK_FRAMES]),
            columns: Box::new([[0.0; CHUNK_FRAMES]; LINES]),
        }
    }

    pub(super) fn clear(&mut self) {
        self.lines.iter_mut().for_each(|line| line.clear(0.0));
        self.sections.iter_mut().flatten().for_each(|line| line.clear(0.0));
        self.low = [0.0; LINES];
        self.high = [0.0; LINES];
    }
}

impl Lengths {
    fn new(shape: &Shape, rate_hz: f64) -> Self {
        let mean = shape.mean_line_s() * rate_hz;
        Self {
            lines: LINE_SHARES.map(|share| (share * mean).round() as usize),
            sections: SECTION_SHARES.map(|shares| shares.map(|share| (share * mean).round().max(1.0) as usize)),
        }
    }
}

impl Losses {
    fn new(lengths: &Lengths, decay: &Decay) -> Self {
        let mut losses = Self { low: [[0.0; LINES]; 3], high: [[0.0; LINES]; 3] };
        for (i, frames) in lengths.lines.iter().enumerate() {
            let loss = decay.loss(*frames as f64 / decay.rate_hz());
            for k in 0..3 {
                losses.low[k][i] = loss.low[k];
                losses.high[k][i] = loss.high[k];
            }
        }
        losses
    }

    fn zip(mut self, other: &Self, f: impl Fn(f64, f64) -> f64) -> Self {
        for (a, b) in self.low.iter_mut().chain(&mut self.high).zip(other.low.iter().chain(&other.high)) {
            for (a, b) in a.iter_mut().zip(b) {
                *a = f(*a, *b);
            }
        }
        self
    }
}

impl Network {
    pub(super) fn new(shape: &Shape, decay: &Decay, first_frame: u64) -> Self {
        let lengths = Lengths::new(shape, decay.rate_hz());
        let losses = Losses::new(&lengths, decay);
        Self {
            lengths: Moving::at(lengths),
            losses,
            wanted: losses,
            step: losses,
            steps: RAMP_FRAMES,
            section_gains: [[0.0; SECTIONS]; 2],
            diffusion: 0.0,
            modulation: 0.0,
            rate_hz: decay.rate_hz(),
            first_frame,
            clock: first_frame,
            turns: Box::new([[[1.0, 0.0]; LINES / 2]; CHUNK_FRAMES]),
        }
    }

    pub(super) fn set(&mut self, shape: &Shape, decay: &Decay, diffusion: f64, modulation: f64) {
        let lengths = Lengths::new(shape, self.rate_hz);
        self.losses = self.losses_after(0);
        self.wanted = Losses::new(&lengths, decay);
        self.step = self.wanted.zip(&self.losses, |wanted, now| (wanted - now) / RAMP_FRAMES as f64);
        self.steps = 0;
        self.section_gains = lengths.sections.map(|frames| frames.map(|m| decay.mid_gain(m as f64 / self.rate_hz)));
        self.diffusion = SECTION_GAIN * diffusion;
        self.modulation = modulation;
        self.lengths.go_to(lengths);
    }

    /// The delay of all lines together, in seconds: what an impulse's energy is spread over.
    pub(super) fn seconds(&self) -> f64 {
        self.lengths.wanted().lines.iter().sum::<usize>() as f64 / self.rate_hz
    }

    /// No more frames than the shortest line holds, all in one fade.
    pub(super) fn steady_frames(&self, most: usize) -> usize {
        let shortest = |lengths: &Lengths| lengths.lines[0];
        let next = self.lengths.next().map_or(usize::MAX, shortest);
        let most = most.min(shortest(self.lengths.now())).min(next);
        self.lengths.steady_frames(most)
    }

    /// Prepares the turns of the coming frames.
    pub(super) fn stir(&mut self, frames: usize) {
        if self.modulation == 0.0 {
            return;
        }
        const TICK: u64 = RAMP_FRAMES as u64;
        let mut done = 0;
        while done < frames {
            let (tick, part) = ((self.clock + done as u64) / TICK, (self.clock + done as u64) % TICK);
            let count = (frames - done).min((TICK - part) as usize);
            let (from, to) = (self.turns_at(tick), self.turns_at(tick + 1));
            for (i, turns) in self.turns[done..done + count].iter_mut().enumerate() {
                // Between two ticks the turn goes along the chord, whose length is at most 1.
                let w = (part + i as u64) as f64 / TICK as f64;
                *turns = std::array::from_fn(|pair| [0, 1].map(|k| from[pair][k] + w * (to[pair][k] - from[pair][k])));
            }
            done += count;
        }
    }

    /// Cosine and sine of the angle of each pair at a tick.
    fn turns_at(&self, tick: u64) -> [[f64; 2]; LINES / 2] {
        let secs = (tick * RAMP_FRAMES as u64) as f64 / self.rate_hz;
        SWING_HZ.map(|hz| {
            let (sin, cos) = libm::sincos(self.modulation * SWING * libm::sin(TAU * hz * secs));
            [cos, sin]
        })
    }

    pub(super) fn pass(&mut self, frames: usize) {
        self.lengths.pass(frames);
        self.clock += frames as u64;
        self.steps = (self.steps + frames).min(RAMP_FRAMES);
    }

    /// The losses after so many more steps of their glide.
    fn losses_after(&self, steps: usize) -> Losses {
        match self.steps + steps {
            taken if taken >= RAMP_FRAMES => self.wanted,
            taken => self.losses.zip(&self.step, |from, step| from + step * taken as f64),
        }
    }

    pub(super) fn finish(&mut self) {
        self.lengths.finish();
        self.losses = self.wanted;
        self.steps = RAMP_FRAMES;
        self.clock = self.first_frame;
    }

    /// Takes left and right in, gives middle and side.
    pub(super) fn process(&self, memory: &mut NetworkMemory, input: &[Frame], out: &mut [Frame]) {
        let frames = input.len();
        let mut inputs = [[0.0; CHUNK_FRAMES]; 2];
        for (i, frame) in input.iter().enumerate() {
            inputs[0][i] = 0.5 * (frame[0] + frame[1]);
            inputs[1][i] = 0.5 * (frame[0] - frame[1]);
        }
        self.diffuse(memory, &mut inputs, frames);
        self.read_lines(memory, frames);
        circulate(self, memory, &inputs, out);
        for (line, column) in memory.lines.iter_mut().zip(memory.columns.iter()) {
            line.write(&column[..frames]);
        }
    }

    /// The all-pass sections ahead of the network, whose delays lose by the law too: v' comes back as g v'.
    fn diffuse(&self, memory: &mut NetworkMemory, inputs: &mut [[f64; CHUNK_FRAMES]; 2], frames: usize) {
        for (c, input) in inputs.iter_mut().enumerate() {
            for (k, line) in memory.sections[c].iter_mut().enumerate() {
                let (delay, g) = (self.lengths.now().sections[c][k], self.section_gains[c][k]);
                let next = self.lengths.next().map(|next| next.sections[c][k]).filter(|next| *next != delay);
                let shortest = delay.min(next.unwrap_or(delay));
                all_pass(line, shortest, self.diffusion, &mut input[..frames], |line, done, past| {
                    line.read(delay, past);
                    if let Some(next) = next {
                        let mut new = [0.0; CHUNK_FRAMES];
                        line.read(next, &mut new[..past.len()]);
                        for (i, (past, new)) in past.iter_mut().zip(&new).enumerate() {
                            *past += self.lengths.weight(done + i) * (new - *past);
                        }
                    }
                    past.iter_mut().for_each(|x| *x *= g);
                });
            }
        }
    }

    fn read_lines(&self, memory: &mut NetworkMemory, frames: usize) {
        for (k, (line, column)) in memory.lines.iter().zip(memory.columns.iter_mut()).enumerate() {
            let column = &mut column[..frames];
            line.read(self.lengths.now().lines[k], column);
            if let Some(next) = self.lengths.next() {
                let [first, second] = line.pieces(next.lines[k], frames);
                for (i, (now, x)) in column.iter_mut().zip(first.iter().chain(second)).enumerate() {
                    *now += self.lengths.weight(i) * (x - *now);
                }
            }
        }
    }
}

/// What comes out of the lines once around: losses, the way out, the matrix, the way in. Wider registers, where the machine
/// has them, give the same bytes: the operations are the same, and nothing is fused.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2"))]
fn circulate(network: &Network, memory: &mut NetworkMemory, inputs: &[[f64; CHUNK_FRAMES]; 2], out: &mut [Frame]) {
    let NetworkMemory { rows, columns, .. } = memory;
    for (i, row) in rows.iter_mut().enumerate() {
        for (x, column) in row.iter_mut().zip(columns.iter()) {
            *x = column[i];
        }
    }
    let mut losses = network.losses_after(0);
    let (mut low, mut high) = (memory.low, memory.high);
    for (i, (row, out)) in rows.iter_mut().zip(out).enumerate() {
        if network.steps < RAMP_FRAMES {
            losses = network.losses_after(i + 1);
        }
        if (network.clock + i as u64).is_multiple_of(RAMP_FRAMES as u64) {
            (low, high) = (low.map(settle), high.map(settle));
        }
        lose(&losses, &mut low, &mut high, row);
        *out = [signed_sum(row, &OUT_MID), signed_sum(row, &OUT_SIDE)];
        hadamard(row);
        if network.modulation > 0.0 {
            turn(row, &network.turns[i]);
        }
        feed(row, inputs[0][i], inputs[1][i]);
        for x in row.iter_mut() {
            *x = settle(*x);
        }
    }
    for (k, column) in columns.iter_mut().enumerate() {
        for (x, row) in column.iter_mut().zip(rows.iter()) {
            *x = row[k];
        }
    }
    (memory.low, memory.high) = (low, high);
}

/// The losses of one frame of all lines, in transposed form: one value of memory a section.
#[inline(always)]
fn lose(losses: &Losses, low: &mut PerLine, high: &mut PerLine, row: &mut PerLine) {
    for k in 0..LINES {
        let x = row[k];
        let y = losses.low[0][k] * x + low[k];
        low[k] = losses.low[1][k] * x - losses.low[2][k] * y;
        let z = losses.high[0][k] * y + high[k];
        high[k] = losses.high[1][k] * y - losses.high[2][k] * z;
        row[k] = z;
    }
}

/// The row times the Hadamard matrix over 4.
#[inline(always)]
fn hadamard(row: &mut PerLine) {
    let mut stride = 1;
    while stride < LINES {
        for base in (0..LINES).step_by(2 * stride) {
            for k in base..base + stride {
                let (a, b) = (row[k], row[k + stride]);
                row[k] = a + b;
                row[k + stride] = a - b;
            }
        }
        stride *= 2;
    }
    row.iter_mut().for_each(|x| *x *= 0.25);
}

#[inline(always)]
fn turn(row: &mut PerLine, turns: &[[f64; 2]; LINES / 2]) {
    for (k, [cos, sin]) in turns.iter().enumerate() {
        let (a, b) = (row[k], row[k + LINES / 2]);
        row[k] = cos * a - sin * b;
        row[k + LINES / 2] = sin * a + cos * b;
    }
}

/// 1/4 with the sign that a bit tells.
const fn signs(bits: u16) -> PerLine {
    let mut signs = [0.25; LINES];
    let mut k = 0;
    while k < LINES {
        if bits >> k & 1 == 1 {
            signs[k] = -0.25;
        }
        k += 1;
    }
    signs
}

#[inline(always)]
fn signed_sum(row: &PerLine, signs: &PerLine) -> f64 {
    let mut sums = [0.0; 4];
    for k in 0..LINES {
        sums[k % 4] += signs[k] * row[k];
    }
    (sums[0] + sums[1]) + (sums[2] + sums[3])
}

#[inline(always)]
fn feed(row: &mut PerLine, mid: f64, side: f64) {
    for k in 0..LINES {
        row[k] += IN_MID[k] * mid + IN_SIDE[k] * side;
    }
}
