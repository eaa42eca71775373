//! Low cut and high cut of a return: Butterworth, second order (12 dB an octave), -3.01 dB at the corner.
//!
//! State-variable form with trapezoidal integrators, whose memory stays right while the corner moves (Zavalishin,
//! *The Art of VA Filter Design*, chapter 4: g = tan(pi f / rate), damping 2R = sqrt 2). Its magnitude never exceeds 1,
//! so it may sit inside a feedback loop. A cut that is off is exactly absent.

use std::f64::consts::{PI, SQRT_2};

use units::{Frame, Param, SILENCE, Unit};

use super::settle;
use crate::ramp::Ramp;

/// The high cut's greatest value stands for off.
pub(crate) const HIGH_CUT_OFF_HZ: f64 = 20_000.0;

/// Low cut; 0 is off.
pub(crate) const LOW_CUT: Param = Param::number(
    "low_cut_hz",
    Unit::Hertz,
    [0.0, 2000.0],
    0.0,
    "Cuts the return below this corner, 12 dB an octave, so that it leaves the low end alone; 0 is off.",
);

/// High cut; the top of its range is off.
pub(crate) const HIGH_CUT: Param = Param::number(
    "high_cut_hz",
    Unit::Hertz,
    [200.0, HIGH_CUT_OFF_HZ],
    HIGH_CUT_OFF_HZ,
    "Cuts the return above this corner, 12 dB an octave, so that it sits behind; 20 kHz is off.",
);

/// Which end is cut.
#[derive(Clone, Copy, Debug, PartialEq)]
enum End {
    Low,
    High,
}

/// One cut; the same for every lane.
#[derive(Clone, Copy, Debug)]
struct Cut {
    end: End,
    a1: f64,
    a2: f64,
    a3: f64,
    /// 0 off, 1 on: the way between is a fade.
    on: Ramp,
}

impl Cut {
    fn new(end: End) -> Self {
        Self { end, a1: 0.0, a2: 0.0, a3: 0.0, on: Ramp::at(0.0) }
    }

    fn set(&mut self, hz: f64, off: bool, rate_hz: f64) {
        let target = if off { 0.0 } else { 1.0 };
        if target != self.on.target() {
            self.on.go_to(target);
        }
        if !off {
            let g = libm::tan(PI * hz.clamp(1.0, 0.49 * rate_hz) / rate_hz);
            self.a1 = 1.0 / (1.0 + g * (g + SQRT_2));
            self.a2 = g * self.a1;
            self.a3 = g * self.a2;
        }
    }

    fn is_off(&self) -> bool {
        self.on.is_at_rest() && self.on.value() == 0.0
    }

    fn process(&self, memory: &mut [Frame; 2], chunk: &mut [Frame]) {
        if self.is_off() {
            *memory = [SILENCE; 2];
            return;
        }
        let mut on = self.on;
        let [mut s1, mut s2] = *memory;
        for frame in chunk.iter_mut() {
            let on = on.next_value();
            for c in 0..2 {
                let x = frame[c];
                let v3 = x - s2[c];
                let band = self.a1 * s1[c] + self.a2 * v3;
                let low = s2[c] + self.a2 * s1[c] + self.a3 * v3;
                s1[c] = settle(2.0 * band - s1[c]);
                s2[c] = settle(2.0 * low - s2[c]);
                let cut = if self.end == End::Low { x - SQRT_2 * band - low } else { low };
                frame[c] = if on == 1.0 { cut } else { x + on * (cut - x) };
            }
        }
        *memory = [s1, s2];
    }
}

/// Both cuts; the same for every lane.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Cuts {
    low: Cut,
    high: Cut,
}

/// The memory of both cuts of one lane.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct CutsMemory([[Frame; 2]; 2]);

impl Cuts {
    /// Cuts at rest at their settings.
    pub(crate) fn new(low_hz: f64, high_hz: f64, rate_hz: f64) -> Self {
        let mut cuts = Self { low: Cut::new(End::Low), high: Cut::new(End::High) };
        cuts.set(low_hz, high_hz, rate_hz);
        cuts.finish();
        cuts
    }

    /// Moves the corners.
    pub(crate) fn set(&mut self, low_hz: f64, high_hz: f64, rate_hz: f64) {
        self.low.set(low_hz, low_hz <= 0.0, rate_hz);
        self.high.set(high_hz, high_hz >= HIGH_CUT_OFF_HZ, rate_hz);
    }

    /// Cuts a chunk of a lane. Glides stay where they were: see [`Cuts::pass`].
    pub(crate) fn process(&self, memory: &mut CutsMemory, chunk: &mut [Frame]) {
        self.low.process(&mut memory.0[0], chunk);
        self.high.process(&mut memory.0[1], chunk);
    }

    /// Lets frames go by, once every lane has been through them.
    pub(crate) fn pass(&mut self, frames: usize) {
        super::pass(&mut self.low.on, frames);
        super::pass(&mut self.high.on, frames);
    }

    /// Ends the glides.
    pub(crate) fn finish(&mut self) {
        self.low.on.finish();
        self.high.on.finish();
    }

    /// Frames by which the cuts hold back the frequencies that pass them latest: the group delay of each stays below
    /// 2 / (2 pi corner).
    pub(crate) fn most_delay_frames(low_hz: f64, high_hz: f64, rate_hz: f64) -> f64 {
        let one = |hz: f64| rate_hz / (PI * hz);
        (if low_hz > 0.0 { one(low_hz.max(1.0)) } else { 0.0 })
            + if high_hz < HIGH_CUT_OFF_HZ { one(high_hz) } else { 0.0 }
    }

    /// Frames after which the memory has fallen by 120 dB: its slowest part decays as exp(-pi sqrt2 f t).
    pub(crate) fn tail_frames(low_hz: f64, high_hz: f64, rate_hz: f64) -> usize {
        let lowest = if low_hz > 0.0 { low_hz.max(1.0).min(high_hz) } else { high_hz };
        (13.9 / (PI * SQRT_2 * lowest) * rate_hz).ceil() as usize + 1
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Level in dB of a sine after the cuts, by correlation over whole periods once settled.
    fn level_db(cuts: &Cuts, hz: f64, rate_hz: f64) -> f64 {
        let mut memory = CutsMemory::default();
        let (mut re, mut im) = (0.0, 0.0);
        for n in 0..rate_hz as usize {
            let angle = 2.0 * PI * hz * n as f64 / rate_hz;
            let mut chunk = [[libm::sin(angle); 2]];
            cuts.process(&mut memory, &mut chunk);
            if n >= rate_hz as usize / 2 {
                re += chunk[0][0] * libm::sin(angle);
                im += chunk[0][0] * libm::cos(angle);
            }
        }
        units::db_from_power((re * re + im * im) * 16.0 / (rate_hz * rate_hz))
    }

    #[test]
    fn the_cuts_follow_the_butterworth_response() {
        // Butterworth 1930: |H|^2 = 1 / (1 + (f/fc)^4) for the second order; half power at the corner.
        for rate_hz in [44_100.0, 96_000.0] {
            let low = Cuts::new(200.0, HIGH_CUT_OFF_HZ, rate_hz);
            let high = Cuts::new(0.0, 2000.0, rate_hz);
            assert!((level_db(&low, 200.0, rate_hz) + 3.0103).abs() < 0.001);
            assert!((level_db(&low, 100.0, rate_hz) + 12.3045).abs() < 0.01);
            assert!((level_db(&high, 2000.0, rate_hz) + 3.0103).abs() < 0.001);
            assert!((level_db(&high, 1000.0, rate_hz) + 0.2633).abs() < 0.01);
        }
    }

    #[test]
    fn a_cut_that_is_off_changes_nothing() {
        let cuts = Cuts::new(0.0, HIGH_CUT_OFF_HZ, 48_000.0);
        let mut chunk = [[0.1, -0.7]; 5];
        cuts.process(&mut CutsMemory::default(), &mut chunk);
        assert_eq!(chunk, [[0.1, -0.7]; 5]);
    }
}
