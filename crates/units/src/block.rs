//! The stereo block: some frames of one or more lanes.

/// One sample of the left and one of the right channel.
pub type Frame = [f64; 2];

/// A frame of silence.
pub const SILENCE: Frame = [0.0, 0.0];

/// The longest block that a processor is handed at once. A processor that needs scratch space sizes it for this or
/// walks the block in shorter pieces; either way the samples that come out do not depend on how a song was cut.
pub const MAX_BLOCK_FRAMES: usize = 4096;

/// Whether no sample is NaN or infinite: zero times any number is zero, but not of those. In lanes, so that it is vector
/// code.
#[must_use]
pub fn all_finite(frames: &[Frame]) -> bool {
    let (eights, rest) = frames.as_flattened().as_chunks::<8>();
    let mut sums = [0.0; 8];
    for eight in eights {
        for (sum, x) in sums.iter_mut().zip(eight) {
            *sum += 0.0 * x;
        }
    }
    sums == [0.0; 8] && rest.iter().all(|x| x.is_finite())
}

/// A stretch of audio in all its lanes, seen in place.
///
/// Lane 0 is the **key**: the signal as it is heard. Lanes 1.. are **followers**: parts of the key that are carried
/// through the same processing so that they still sum to it. When there are followers, the last lane is the
/// **residue**: what cannot be split. A processor that cannot split its effect adds `key - sum(other lanes)` there.
///
/// All lanes lie in one allocation, `stride` frames apart.
#[derive(Debug)]
pub struct Block<'a> {
    data: &'a mut [Frame],
    stride: usize,
    start: usize,
    frames: usize,
}

impl<'a> Block<'a> {
    /// A block over `lanes` lanes that lie `stride` frames apart in `data`, of which the first `frames` are used.
    ///
    /// # Panics
    /// If `frames` exceeds `stride`, or `data` does not hold a whole number of lanes: a fault of the caller's code.
    #[must_use]
    pub fn new(data: &'a mut [Frame], stride: usize, frames: usize) -> Self {
        assert!(frames <= stride && data.len().is_multiple_of(stride), "block of {frames} frames, stride {stride}");
        Self { data, stride, start: 0, frames }
    }

    /// A block of the key alone.
    #[must_use]
    pub fn key_only(data: &'a mut [Frame]) -> Self {
        let frames = data.len();
        Self { data, stride: frames.max(1), start: 0, frames }
    }

    /// Frames in each lane.
    #[must_use]
    pub fn frames(&self) -> usize {
        self.frames
    }

    /// Lanes: 1 without followers, otherwise 1 + followers + 1 (the residue).
    #[must_use]
    pub fn lanes(&self) -> usize {
        self.data.len() / self.stride
    }

    /// The part of this block from frame `from`, `frames` long, in all lanes.
    #[must_use]
    pub fn part(&mut self, from: usize, frames: usize) -> Block<'_> {
        debug_assert!(from + frames <= self.frames);
        Block { data: self.data, stride: self.stride, start: self.start + from, frames }
    }

    /// The frames of one lane.
    #[must_use]
    pub fn lane(&self, lane: usize) -> &[Frame] {
        &self.data[lane * self.stride + self.start..][..self.frames]
    }

    /// The frames of one lane, to change.
    #[must_use]
    pub fn lane_mut(&mut self, lane: usize) -> &mut [Frame] {
        &mut self.data[lane * self.stride + self.start..][..self.frames]
    }

    /// The key lane, to change.
    #[must_use]
    pub fn key_mut(&mut self) -> &mut [Frame] {
        self.lane_mut(0)
    }

    /// Every lane in turn, the key first.
    pub fn lanes_mut(&mut self) -> impl Iterator<Item = &mut [Frame]> {
        let (start, frames) = (self.start, self.frames);
        self.data.chunks_exact_mut(self.stride).map(move |lane| &mut lane[start..start + frames])
    }

    /// Adds `key - sum(other lanes)` to the residue, so that the lanes sum to the key again. For processors that cannot
    /// split what they do. Without followers it does nothing.
    pub fn settle_residue(&mut self) {
        let lanes = self.lanes();
        if lanes < 2 {
            return;
        }
        for at in self.start..self.start + self.frames {
            for channel in 0..2 {
                let others: f64 = (1..lanes).map(|lane| self.data[lane * self.stride + at][channel]).sum();
                let key = self.data[at][channel];
                self.data[(lanes - 1) * self.stride + at][channel] += key - others;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_and_lanes_address_the_frames_they_name() {
        let mut data: Vec<Frame> = (0..24).map(|i| [f64::from(i), 0.0]).collect();
        let mut block = Block::new(&mut data, 8, 6);
        assert_eq!((block.lanes(), block.frames()), (3, 6));
        let mut part = block.part(2, 3);
        assert_eq!(part.lane(1), &[[10.0, 0.0], [11.0, 0.0], [12.0, 0.0]]);
        part.lane_mut(2)[0] = [99.0, 0.0];
        assert_eq!(data[18], [99.0, 0.0]);
    }

    #[test]
    fn one_sample_that_is_no_number_is_found_wherever_it_is() {
        let sound = [[1.0, -1.0]; 7];
        assert!(all_finite(&sound) && all_finite(&[]));
        for at in 0..7 {
            for side in 0..2 {
                for wrong in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
                    let mut sound = sound;
                    sound[at][side] = wrong;
                    assert!(!all_finite(&sound), "{wrong} at {at}, {side}");
                }
            }
        }
    }

    #[test]
    fn settled_lanes_sum_to_the_key() {
        let mut data = vec![[1.0, 2.0], [0.25, 0.5], [0.0, 0.125]];
        let mut block = Block::new(&mut data, 1, 1);
        block.settle_residue();
        assert_eq!(data[2], [0.75, 1.5]);
    }
}
