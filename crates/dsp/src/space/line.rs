//! A delay line of whole frames.

/// A ring of past values. What is read is addressed by its age.
#[derive(Clone, Debug)]
pub(crate) struct Line<T> {
    ring: Vec<T>,
    /// Where the next value goes.
    at: usize,
}

impl<T: Copy> Line<T> {
    /// A silent line from which values up to `oldest` frames old can be read in chunks of up to `chunk` frames.
    pub(crate) fn new(oldest: usize, chunk: usize, silence: T) -> Self {
        Self { ring: vec![silence; (oldest + chunk + 1).next_power_of_two()], at: 0 }
    }

    /// Appends a chunk.
    pub(crate) fn write(&mut self, chunk: &[T]) {
        let first = chunk.len().min(self.ring.len() - self.at);
        self.ring[self.at..self.at + first].copy_from_slice(&chunk[..first]);
        self.ring[..chunk.len() - first].copy_from_slice(&chunk[first..]);
        self.at = (self.at + chunk.len()) & (self.ring.len() - 1);
    }

    /// The chunk that begins `age` frames before the next write, in up to two pieces. `age` is at least `frames`.
    #[inline]
    pub(crate) fn pieces(&self, age: usize, frames: usize) -> [&[T]; 2] {
        debug_assert!(age >= frames && age < self.ring.len());
        let from = (self.at + self.ring.len() - age) & (self.ring.len() - 1);
        let first = frames.min(self.ring.len() - from);
        [&self.ring[from..from + first], &self.ring[..frames - first]]
    }

    /// Copies the chunk that begins `age` frames before the next write.
    pub(crate) fn read(&self, age: usize, out: &mut [T]) {
        let [first, second] = self.pieces(age, out.len());
        let (head, tail) = out.split_at_mut(first.len());
        head.copy_from_slice(first);
        tail.copy_from_slice(second);
    }

    /// Silences the line.
    pub(crate) fn clear(&mut self, silence: T) {
        self.ring.fill(silence);
        self.at = 0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_read_is_as_old_as_asked_wherever_the_ring_wraps() {
        let mut line = Line::new(20, 5, -1_i64);
        let mut out = [0; 5];
        for chunk in 0..40 {
            let first = chunk * 5;
            line.read(20, &mut out);
            for (i, value) in out.iter().enumerate() {
                let expected = first + i as i64 - 20;
                assert_eq!(*value, if expected < 0 { -1 } else { expected });
            }
            line.write(&[0, 1, 2, 3, 4].map(|i| first + i));
        }
    }
}
