//! Tops that were cut flat and turned down afterwards.
//!
//! Of a recording, few samples come near its largest, and fewer the nearer one looks. Clipping piles them up: the last
//! thousandth of the range holds many more samples than the one below it, in runs. A sine, which lingers at its top as
//! long as any wave can, puts 2.4 times as many into the last thousandth as into the one before (arcs of the cosine).
//! A filter after the clipping tilts the tops, and nothing of this is left. Limits: common practice, no source.

use serde::{Deserialize, Serialize};
use units::Frame;

/// The last thousandth of the range, and where the one before it begins.
const TOP: f64 = 0.999;
const NEXT: f64 = 0.998;
/// A sample that exceeds the largest by less than this is dither on a flat top.
const SAME_TOP: f64 = 1.0002;
/// Samples in a row that make a flat top.
const LEAST_RUN: u64 = 3;
/// Tops from which it is no accident, and how many times as many samples as just below.
const LEAST_TOPS: u64 = 5;
const PILED_UP: u64 = 8;
/// Frames tested at once.
const GROUP: usize = 64;

/// Flat tops.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct FlatTops {
    /// The level that they were cut at.
    pub level_dbfs: f64,
    /// How many there are.
    pub count: u64,
    /// Where the first begins.
    pub first_frame: u64,
}

/// Streaming finder of flat tops.
#[derive(Clone, Default)]
pub(super) struct FlatTopFinder {
    frames: u64,
    largest: f64,
    top: u64,
    next: u64,
    tops: u64,
    first_frame: u64,
    run: [u64; 2],
}

impl FlatTopFinder {
    pub fn push(&mut self, frames: &[Frame]) {
        for group in frames.chunks(GROUP) {
            let mut most = [0.0f64; 2];
            for x in group {
                most = [most[0].max(x[0].abs()), most[1].max(x[1].abs())];
            }
            if most[0].max(most[1]) > NEXT * self.largest {
                self.look(group);
            } else {
                self.run = [0; 2];
            }
            self.frames += group.len() as u64;
        }
    }

    fn look(&mut self, group: &[Frame]) {
        for (i, frame) in group.iter().enumerate() {
            for (c, x) in frame.iter().enumerate() {
                let x = x.abs();
                if x > SAME_TOP * self.largest {
                    (self.top, self.next, self.tops, self.run) = (0, 0, 0, [0; 2]);
                }
                self.largest = self.largest.max(x);
                if x > TOP * self.largest {
                    self.top += 1;
                    self.run[c] += 1;
                    if self.run[c] == LEAST_RUN {
                        self.tops += 1;
                        if self.tops == 1 {
                            self.first_frame = (self.frames + i as u64 + 1).saturating_sub(LEAST_RUN);
                        }
                    }
                } else {
                    self.next += u64::from(x > NEXT * self.largest);
                    self.run[c] = 0;
                }
            }
        }
    }

    pub fn finish(&self) -> Option<FlatTops> {
        let flat = self.tops >= LEAST_TOPS && self.top >= PILED_UP * self.next.max(1);
        flat.then(|| FlatTops {
            level_dbfs: units::db_from_gain(self.largest),
            count: self.tops,
            first_frame: self.first_frame,
        })
    }
}
