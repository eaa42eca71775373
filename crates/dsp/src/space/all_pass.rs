//! All-pass sections (Schroeder 1961): what smears a sound in time and leaves its spectrum flat.
//!
//! One section is `H(z) = (-a + z^-m) / (1 - a z^-m)`, computed as v = x + a v', y = v' - a v, with v' the value of v m
//! frames ago. What a chain of them has in common with its input is the product of the `-a`.

use super::{CHUNK_FRAMES, line::Line, settle};

/// Sections in a row, for one channel.
#[derive(Clone, Debug)]
pub(crate) struct AllPassChain {
    a: f64,
    sections: Vec<Section>,
}

#[derive(Clone, Debug)]
struct Section {
    delay_frames: usize,
    line: Line<f64>,
}

impl AllPassChain {
    /// Silent sections with the coefficient `a` and these delays, which [`AllPassChain::set_delays`] may shorten.
    pub(crate) fn new(a: f64, delays_frames: impl IntoIterator<Item = usize>) -> Self {
        let section = |frames: usize| {
            let delay_frames = frames.max(1);
            Section { delay_frames, line: Line::new(delay_frames, CHUNK_FRAMES, 0.0) }
        };
        Self { a, sections: delays_frames.into_iter().map(section).collect() }
    }

    /// Other delays, none longer than those it was built with. For a silent chain.
    pub(crate) fn set_delays(&mut self, delays_frames: &[usize]) {
        for (section, frames) in self.sections.iter_mut().zip(delays_frames) {
            section.delay_frames = (*frames).max(1);
        }
    }

    /// Smears a chunk in place.
    pub(crate) fn process(&mut self, signal: &mut [f64]) {
        for Section { delay_frames, line } in &mut self.sections {
            all_pass(line, *delay_frames, self.a, signal, |line, _, past| line.read(*delay_frames, past));
        }
    }

    /// Silences it.
    pub(crate) fn clear(&mut self) {
        self.sections.iter_mut().for_each(|section| section.line.clear(0.0));
    }
}

/// Frames for which a chain rings above -120 dB: every round trip of a section passes a factor `a`.
pub(crate) fn tail_frames(a: f64, delays_frames: impl IntoIterator<Item = usize>) -> usize {
    let round_trips = if a > 0.0 { (6.0 / -libm::log10(a)).ceil() as usize } else { 1 };
    delays_frames.into_iter().sum::<usize>() * round_trips
}

/// One section over a chunk in place. `past(line, done, out)` fills `out` with v' for the frames from `done` on; it reads
/// nothing younger than `shortest` frames.
pub(crate) fn all_pass(
    line: &mut Line<f64>,
    shortest: usize,
    a: f64,
    signal: &mut [f64],
    past: impl Fn(&Line<f64>, usize, &mut [f64]),
) {
    let mut buffer = [0.0; CHUNK_FRAMES];
    let mut done = 0;
    for part in signal.chunks_mut(shortest.min(CHUNK_FRAMES)) {
        let buffer = &mut buffer[..part.len()];
        past(line, done, buffer);
        for (x, late) in part.iter_mut().zip(buffer.iter_mut()) {
            let v = settle(*x + a * *late);
            *x = *late - a * v;
            *late = v;
        }
        line.write(buffer);
        done += part.len();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_chain_answers_as_the_published_section_does() {
        // Schroeder 1961 by long division: -a at 0, then (1 - a^2) a^(k-1) at k m.
        let mut chain = AllPassChain::new(0.6, [70]);
        let mut signal = vec![0.0; 1000];
        signal[0] = 1.0;
        signal.chunks_mut(CHUNK_FRAMES).for_each(|chunk| chain.process(chunk));
        for (n, y) in signal.iter().enumerate() {
            let expected = match (n / 70, n % 70) {
                (0, 0) => -0.6,
                (k, 0) => 0.64 * libm::pow(0.6, k as f64 - 1.0),
                _ => 0.0,
            };
            assert!((y - expected).abs() < 1e-15, "frame {n}: {y}");
        }
        // Every frequency passes at the same level: the energy of the answer is 1.
        let energy: f64 = signal.iter().map(|y| y * y).sum();
        assert!((energy - 1.0).abs() < 1e-5, "{energy}");
    }

    #[test]
    fn after_the_tail_120_db_are_gone() {
        let mut chain = AllPassChain::new(0.5, [13, 29, 5, 70]);
        let mut signal = vec![0.0; tail_frames(0.5, [13, 29, 5, 70]) + 64];
        signal[0] = 1.0;
        signal.chunks_mut(CHUNK_FRAMES).for_each(|chunk| chain.process(chunk));
        let after = signal[signal.len() - 64..].iter().fold(0.0, |peak: f64, y| peak.max(y.abs()));
        assert!(after < 1e-6, "{after:e}");
    }
}
