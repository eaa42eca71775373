//! When a path's response arrives, apart from its colour; and what paths lose to phase where they meet.
//!
//! A filter's own phase moves the middle of a response without making its path late. So the minimum phase that belongs
//! to the response's magnitude is taken off first, by way of the real cepstrum (Oppenheim and Schafer, "Discrete-Time
//! Signal Processing", homomorphic deconvolution); what is left, `|H|` with the excess phase, is a symmetric pulse whose
//! peak is the arrival and whose sign is the polarity. A straight line through three points gives the fraction.

use rustfft::{FftPlannerScalar, num_complex::Complex};
use units::Frame;

use crate::align::Polarity;
use crate::spectrum::{THIRD_OCTAVES_HZ, exact_centre_hz};

/// Magnitudes this far under the strongest count as that much: their logarithm would lead the cepstrum astray.
const FLOOR: f64 = 1e-5;

/// When a response arrives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Arrival {
    /// Frames after its origin.
    pub delay_samples: f64,
    /// Whether it is turned over.
    pub polarity: Polarity,
}

/// Arrival of a response whose sound left at frame `origin`; none if it is silent. The channel with more energy counts.
#[must_use]
pub fn arrival(response: &[Frame], origin: usize) -> Option<Arrival> {
    let spectrum = transform(response, stronger(response));
    let size = spectrum.len();
    let top = spectrum.iter().fold(0.0f64, |most, c| most.max(c.norm()));
    if top <= 0.0 {
        return None;
    }
    let mut planner = FftPlannerScalar::new();
    let mut cepstrum: Vec<Complex<f64>> =
        spectrum.iter().map(|c| Complex::new(libm::log(c.norm().max(FLOOR * top)), 0.0)).collect();
    planner.plan_fft_inverse(size).process(&mut cepstrum);
    for (n, c) in cepstrum.iter_mut().enumerate() {
        let weight = if n == 0 || n == size / 2 {
            1.0
        } else if n < size / 2 {
            2.0
        } else {
            0.0
        };
        *c *= weight / size as f64;
    }
    planner.plan_fft_forward(size).process(&mut cepstrum);
    let mut pulse: Vec<Complex<f64>> = spectrum
        .iter()
        .zip(&cepstrum)
        .map(|(h, minimum)| h * Complex::new(libm::cos(minimum.im), -libm::sin(minimum.im)))
        .collect();
    planner.plan_fft_inverse(size).process(&mut pulse);
    let at = (0..size).max_by(|a, b| pulse[*a].re.abs().total_cmp(&pulse[*b].re.abs()))?;
    let sign = pulse[at].re.signum();
    let value = |shift: usize| sign * pulse[(at + size + shift - 1) % size].re;
    let [before, peak, after] = [value(0), value(1), value(2)];
    let bend = before - 2.0 * peak + after;
    let fraction = if bend < 0.0 { (0.5 * (before - after) / bend).clamp(-0.5, 0.5) } else { 0.0 };
    let whole = if at > size / 2 { at as f64 - size as f64 } else { at as f64 };
    Some(Arrival {
        delay_samples: whole + fraction - origin as f64,
        polarity: if sign < 0.0 { Polarity::Inverted } else { Polarity::Normal },
    })
}

/// What responses lose to phase where they are summed, by third octave: `|sum H|` over `sum |H|`, in dB of power, with
/// the nominal centre. 0 dB is a sum in phase. Bands where the weakest lies more than 30 dB under the strongest are
/// left out: nothing is lost there.
#[must_use]
pub fn phase_loss_db(responses: &[&[Frame]], rate_hz: f64) -> Vec<(f64, f64)> {
    let mut bands = Vec::new();
    let Some(size) = responses.iter().map(|response| size_of(response)).max() else { return bands };
    let channels: Vec<Vec<Complex<f64>>> =
        responses.iter().flat_map(|response| [0, 1].map(|c| transform_to(response, c, size))).collect();
    let edge = libm::pow(10.0, 0.05);
    for (index, nominal_hz) in THIRD_OCTAVES_HZ.iter().enumerate() {
        let centre_hz = exact_centre_hz(index);
        let bin = |hz: f64| (hz * size as f64 / rate_hz) as usize;
        let range = bin(centre_hz / edge)..bin(centre_hz * edge) + 1;
        if range.end > size / 2 {
            break;
        }
        let mut powers = vec![0.0; responses.len()];
        let (mut sum, mut in_phase) = (0.0, 0.0);
        for k in range {
            for channel in 0..2 {
                let values = || channels.iter().skip(channel).step_by(2).map(|spectrum| spectrum[k]);
                sum += values().sum::<Complex<f64>>().norm_sqr();
                let sizes: f64 = values().map(|c| c.norm()).sum();
                in_phase += sizes * sizes;
                powers.iter_mut().zip(values()).for_each(|(power, c)| *power += c.norm_sqr());
            }
        }
        let strongest = powers.iter().fold(0.0f64, |most, power| most.max(*power));
        let second = powers.iter().filter(|power| **power < strongest).fold(0.0f64, |most, power| most.max(*power));
        let second = if powers.iter().filter(|power| **power == strongest).count() > 1 { strongest } else { second };
        if in_phase > 0.0 && second > 1e-3 * strongest {
            bands.push((*nominal_hz, units::db_from_power((sum / in_phase).max(1e-12))));
        }
    }
    bands
}

fn stronger(response: &[Frame]) -> usize {
    let energy = |channel: usize| response.iter().map(|x| x[channel] * x[channel]).sum::<f64>();
    usize::from(energy(1) > energy(0))
}

/// Twice the length, so that an arrival ahead of its origin stays apart from a late one.
fn size_of(response: &[Frame]) -> usize {
    (2 * response.len()).next_power_of_two()
}

fn transform(response: &[Frame], channel: usize) -> Vec<Complex<f64>> {
    transform_to(response, channel, size_of(response))
}

fn transform_to(response: &[Frame], channel: usize, size: usize) -> Vec<Complex<f64>> {
    let mut spectrum: Vec<Complex<f64>> = response.iter().map(|x| Complex::new(x[channel], 0.0)).collect();
    spectrum.resize(size, Complex::default());
    FftPlannerScalar::new().plan_fft_forward(size).process(&mut spectrum);
    spectrum
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use super::*;

    const RATE_HZ: f64 = 48_000.0;

    fn pulse(frames: usize, at: usize, height: f64) -> Vec<Frame> {
        let mut response = vec![units::SILENCE; frames];
        response[at] = [height, 0.0];
        response
    }

    /// Through a one-pole low-pass, whose group delay moves the middle of the response but not its arrival.
    fn dulled(mut response: Vec<Frame>, hz: f64) -> Vec<Frame> {
        let pole = libm::exp(-2.0 * PI * hz / RATE_HZ);
        let mut y = 0.0;
        for x in &mut response {
            y = (1.0 - pole) * x[0] + pole * y;
            *x = [y, 0.0];
        }
        response
    }

    #[test]
    fn a_filter_does_not_make_a_path_late_but_a_delay_does() {
        for (late, hz) in [(0, 1000.0), (32, 3000.0), (516, 300.0)] {
            let found = arrival(&dulled(pulse(4096, 1000 + late, -0.5), hz), 1000).unwrap();
            assert!((found.delay_samples - late as f64).abs() < 0.05, "{late} {hz}: {found:?}");
            assert_eq!(found.polarity, Polarity::Inverted);
        }
        assert!((arrival(&pulse(4096, 990, 1.0), 1000).unwrap().delay_samples + 10.0).abs() < 0.01);
        assert_eq!(arrival(&pulse(64, 3, 0.0), 0), None);
    }

    #[test]
    fn paths_late_by_a_few_samples_lose_what_the_closed_form_says() {
        // |1 + e^(-jwn)| / 2 = |cos(w n / 2)|: two equal paths at 48 kHz, one 1 sample late, lose 2.01 dB at 10 kHz; here
        // averaged over the third octave.
        let (one, other) = (pulse(4096, 100, 1.0), pulse(4096, 101, 1.0));
        let bands = phase_loss_db(&[&one, &other], RATE_HZ);
        let edge = libm::pow(10.0, 0.05);
        for (hz, loss) in &bands {
            let index = THIRD_OCTAVES_HZ.iter().position(|nominal| nominal == hz).unwrap();
            let [from, to] = [1.0 / edge, edge].map(|share| 2.0 * PI * exact_centre_hz(index) * share / RATE_HZ);
            let mean = 0.5 + (libm::sin(to) - libm::sin(from)) / (2.0 * (to - from));
            assert!((loss - units::db_from_power(mean)).abs() < 0.1, "{hz}: {loss}");
        }
        assert!(bands.len() >= 30 && bands[27].1 < -1.9);
        let weak = pulse(4096, 400, 0.01);
        assert!(phase_loss_db(&[&one, &weak], RATE_HZ).is_empty(), "40 dB under the other, nothing is lost");
    }
}
