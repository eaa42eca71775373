//! The guard before every processor of the catalogue: what is no sound does not go in.
//!
//! A recording may hold NaN or infinity, and a wild setting may make a level beyond reason. One such number would stay in
//! a filter's or a follower's memory for good. So a frame that is no sound in any lane is silence in all of them before
//! the processor sees it (in all, so that followers still sum to the key), and so is such a frame of an outside key. For
//! what is left every processor gives finite numbers; the contract suite holds them to that.

use units::{At, Block, Frame, MAX_BLOCK_FRAMES, SILENCE};

use crate::Processor;

/// Magnitudes above this are no sound: 180 dB over full scale, more than whole numbers of 24 bits taken for full scale.
const LOUDEST: f64 = 1e9;

/// A processor and the guard before it.
pub(crate) struct Guard {
    processor: Box<dyn Processor>,
    /// An outside key that had to be cleaned.
    clean_key: Vec<Frame>,
}

impl Guard {
    pub(crate) fn before(processor: Box<dyn Processor>) -> Self {
        Self { processor, clean_key: vec![SILENCE; MAX_BLOCK_FRAMES] }
    }
}

/// Comparisons with NaN are false.
#[inline]
fn is_sound(frame: &Frame) -> bool {
    (frame[0].abs() <= LOUDEST) & (frame[1].abs() <= LOUDEST)
}

/// Whether all frames are sound; looks at all of them, which is faster than to stop at the first that is not.
fn all_sound(frames: &[Frame]) -> bool {
    frames.iter().fold(true, |all, frame| all & is_sound(frame))
}

/// Silences, in all lanes, the frames that are no sound in any.
fn clean(block: &mut Block<'_>) {
    let lanes = block.lanes();
    for lane in 0..lanes {
        if all_sound(block.lane(lane)) {
            continue;
        }
        for at in 0..block.frames() {
            if !is_sound(&block.lane(lane)[at]) {
                (0..lanes).for_each(|lane| block.lane_mut(lane)[at] = SILENCE);
            }
        }
    }
}

impl Processor for Guard {
    fn process(&mut self, block: &mut Block<'_>, outside_key: Option<&[Frame]>) {
        clean(block);
        let outside_key = match outside_key {
            Some(key) if !all_sound(key) => {
                let clean_key = &mut self.clean_key[..key.len()];
                clean_key.copy_from_slice(key);
                clean(&mut Block::key_only(clean_key));
                Some(&*clean_key)
            }
            key => key,
        };
        self.processor.process(block, outside_key);
    }

    fn set(&mut self, at: At, value: f64) {
        self.processor.set(at, value);
    }

    fn reset(&mut self) {
        self.processor.reset();
    }

    fn latency_frames(&self) -> usize {
        self.processor.latency_frames()
    }

    fn tail_frames(&self) -> usize {
        self.processor.tail_frames()
    }

    fn gain_reduction_db(&self) -> Option<f64> {
        self.processor.gain_reduction_db()
    }
}
