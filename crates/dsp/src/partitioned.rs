//! Convolution with a long response at no latency: the first taps as a direct sum, the rest in transforms whose blocks
//! grow with their distance from the start (Gardner, "Efficient convolution without input-output delay", JAES 43(3),
//! 1995).
//!
//! A stage of block B takes the taps from B on. When B frames have come in, it transforms the last 2B of them (overlap
//! and save), multiplies by the response's partitions, and has the coming B frames of its share ready at once. Blocks
//! begin at multiples of B counted from the first frame, so the result does not depend on how the input was cut. Left
//! and right are the real and imaginary part of one transform. The work of a stage falls on the frame that ends its
//! block: on the largest, some milliseconds of calculation once in 16 384 frames.

use fourier::{Fours, Numbers, Transform, mirrored};
use multiversion::multiversion;
use units::{Frame, SILENCE};

use crate::space::line::Line;

/// Taps of the direct sum, and the block of the first stage.
pub(crate) const HEAD_FRAMES: usize = 64;

/// Blocks of the stages. Each takes the taps from its own block to the next one's.
const STAGE_BLOCKS: [usize; 3] = [HEAD_FRAMES, 1024, 16_384];

/// A stereo impulse response. `own` holds left to left and right to right; `cross`, where there is one, holds right to
/// left and left to right: `out[c] = own[c] * in[c] + cross[c] * in[1 - c]`.
pub(crate) struct Response {
    pub(crate) own: Vec<Frame>,
    pub(crate) cross: Option<Vec<Frame>>,
}

impl Response {
    /// From left to left, right to right, and, where there is one, right to left and left to right; of any lengths.
    pub(crate) fn of(left: &[f64], right: &[f64], cross: Option<[&[f64]; 2]>) -> Self {
        let frames = |[a, b]: [&[f64]; 2]| {
            let at = |taps: &[f64], i: usize| taps.get(i).copied().unwrap_or(0.0);
            (0..a.len().max(b.len())).map(|i| [at(a, i), at(b, i)]).collect()
        };
        Self { own: frames([left, right]), cross: cross.map(frames) }
    }

    /// Its length.
    pub(crate) fn frames(&self) -> usize {
        self.own.len().max(self.cross.as_ref().map_or(0, Vec::len))
    }
}

/// Bins worked on at once.
const BINS: usize = 8;

/// Some bins of the half spectra of left and right: left real, left imaginary, right real, right imaginary. Parts apart,
/// so that products become vector code.
type Row = [[f64; BINS]; 4];

/// Spectra of one size. Rows of the same bins lie side by side, so that a sum over all spectra walks straight through
/// memory.
#[derive(Clone)]
struct Spectra {
    count: usize,
    rows: Vec<Row>,
}

impl Spectra {
    fn silent(block: usize, count: usize) -> Self {
        Self { count, rows: vec![[[0.0; BINS]; 4]; (block / BINS + 1) * count] }
    }

    fn clear(&mut self) {
        self.rows.fill([[0.0; BINS]; 4]);
    }

    /// Separates the spectra of left and right from the transform of left + i right, and keeps them as number `index`,
    /// at twice their size.
    fn unpack(&mut self, index: usize, packed: &mut Numbers, half: usize) {
        packed.0[half / 2] = packed.0[0];
        separate(&mut self.rows, self.count, index, packed, half);
        let last = self.rows.len() - self.count + index;
        let [re, im] = packed.get(half);
        for (part, x) in [re, 0.0, im, 0.0].into_iter().enumerate() {
            self.rows[last][part][0] = 2.0 * x;
        }
    }
}

/// The loops here and below are compiled for narrow, wide and wider registers. All give the same bytes: every
/// number is worked out by the same operations in the same order, and nothing is fused.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2"))]
fn separate(rows: &mut [Row], count: usize, index: usize, packed: &Numbers, half: usize) {
    for (rows, group) in rows.chunks_exact_mut(count).zip((0..half / 4).step_by(BINS / 4)) {
        let row = &mut rows[index];
        for four in 0..BINS / 4 {
            let [re, im] = packed.0[group + four];
            let [mirror_re, mirror_im] = mirrored(&packed.0, half / 2 - group - four);
            for k in 0..4 {
                row[0][4 * four + k] = re[k] + mirror_re[k];
                row[1][4 * four + k] = im[k] - mirror_im[k];
                row[2][4 * four + k] = im[k] + mirror_im[k];
                row[3][4 * four + k] = mirror_re[k] - re[k];
            }
        }
    }
}

/// The transform of left + i right whose spectra are the sums over `inputs` (the newest at `newest`, older ones after it,
/// in a ring) times the partitions; crossed partitions take the input of the other side. Its parts are exchanged, for
/// the way back.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2"))]
fn products(
    inputs: &Spectra,
    newest: usize,
    own: &Spectra,
    cross: Option<&Spectra>,
    packed: &mut [Fours],
    half: usize,
) {
    for group in (0..half / 4).step_by(BINS / 4) {
        let [left_re, left_im, right_re, right_im] = sums(inputs, newest, own, cross, 4 * group / BINS);
        for four in 0..BINS / 4 {
            let (at, mirror) = (4 * four, half / 2 - group - four);
            let (mut plain, mut turned) = ([[0.0; 4]; 2], [[0.0; 4]; 2]);
            for k in 0..4 {
                plain[1][k] = left_re[at + k] - right_im[at + k];
                plain[0][k] = left_im[at + k] + right_re[at + k];
                turned[1][k] = left_re[at + k] + right_im[at + k];
                turned[0][k] = right_re[at + k] - left_im[at + k];
            }
            for part in 0..2 {
                packed[mirror][part][0] = turned[part][0];
                for k in 1..4 {
                    packed[mirror - 1][part][4 - k] = turned[part][k];
                }
            }
            packed[group + four] = plain;
        }
    }
    let [left_re, _, right_re, _] = sums(inputs, newest, own, cross, half / BINS);
    (packed[half / 4][1][0], packed[half / 4][0][0]) = (left_re[0], right_re[0]);
}

/// Some bins of the sums of [`products`].
#[inline(always)]
fn sums(inputs: &Spectra, newest: usize, own: &Spectra, cross: Option<&Spectra>, index: usize) -> Row {
    let count = inputs.count;
    let all = index * count..(index + 1) * count;
    let (second, first) = inputs.rows[all.clone()].split_at(newest);
    let mut sum = [[0.0; BINS]; 4];
    for (partitions, crossed) in [(Some(own), false), (cross, true)] {
        let Some(partitions) = partitions else { continue };
        let (early, late) = partitions.rows[all.clone()].split_at(count - newest);
        multiply_add(&mut sum, first, early, crossed);
        multiply_add(&mut sum, second, late, crossed);
    }
    sum
}

/// Adds the products of inputs and partitions for left and right; crossed, left takes the input of right.
#[inline(always)]
fn multiply_add(sum: &mut Row, inputs: &[Row], partitions: &[Row], crossed: bool) {
    for c in 0..2 {
        let from = if crossed { 1 - c } else { c };
        let (mut re, mut im) = (sum[2 * c], sum[2 * c + 1]);
        for (x, h) in inputs.iter().zip(partitions) {
            let (xr, xi, hr, hi) = (&x[2 * from], &x[2 * from + 1], &h[2 * c], &h[2 * c + 1]);
            for k in 0..BINS {
                re[k] += xr[k] * hr[k] - xi[k] * hi[k];
                im[k] += xr[k] * hi[k] + xi[k] * hr[k];
            }
        }
        (sum[2 * c], sum[2 * c + 1]) = (re, im);
    }
}

/// The partitions of one stage, the same for every lane.
struct Stage {
    block: usize,
    transform: Transform,
    own: Spectra,
    cross: Option<Spectra>,
}

/// What a stage remembers of one lane.
struct StageMemory {
    /// The last two blocks of input: a ring of two, and where the next frame goes.
    input: Numbers,
    at: usize,
    /// Spectra of past inputs, a ring.
    past: Spectra,
    newest: usize,
    /// This stage's share of the block being played.
    output: Vec<Frame>,
}

/// What the convolver remembers of one lane.
pub(crate) struct Memory {
    recent: Line<Frame>,
    stages: Vec<StageMemory>,
    /// Frames into the block of the first stage.
    phase: usize,
}

/// Puts frames into a ring from `at` on, mostly in whole groups.
fn keep(part: &[Frame], ring: &mut Numbers, at: usize) {
    let (fours, rest) = if at.is_multiple_of(4) { part.as_chunks::<4>() } else { (&[][..], part) };
    for (four, group) in fours.iter().zip(&mut ring.0[at / 4..]) {
        for k in 0..4 {
            group[0][k] = four[k][0];
            group[1][k] = four[k][1];
        }
    }
    for (i, frame) in rest.iter().enumerate() {
        ring.set(at + 4 * fours.len() + i, *frame);
    }
}

/// Frames that one turn of the direct sum makes.
const STRIP: usize = 8;

/// A part of the song, with the frames ahead of it that the direct sum reaches, and room for a whole last strip.
type Window = [Frame; 2 * HEAD_FRAMES];

/// Adds the direct sum of some taps, for whole strips. The window begins [`HEAD_FRAMES`] before the part.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2"))]
fn add_taps(taps: &[Frame], window: &Window, part: &mut [Frame]) {
    for (strip, part) in part.as_chunks_mut::<STRIP>().0.iter_mut().enumerate() {
        let past = &window[strip * STRIP..][..HEAD_FRAMES + STRIP];
        let mut sums = [0.0; 2 * STRIP];
        sums.copy_from_slice(part.as_flattened());
        for (j, tap) in taps[..HEAD_FRAMES].iter().enumerate() {
            let x = past[HEAD_FRAMES - j..][..STRIP].as_flattened();
            for k in 0..2 * STRIP {
                sums[k] += tap[k % 2] * x[k];
            }
        }
        part.as_flattened_mut().copy_from_slice(&sums);
    }
}

/// A convolver for one response.
pub(crate) struct Convolver {
    head: Response,
    stages: Vec<Stage>,
    /// A transform and what it is made of.
    work: [Numbers; 2],
}

impl Convolver {
    pub(crate) fn new(response: &Response) -> Self {
        let length = response.frames();
        let mut stages = Vec::new();
        for (i, &block) in STAGE_BLOCKS.iter().enumerate().filter(|(_, block)| **block < length) {
            let end = STAGE_BLOCKS.get(i + 1).map_or(length, |next| length.min(*next));
            stages.push(Stage::new(block, end, response));
        }
        let largest = stages.last().map_or(0, |stage| 2 * stage.block);
        let head = |taps: &[Frame]| (0..HEAD_FRAMES).map(|i| tap(taps, i)).collect();
        Self {
            head: Response { own: head(&response.own), cross: response.cross.as_deref().map(head) },
            work: [0, 1].map(|_| Numbers::new(largest + 1)),
            stages,
        }
    }

    /// Silent memory for one lane.
    pub(crate) fn memory(&self) -> Memory {
        let stage = |stage: &Stage| StageMemory {
            input: Numbers::new(2 * stage.block),
            at: 0,
            past: Spectra::silent(stage.block, stage.own.count),
            newest: 0,
            output: vec![SILENCE; stage.block],
        };
        Memory {
            recent: Line::new(2 * HEAD_FRAMES, HEAD_FRAMES, SILENCE),
            stages: self.stages.iter().map(stage).collect(),
            phase: 0,
        }
    }

    /// Convolves a lane's frames in place, any number at a time.
    pub(crate) fn process(&mut self, memory: &mut Memory, signal: &mut [Frame]) {
        let mut rest = signal;
        while !rest.is_empty() {
            let frames = rest.len().min(HEAD_FRAMES - memory.phase);
            let (part, later) = rest.split_at_mut(frames);
            self.process_part(memory, part);
            rest = later;
        }
    }

    fn process_part(&mut self, memory: &mut Memory, part: &mut [Frame]) {
        let frames = part.len();
        memory.recent.write(part);
        for stage in &mut memory.stages {
            keep(part, &mut stage.input, stage.at);
        }
        self.head_sum(&memory.recent, part);
        for stage in &mut memory.stages {
            let from = stage.at % stage.output.len();
            for (y, share) in part.iter_mut().zip(&stage.output[from..from + frames]) {
                *y = [y[0] + share[0], y[1] + share[1]];
            }
            stage.at = (stage.at + frames) % (2 * stage.output.len());
        }
        memory.phase = (memory.phase + frames) % HEAD_FRAMES;
        for i in 0..self.stages.len() {
            if memory.stages[i].at.is_multiple_of(self.stages[i].block) {
                self.turn(i, &mut memory.stages[i]);
            }
        }
    }

    /// The direct sum of the first taps. `recent` ends with the part itself.
    fn head_sum(&self, recent: &Line<Frame>, part: &mut [Frame]) {
        let frames = part.len();
        let mut window: Window = [SILENCE; 2 * HEAD_FRAMES];
        recent.read(frames + HEAD_FRAMES, &mut window[..frames + HEAD_FRAMES]);
        let mut strips = [SILENCE; HEAD_FRAMES];
        let strips = &mut strips[..frames.next_multiple_of(STRIP)];
        add_taps(&self.head.own, &window, strips);
        if let Some(cross) = &self.head.cross {
            add_taps(cross, &window.map(|[left, right]| [right, left]), strips);
        }
        part.copy_from_slice(&strips[..frames]);
    }

    /// A block of a stage is full: makes its share of the next block.
    fn turn(&mut self, index: usize, memory: &mut StageMemory) {
        let stage = &self.stages[index];
        let block = stage.block;
        let [work, spare] = &mut self.work;
        let (newer, older) = memory.input.0.split_at(memory.at / 4);
        work.0[..older.len()].copy_from_slice(older);
        work.0[older.len()..block / 2].copy_from_slice(newer);
        stage.transform.forward(work, spare);
        let count = memory.past.count;
        memory.newest = (memory.newest + count - 1) % count;
        memory.past.unpack(memory.newest, work, block);
        products(&memory.past, memory.newest, &stage.own, stage.cross.as_ref(), &mut work.0, block);
        stage.transform.forward(work, spare);
        for (frames, four) in memory.output.as_chunks_mut::<4>().0.iter_mut().zip(&work.0[block / 4..]) {
            for (k, frame) in frames.iter_mut().enumerate() {
                *frame = [four[1][k], four[0][k]].map(crate::space::settle);
            }
        }
    }
}

impl Memory {
    /// Silences it.
    pub(crate) fn clear(&mut self) {
        self.recent.clear(SILENCE);
        self.phase = 0;
        for stage in &mut self.stages {
            stage.input.0.fill([[0.0; 4]; 2]);
            stage.output.fill(SILENCE);
            stage.past.clear();
            (stage.at, stage.newest) = (0, 0);
        }
    }
}

fn tap(taps: &[Frame], index: usize) -> Frame {
    taps.get(index).copied().unwrap_or(SILENCE)
}

impl Stage {
    /// The stage that takes the taps from `block` to `end`.
    fn new(block: usize, end: usize, response: &Response) -> Self {
        let transform = Transform::new(2 * block);
        let [mut work, mut spare] = [0, 1].map(|_| Numbers::new(2 * block + 1));
        // Both spectra of a product are kept at twice their size.
        let scale = 0.25 / (2 * block) as f64;
        let mut partitions = |taps: &[Frame]| {
            let mut spectra = Spectra::silent(block, (end - block).div_ceil(block));
            for (index, from) in (block..end).step_by(block).enumerate() {
                for i in 0..2 * block {
                    let tap = if i < block && from + i < end { tap(taps, from + i) } else { SILENCE };
                    work.set(i, tap.map(|x| scale * x));
                }
                transform.forward(&mut work, &mut spare);
                spectra.unpack(index, &mut work, block);
            }
            spectra
        };
        let (own, cross) = (partitions(&response.own), response.cross.as_deref().map(&mut partitions));
        Self { block, transform, own, cross }
    }
}
