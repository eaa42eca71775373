//! Wow and flutter: the tape's speed wanders, and with it the pitch.
//!
//! The delay moves by sines of the clock, so every lane moves alike. Each sine's frequency is a point of the weighting
//! curve of AES6-2008, Table 1 (IEC 60386, DIN 45507). A setting is the **weighted peak deviation in per cent**: the
//! weighted peaks of its sines sum to it (the two-sigma figure that the standard quotes lies a little below).
//!
//! At rest the delay is a whole number of frames and nothing is interpolated.

use std::f64::consts::{PI, TAU};

use units::{Block, Frame, SILENCE};

/// Most that either setting may be, in per cent.
pub const MOST_PERCENT: f64 = 0.3;

/// Frequencies with their weights in dB (AES6-2008, Table 1).
const WOW: [(f64, f64); 2] = [(0.63, -8.4), (1.0, -4.2)];
const FLUTTER: [(f64, f64); 3] = [(6.3, -0.9), (10.0, -2.1), (20.0, -5.9)];

/// Taps of the interpolator either side, and how finely it is tabled. Linear between table rows.
const SIDE: usize = 12;
const ROWS: usize = 512;
/// Kaiser window of the interpolator: within 0.05 dB to 18 kHz at 44.1 kHz.
const BETA: f64 = 6.0;

/// Seconds in which a depth travels its whole range, so that a change does not chirp.
const TRAVEL_S: f64 = 2.0;

/// The moving delay, for every lane.
pub struct Transport {
    centre: usize,
    ring: Vec<Frame>,
    ring_frames: usize,
    at: usize,
    table: Vec<[f64; 2 * SIDE]>,
    sines: Vec<Sine>,
    /// Depths of wow and flutter in per cent, now and where they go.
    depths: [f64; 2],
    targets: [f64; 2],
    travel: f64,
    first_frame: u64,
    clock: u64,
    /// Whether the sines' pointers stand at the last frame.
    turning: bool,
}

/// One sine of the delay, by a rotating pointer.
struct Sine {
    kind: usize,
    /// Frames of delay for a depth of 1 %.
    frames_per_percent: f64,
    turn: [f64; 2],
    pointer: [f64; 2],
    cycles_per_frame: f64,
}

impl Transport {
    /// For a number of lanes, with depths of wow and flutter in per cent, from a frame of the song on.
    #[must_use]
    pub fn new(lanes: usize, depths: [f64; 2], rate_hz: f64, first_frame: u64) -> Self {
        let sines: Vec<Sine> = [&WOW[..], &FLUTTER[..]]
            .iter()
            .enumerate()
            .flat_map(|(kind, group)| {
                group.iter().map(move |&(hz, weight_db)| Sine::new(kind, hz, weight_db, group.len(), rate_hz))
            })
            .collect();
        let swing: f64 = sines.iter().map(|sine| sine.frames_per_percent * MOST_PERCENT).sum();
        let centre = swing.ceil() as usize + SIDE;
        let ring_frames = (2 * centre + 1).next_power_of_two();
        Self {
            centre,
            ring: vec![SILENCE; lanes * ring_frames],
            ring_frames,
            at: 0,
            table: interpolator(),
            sines,
            depths,
            targets: depths,
            travel: MOST_PERCENT / (TRAVEL_S * rate_hz),
            first_frame,
            clock: first_frame,
            turning: false,
        }
    }

    /// Frames of delay at rest.
    #[must_use]
    pub fn latency_frames(&self) -> usize {
        self.centre
    }

    /// Sends the depths elsewhere.
    pub fn go_to(&mut self, depths: [f64; 2]) {
        self.targets = depths;
    }

    /// Moves a block in place.
    pub fn process(&mut self, block: &mut Block<'_>) {
        let mask = self.ring_frames - 1;
        for n in 0..block.frames() {
            let swing = self.swing();
            for (ring, audio) in self.ring.chunks_exact_mut(self.ring_frames).zip(block.lanes_mut()) {
                ring[self.at] = audio[n];
                audio[n] = if swing == 0.0 {
                    ring[self.at.wrapping_sub(self.centre) & mask]
                } else {
                    read(&self.table, ring, self.at, self.centre as f64 + swing)
                };
            }
            self.at = (self.at + 1) & mask;
        }
    }

    /// Frames by which the next frame's delay differs from the centre.
    fn swing(&mut self) -> f64 {
        self.clock += 1;
        if self.depths == [0.0; 2] && self.targets == [0.0; 2] {
            self.turning = false;
            return 0.0;
        }
        for (depth, target) in self.depths.iter_mut().zip(self.targets) {
            *depth += (target - *depth).clamp(-self.travel, self.travel);
        }
        // Exact now and then, so that rounding cannot add up.
        let exact = !self.turning || self.clock.is_multiple_of(4096);
        self.turning = true;
        let (clock, depths) = (self.clock, self.depths);
        let sines = self.sines.iter_mut();
        sines.map(|sine| depths[sine.kind] * sine.frames_at(clock, exact)).sum()
    }

    /// Silent, at the start of its sines, depths arrived.
    pub fn reset(&mut self) {
        self.ring.fill(SILENCE);
        self.at = 0;
        self.depths = self.targets;
        (self.clock, self.turning) = (self.first_frame, false);
    }
}

impl Sine {
    fn new(kind: usize, hz: f64, weight_db: f64, count: usize, rate_hz: f64) -> Self {
        // Speed deviation p sin(w t) is delay p/w: the unweighted peak for 1 % of weighted peak shared by `count` sines.
        let peak = 0.01 / count as f64 / units::gain_from_db(weight_db);
        let (sin, cos) = libm::sincos(TAU * hz / rate_hz);
        Self {
            kind,
            frames_per_percent: peak / (TAU * hz) * rate_hz,
            turn: [cos, sin],
            pointer: [1.0, 0.0],
            cycles_per_frame: hz / rate_hz,
        }
    }

    /// Frames of delay for a depth of 1 % at a frame, by one turn of the pointer or anew.
    fn frames_at(&mut self, clock: u64, exact: bool) -> f64 {
        let [x, y] = self.pointer;
        let [cos, sin] = self.turn;
        self.pointer = if exact {
            let cycles = clock as f64 * self.cycles_per_frame;
            let (sin, cos) = libm::sincos(TAU * (cycles - cycles.floor()));
            [cos, sin]
        } else {
            [x * cos - y * sin, x * sin + y * cos]
        };
        self.frames_per_percent * self.pointer[1]
    }
}

/// Windowed sinc for each of [`ROWS`] + 1 fractions of a frame, each row summing to one.
fn interpolator() -> Vec<[f64; 2 * SIDE]> {
    let row = |row: usize| {
        let fraction = row as f64 / ROWS as f64;
        let mut taps: [f64; 2 * SIDE] = std::array::from_fn(|k| {
            let x = k as f64 - (SIDE - 1) as f64 - fraction;
            let across = x / SIDE as f64;
            let window = crate::oversample::bessel_i0(BETA * (1.0 - across * across).max(0.0).sqrt());
            let sinc = if x.abs() < 1e-9 { 1.0 } else { libm::sin(PI * x) / (PI * x) };
            sinc * window
        });
        let sum: f64 = taps.iter().sum();
        taps.iter_mut().for_each(|tap| *tap /= sum);
        taps
    };
    (0..=ROWS).map(row).collect()
}

/// The frame `delay` frames before `at`.
fn read(table: &[[f64; 2 * SIDE]], ring: &[Frame], at: usize, delay: f64) -> Frame {
    let whole = delay.floor();
    // Taps run from the oldest to the newest frame; the fraction counts towards the newer.
    let place = (1.0 - (delay - whole)) * ROWS as f64;
    let row = (place as usize).min(ROWS - 1);
    let share = place - row as f64;
    let first = at.wrapping_sub(whole as usize + SIDE);
    let mut sum = SILENCE;
    for (k, (a, b)) in table[row].iter().zip(&table[row + 1]).enumerate() {
        let tap = a + share * (b - a);
        let frame = ring[first.wrapping_add(k) & (ring.len() - 1)];
        sum[0] += tap * frame[0];
        sum[1] += tap * frame[1];
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::RATES_HZ;

    /// Instantaneous frequency of a tone, by the phase of its analytic pair, relative to its own.
    fn deviations(wow: f64, flutter: f64, rate_hz: f64, frames: usize) -> Vec<f64> {
        let mut transport = Transport::new(1, [wow, flutter], rate_hz, 0);
        // The carrier of the standard, 3150 Hz, as a sine and a cosine on the two channels.
        let turn = TAU * 3150.0 / rate_hz;
        let mut audio: Vec<Frame> = (0..frames)
            .map(|n| {
                let (sin, cos) = libm::sincos(turn * n as f64);
                [cos, sin]
            })
            .collect();
        transport.process(&mut Block::key_only(&mut audio));
        audio[2000..]
            .windows(2)
            .map(|pair| {
                let ([a, b], [c, d]) = (pair[0], pair[1]);
                libm::atan2(a * d - b * c, a * c + b * d) / turn - 1.0
            })
            .collect()
    }

    #[test]
    fn the_speed_wanders_by_the_weighted_peaks_of_the_standard() {
        for rate_hz in RATES_HZ {
            // AES6-2008, Table 1: weights in dB.
            let (slow, fast) = ([(0.63, -8.4), (1.0, -4.2)], [(6.3, -0.9), (10.0, -2.1), (20.0, -5.9)]);
            for (wow, flutter, group) in [(0.1, 0.0, &slow[..]), (0.0, 0.1, &fast[..])] {
                let speed = deviations(wow, flutter, rate_hz, (21.25 * rate_hz) as usize + 2001);
                // 0.1 % in all; each line's weighted amplitude is its share. A Hann window over 21 s keeps the lines apart.
                let n = speed.len();
                for (hz, weight_db) in group {
                    let (mut re, mut im, mut whole) = (0.0, 0.0, 0.0);
                    for (k, deviation) in speed.iter().enumerate() {
                        let window = 0.5 - 0.5 * libm::cos(TAU * k as f64 / n as f64);
                        let (sin, cos) = libm::sincos(TAU * hz * k as f64 / rate_hz);
                        re += window * deviation * cos;
                        im += window * deviation * sin;
                        whole += window;
                    }
                    let amplitude = 2.0 * (re * re + im * im).sqrt() / whole * units::gain_from_db(*weight_db);
                    let expected = 0.001 / group.len() as f64;
                    assert!((amplitude / expected - 1.0).abs() < 0.02, "{hz} Hz: {amplitude} for {expected}");
                }
            }
        }
    }

    #[test]
    fn at_rest_it_is_a_delay_of_whole_frames() {
        let mut transport = Transport::new(1, [0.0; 2], 44_100.0, 0);
        let mut audio: Vec<Frame> = (1..1000).map(|n| [f64::from(n), 1.0 / f64::from(n)]).collect();
        let input = audio.clone();
        transport.process(&mut Block::key_only(&mut audio));
        let late = transport.latency_frames();
        assert_eq!(audio[late..], input[..999 - late]);
    }

    #[test]
    fn a_delay_between_frames_is_read_where_it_lies() {
        let table = interpolator();
        let wave = |n: f64| [libm::sin(0.3 * n), libm::cos(0.3 * n)];
        let ring: Vec<Frame> = (0..128).map(|n| wave(f64::from(n))).collect();
        for delay in [20.0, 20.25, 33.999, 50.5] {
            let (got, exact) = (read(&table, &ring, 100, delay), wave(100.0 - delay));
            assert!((got[0] - exact[0]).abs() < 1e-3 && (got[1] - exact[1]).abs() < 1e-3, "{delay}: {got:?} {exact:?}");
        }
    }

    #[test]
    fn the_interpolator_is_flat_to_18_khz_at_44_1_khz() {
        let table = interpolator();
        for row in [0, 1, 100, 256, 400, 511] {
            for hz in [100.0, 5000.0, 10_000.0, 15_000.0, 18_000.0] {
                let turn = TAU * hz / 44_100.0;
                let x = |k: usize| k as f64 - (SIDE - 1) as f64 - row as f64 / ROWS as f64;
                let (mut re, mut im) = (0.0, 0.0);
                for (k, tap) in table[row].iter().enumerate() {
                    re += tap * libm::cos(turn * x(k));
                    im += tap * libm::sin(turn * x(k));
                }
                let db = 10.0 * libm::log10(re * re + im * im);
                assert!(db.abs() < 0.05 && im.abs() < 0.006, "row {row}, {hz} Hz: {db} dB, {im}");
            }
        }
    }
}
