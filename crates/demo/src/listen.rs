//! How the tests listen: pitch, loudness, spectra, each by its published definition.

use units::{Frame, db_from_gain, db_from_power};

use crate::filter::Biquad;

const RATE: f64 = 48_000.0;

/// Mean power of both channels in dB.
pub(crate) fn mean_square_db(frames: &[Frame]) -> f64 {
    db_from_power(frames.iter().map(|[l, r]| l * l + r * r).sum::<f64>() / frames.len() as f64)
}

/// Loudness after ITU-R BS.1770-5: K-weighting (Annex 1, tables 1 and 2, 48 kHz), 400 ms blocks overlapping by three
/// quarters, gates at -70 LUFS and at 10 LU under the mean.
pub(crate) fn lufs(frames: &[Frame]) -> f64 {
    let mut weighted = vec![0.0; frames.len()];
    for channel in 0..2 {
        let (mut s, mut t) = ([0.0; 2], [0.0; 2]);
        for (out, frame) in weighted.iter_mut().zip(frames) {
            let x = frame[channel];
            let y = 1.535_124_859_586_97 * x + s[0];
            s = [
                -2.691_696_189_406_38 * x + 1.690_659_293_182_41 * y + s[1],
                1.198_392_810_852_85 * x - 0.732_480_774_215_85 * y,
            ];
            let z = y + t[0];
            t = [-2.0 * y + 1.990_047_454_833_98 * z + t[1], y - 0.990_072_250_366_21 * z];
            *out += z * z;
        }
    }
    let blocks: Vec<f64> = weighted.windows(19_200).step_by(4800).map(|b| b.iter().sum::<f64>() / 19_200.0).collect();
    let gated = |gate: f64| {
        let kept: Vec<f64> = blocks.iter().copied().filter(|p| db_from_power(*p) - 0.691 > gate).collect();
        db_from_power(kept.iter().sum::<f64>() / kept.len() as f64) - 0.691
    };
    gated(gated(-70.0) - 10.0)
}

/// Fundamental frequency near an expected one, by the phase that a window's component gains over one hop (the phase
/// vocoder's measure, Flanagan and Golden 1966), refined until it stands.
pub(crate) fn hz_near(x: &[f64], expected_hz: f64) -> f64 {
    let mut hz = expected_hz;
    let hop = (RATE / expected_hz / 2.0).round() as usize;
    let width = x.len() - hop;
    for _ in 0..8 {
        let w = std::f64::consts::TAU * hz / RATE;
        let component = |from: usize| {
            (0..width).fold((0.0, 0.0), |(re, im), n| {
                let window = window(n, width);
                let (s, c) = libm::sincos(w * n as f64);
                (re + window * c * x[from + n], im - window * s * x[from + n])
            })
        };
        let (a, b) = (component(0), component(hop));
        let turned = libm::atan2(b.1 * a.0 - b.0 * a.1, b.0 * a.0 + b.1 * a.1);
        let expected = w * hop as f64;
        let error = libm::remainder(turned - expected, std::f64::consts::TAU);
        hz += error / hop as f64 * RATE / std::f64::consts::TAU;
    }
    hz
}

/// Distance of two frequencies.
pub(crate) fn cents(hz: f64, of_hz: f64) -> f64 {
    1200.0 * libm::log2(hz / of_hz)
}

/// Share of the energy that lies within a band, by steep cuts.
pub(crate) fn share(x: &[f64], low_hz: f64, high_hz: f64) -> f64 {
    let mut cuts = [
        Biquad::high_pass(low_hz, 0.54, RATE),
        Biquad::high_pass(low_hz, 1.31, RATE),
        Biquad::low_pass(high_hz, 0.54, RATE),
        Biquad::low_pass(high_hz, 1.31, RATE),
    ];
    let within: f64 = x.iter().map(|x| cuts.iter_mut().fold(*x, |y, f| f.tick(y))).map(|y| y * y).sum();
    within / x.iter().map(|x| x * x).sum::<f64>()
}

/// Level of the component at a frequency, under a Hann window; a sine of amplitude 1 reads 0.
pub(crate) fn level_db(x: &[f64], hz: f64) -> f64 {
    let (mut re, mut im) = (0.0, 0.0);
    let width = x.len();
    for (n, x) in x.iter().enumerate() {
        let (s, c) = libm::sincos(std::f64::consts::TAU * hz * n as f64 / RATE);
        let w = window(n, width);
        (re, im) = (re + w * x * c, im - w * x * s);
    }
    db_from_gain(2.0 * libm::hypot(re, im) / width as f64)
}

/// The Hann window, of mean 1.
fn window(n: usize, width: usize) -> f64 {
    1.0 - libm::cos(std::f64::consts::TAU * (n as f64 + 0.5) / width as f64)
}
