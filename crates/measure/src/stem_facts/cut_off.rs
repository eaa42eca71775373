//! A wall in the treble: where a lossy encoder, or a conversion from a lower rate, cut everything above.
//!
//! Four times a second a short spectrum is taken, and all are averaged. Nothing that plays, and no filter of a mix, falls
//! by 30 dB within 600 Hz up there and stays down; the low-pass ahead of an encoder does. Levels a kilohertz wide on
//! either side of each place are compared. What has no treble has no wall, so that a lossy bass cannot be told.
//! Limits: common practice, no source.

use std::f64::consts::PI;
use std::sync::Arc;

use rustfft::{Fft, FftPlannerScalar, num_complex::Complex};
use serde::{Deserialize, Serialize};
use units::Frame;

/// Frames of a spectrum.
const SIZE: usize = 2048;
/// Spectra a second.
const PER_SECOND: f64 = 4.0;
/// Where walls are sought: from here to this part of the rate.
const FROM_HZ: f64 = 9000.0;
const TO_SHARE: f64 = 0.47;
/// What is left out on either side of a wall, and what is compared beyond that.
const GAP_HZ: f64 = 300.0;
const BESIDE_HZ: f64 = 1000.0;
/// Fall of a wall.
const FALL_DB: f64 = 30.0;
/// Places with so nearly the same fall are one wall.
const SAME_DB: f64 = 3.0;
/// How much lower everything above a wall must be than what is below it.
const STAYS_DB: f64 = 14.0;
/// A hundred decibels and more below this, in one bin, is rounding.
const FLOOR_POWER: f64 = 1e-17;

/// A wall in the treble.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct CutOff {
    /// Where it stands.
    pub hz: f64,
    /// How far the level falls there.
    pub fall_db: f64,
}

/// Streaming finder of a wall.
#[derive(Clone)]
pub(super) struct CutOffFinder {
    rate_hz: f64,
    waiting: Vec<Frame>,
    skip: usize,
    window: Arc<[f64]>,
    transform: Arc<dyn Fft<f64>>,
    work: Vec<Complex<f64>>,
    scratch: Vec<Complex<f64>>,
    sums: Vec<f64>,
    spectra: usize,
}

impl CutOffFinder {
    pub fn new(rate_hz: f64) -> Self {
        let transform = FftPlannerScalar::new().plan_fft_forward(SIZE);
        // Blackman: what leaks lies 58 dB down beside the line and falls fast, which a Hann window's first does not.
        let blackman = |n: usize| {
            let x = 2.0 * PI * n as f64 / SIZE as f64;
            0.42 - 0.5 * libm::cos(x) + 0.08 * libm::cos(2.0 * x)
        };
        Self {
            rate_hz,
            waiting: Vec::with_capacity(SIZE),
            skip: 0,
            window: (0..SIZE).map(blackman).collect(),
            work: vec![Complex::default(); SIZE],
            scratch: vec![Complex::default(); transform.get_inplace_scratch_len()],
            sums: vec![0.0; SIZE / 2],
            spectra: 0,
            transform,
        }
    }

    pub fn push(&mut self, mut frames: &[Frame]) {
        while !frames.is_empty() {
            let skipped = self.skip.min(frames.len());
            self.skip -= skipped;
            frames = &frames[skipped..];
            let count = frames.len().min(SIZE - self.waiting.len());
            self.waiting.extend_from_slice(&frames[..count]);
            frames = &frames[count..];
            if self.waiting.len() == SIZE {
                self.add();
                self.waiting.clear();
                self.skip = ((self.rate_hz / PER_SECOND) as usize).saturating_sub(SIZE);
            }
        }
    }

    fn add(&mut self) {
        if self.waiting.iter().all(|frame| *frame == units::SILENCE) {
            return;
        }
        for ((out, x), w) in self.work.iter_mut().zip(&self.waiting).zip(self.window.iter()) {
            *out = Complex::new(x[0] * w, x[1] * w);
        }
        self.transform.process_with_scratch(&mut self.work, &mut self.scratch);
        for (k, sum) in self.sums.iter_mut().enumerate() {
            *sum += self.work[k].norm_sqr() + self.work[(SIZE - k) % SIZE].norm_sqr();
        }
        self.spectra += 1;
    }

    /// The steepest wall.
    pub fn finish(&self) -> Option<CutOff> {
        let bin_hz = self.rate_hz / SIZE as f64;
        let scale = 1.0 / (self.spectra.max(1) * SIZE * SIZE) as f64;
        let levels: Vec<f64> = self.sums.iter().map(|sum| units::db_from_power(sum * scale + FLOOR_POWER)).collect();
        let (gap, beside) = ((GAP_HZ / bin_hz) as usize, (BESIDE_HZ / bin_hz) as usize);
        let mean = |range: &[f64]| range.iter().sum::<f64>() / range.len().max(1) as f64;
        let wall = |k: usize| {
            let (below, above) = (
                mean(&levels[k - gap - beside..k - gap]),
                mean(&levels[k + gap..(k + gap + beside).min(levels.len())]),
            );
            let stays = levels[k + gap..].chunks(beside / 4).all(|part| mean(part) < below - STAYS_DB);
            (below - above >= FALL_DB && stays).then_some(CutOff { hz: k as f64 * bin_hz, fall_db: below - above })
        };
        let last = ((TO_SHARE * self.rate_hz / bin_hz) as usize).min(levels.len().saturating_sub(gap + beside / 4));
        let places = ((FROM_HZ / bin_hz) as usize).max(gap + beside)..last;
        let walls: Vec<CutOff> = places.filter_map(wall).collect();
        let steepest = walls.iter().max_by(|a, b| a.fall_db.total_cmp(&b.fall_db))?;
        // As steep from some way below it to some way above it: the middle of these.
        let same =
            |wall: &&CutOff| wall.fall_db > steepest.fall_db - SAME_DB && (wall.hz - steepest.hz).abs() < BESIDE_HZ;
        let hz: Vec<f64> = walls.iter().filter(same).map(|wall| wall.hz).collect();
        Some(CutOff { hz: hz.iter().sum::<f64>() / hz.len() as f64, fall_db: steepest.fall_db })
    }
}
