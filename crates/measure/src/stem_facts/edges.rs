//! How a file begins and ends, and its outline over time.

use serde::{Deserialize, Serialize};
use units::Frame;

/// What is looked at of the beginning, in seconds: its very first part, and what that is held against.
const HEAD_SECS: [f64; 2] = [0.002, 0.05];
/// What is looked at of the end.
const TAIL_SECS: f64 = 0.01;
/// Points of the outline a second.
pub const OUTLINE_HZ: f64 = 20.0;

/// RMS levels at the two ends of a file about its mean, mean of the channels; none for silence.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Edges {
    /// First two milliseconds.
    pub head_dbfs: Option<f64>,
    /// First fifty milliseconds.
    pub early_dbfs: Option<f64>,
    /// Last ten milliseconds.
    pub tail_dbfs: Option<f64>,
}

/// Streaming meter of both.
#[derive(Clone)]
pub struct EdgeMeter {
    head: [usize; 2],
    tail: usize,
    step: f64,
    frames: u64,
    early: Vec<Frame>,
    late: Vec<Frame>,
    sum: f64,
    outline: Vec<f32>,
}

impl EdgeMeter {
    /// A meter at a sample rate.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        Self {
            head: HEAD_SECS.map(|secs| (secs * rate_hz) as usize),
            tail: (TAIL_SECS * rate_hz) as usize,
            step: rate_hz / OUTLINE_HZ,
            frames: 0,
            early: Vec::new(),
            late: Vec::new(),
            sum: 0.0,
            outline: Vec::new(),
        }
    }

    /// Takes in the next frames. Values must be finite.
    pub fn push(&mut self, frames: &[Frame]) {
        let missing = (self.head[1] - self.early.len()).min(frames.len());
        self.early.extend_from_slice(&frames[..missing]);
        self.late.extend_from_slice(&frames[frames.len().saturating_sub(self.tail)..]);
        let surplus = self.late.len().saturating_sub(self.tail);
        self.late.drain(..surplus);
        let mut rest = frames;
        while !rest.is_empty() {
            let end = ((self.outline.len() + 1) as f64 * self.step) as u64;
            let count = rest.len().min((end - self.frames) as usize);
            self.sum += energy(&rest[..count]);
            self.frames += count as u64;
            rest = &rest[count..];
            if self.frames == end {
                self.outline.push((self.sum / (2.0 * self.step)).sqrt() as f32);
                self.sum = 0.0;
            }
        }
    }

    /// The ends, for a file of this mean, and RMS amplitudes twenty times a second.
    #[must_use]
    pub fn finish(self, dc: [f64; 2]) -> (Edges, Vec<f32>) {
        let level = |frames: &[Frame]| {
            let moved: Vec<Frame> = frames.iter().map(|x| [x[0] - dc[0], x[1] - dc[1]]).collect();
            let power = energy(&moved) / (2 * frames.len().max(1)) as f64;
            (power > 0.0).then(|| units::db_from_power(power))
        };
        let head = &self.early[..self.head[0].min(self.early.len())];
        let edges = Edges { head_dbfs: level(head), early_dbfs: level(&self.early), tail_dbfs: level(&self.late) };
        (edges, self.outline)
    }
}

fn energy(frames: &[Frame]) -> f64 {
    frames.iter().map(|x| x[0] * x[0] + x[1] * x[1]).sum()
}
