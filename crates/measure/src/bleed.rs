//! Two microphones in one room: by how much one is later than the other, and whether it is upside down, from what both
//! hear of one source while it is loudest.
//!
//! The generalized correlation of Knapp and Carter 1976 ("The generalized correlation method for estimation of time
//! delay", IEEE Trans. ASSP-24) with the weights of Hannan and Thomson: each frequency counts by how well the two cohere
//! there, and not by its level, so that what only one of them hears counts for nothing. Coherence is averaged over the
//! loudest stretches of the first.

use rustfft::{FftPlannerScalar, num_complex::Complex};
use units::Frame;

use crate::align::Polarity;

/// Frames of a stretch, and how many are averaged.
const STRETCH: usize = 4096;
const MOST_STRETCHES: usize = 16;
const LEAST_STRETCHES: usize = 6;
/// Squared coherence from which a frequency counts: unrelated signals read one in the number of stretches on average, and
/// three times that in one bin of twenty.
const COHERENT: f64 = 0.5;
/// Least share of the first signal's power in coherent bins.
const LEAST_SHARE: f64 = 0.3;
/// How far the peak must stand above all else that is more than a millisecond away, in times.
const STANDS_OUT: f64 = 1.5;

/// How a second microphone lies behind a first.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bleed {
    /// Frames by which the second is later.
    pub delay_samples: f64,
    /// Polarity of the second against the first.
    pub polarity: Polarity,
}

/// Listens to a close microphone and a far one. None if they share too little to tell.
#[must_use]
pub fn bleed(close: &[Frame], far: &[Frame], rate_hz: f64, max_delay_frames: usize) -> Option<Bleed> {
    let size = (STRETCH + 2 * max_delay_frames).next_power_of_two();
    let mut planner = FftPlannerScalar::new();
    let (forward, inverse) = (planner.plan_fft_forward(size), planner.plan_fft_inverse(size));
    let starts = loudest(close, far.len().min(close.len()), max_delay_frames);
    if starts.len() < LEAST_STRETCHES {
        return None;
    }
    let mut cross = vec![Complex::new(0.0, 0.0); size];
    let (mut of_close, mut of_far) = (vec![0.0; size], vec![0.0; size]);
    for start in &starts {
        let mut a = padded(&close[*start..*start + STRETCH], size, max_delay_frames);
        let reach = start - max_delay_frames..start + STRETCH + max_delay_frames;
        let mut b = padded(&far[reach], size, 0);
        forward.process(&mut a);
        forward.process(&mut b);
        for k in 0..size {
            cross[k] += a[k].conj() * b[k];
            of_close[k] += a[k].norm_sqr();
            of_far[k] += b[k].norm_sqr();
        }
    }
    let all: f64 = of_close.iter().sum();
    let mut shared = 0.0;
    for k in 0..size {
        let level = cross[k].norm();
        let coherence = level * level / (of_close[k] * of_far[k]).max(f64::MIN_POSITIVE);
        if coherence < COHERENT {
            cross[k] = Complex::new(0.0, 0.0);
        } else {
            shared += of_close[k];
            // A line that is in both to the bit would outweigh all else.
            let coherence = coherence.min(0.99);
            cross[k] *= coherence / ((1.0 - coherence) * level.max(f64::MIN_POSITIVE));
        }
    }
    if shared < LEAST_SHARE * all {
        return None;
    }
    inverse.process(&mut cross);
    peak(&cross, rate_hz, max_delay_frames)
}

/// The peak of a correlation, to a fraction of a sample by a parabola, if it stands alone.
fn peak(correlation: &[Complex<f64>], rate_hz: f64, max_delay_frames: usize) -> Option<Bleed> {
    let size = correlation.len() as i64;
    let at = |lag: i64| correlation[lag.rem_euclid(size) as usize].re;
    let most = max_delay_frames as i64;
    let lag = (-most..=most).max_by(|a, b| at(*a).abs().total_cmp(&at(*b).abs()))?;
    let near = (rate_hz / 1000.0) as i64;
    let rest = (-most..=most).filter(|other| (other - lag).abs() > near).map(|other| at(other).abs());
    if at(lag).abs() < STANDS_OUT * rest.fold(0.0, f64::max) || lag.abs() == most {
        return None;
    }
    let [a, b, c] = [lag - 1, lag, lag + 1].map(|lag| at(lag).abs());
    let curve = a - 2.0 * b + c;
    let offset = if curve < 0.0 { 0.5 * (a - c) / curve } else { 0.0 };
    let polarity = if at(lag) < 0.0 { Polarity::Inverted } else { Polarity::Normal };
    Some(Bleed { delay_samples: lag as f64 + offset, polarity })
}

/// Starts of the loudest stretches, away from the ends, and of some level against the loudest.
fn loudest(signal: &[Frame], frames: usize, margin: usize) -> Vec<usize> {
    let last = frames.saturating_sub(margin + STRETCH);
    let energy = |start: usize| signal[start..start + STRETCH].iter().map(|x| x[0] * x[0] + x[1] * x[1]).sum::<f64>();
    let mut parts: Vec<(f64, usize)> = (margin..last).step_by(STRETCH).map(|start| (energy(start), start)).collect();
    parts.sort_by(|a, b| b.0.total_cmp(&a.0));
    let least = parts.first().map_or(0.0, |part| part.0 / 100.0);
    parts.into_iter().filter(|part| part.0 > least).take(MOST_STRETCHES).map(|part| part.1).collect()
}

/// The middle of a stereo stretch, with so much silence ahead of it.
fn padded(stretch: &[Frame], size: usize, ahead: usize) -> Vec<Complex<f64>> {
    let mut out = vec![Complex::new(0.0, 0.0); size];
    for (out, x) in out[ahead..].iter_mut().zip(stretch) {
        *out = Complex::new(0.5 * (x[0] + x[1]), 0.0);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use chance::Random;

    const RATE_HZ: f64 = 48_000.0;

    /// Hits of decaying noise, one each quarter of a second from a start.
    fn hits(start: usize, seed: u64) -> Vec<f64> {
        let mut random = Random(seed);
        let mut out = vec![0.0; 480_000];
        for hit in (start..out.len()).step_by(24_000) {
            for (n, out) in out[hit..].iter_mut().take(9000).enumerate() {
                *out += 0.4 * random.normal() * libm::exp(-(n as f64) / 1500.0);
            }
        }
        out
    }

    #[test]
    fn a_drum_is_found_in_the_overheads_late_and_upside_down() {
        // 2.3 ms are 110.4 samples at 48 kHz; a whole number of them here, 2.2917 ms.
        let (snare, kick) = (hits(0, 1), hits(9000, 2));
        let close: Vec<Frame> = snare.iter().map(|x| [*x; 2]).collect();
        let at = |signal: &[f64], n: usize, late: usize| n.checked_sub(late).map_or(0.0, |n| signal[n]);
        let far: Vec<Frame> =
            (0..snare.len()).map(|n| [0.6 * at(&kick, n, 200) - 0.3 * at(&snare, n, 110); 2]).collect();
        let found = bleed(&close, &far, RATE_HZ, 960).expect("found");
        assert!((found.delay_samples - 110.0).abs() < 0.1, "{found:?}");
        assert_eq!(found.polarity, Polarity::Inverted);
    }

    #[test]
    fn drums_that_do_not_hear_each_other_are_not_compared() {
        let frames = |signal: Vec<f64>| signal.into_iter().map(|x| [x; 2]).collect::<Vec<Frame>>();
        for seed in 1..9 {
            assert_eq!(bleed(&frames(hits(0, seed)), &frames(hits(0, seed + 100)), RATE_HZ, 960), None, "seed {seed}");
        }
    }
}
