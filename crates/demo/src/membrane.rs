//! Drum heads: the modes of a circular membrane, struck somewhere, with tension that rises with the stroke.

use libm::jn;

use crate::human::Chance;
use crate::modes::{Mode, Modes, stroke};

/// Zeros of the Bessel functions, `J_m(z) = 0`: (m, n-th zero). A membrane's mode (m, n) has the frequency ratio
/// `z_mn / z_01`; the table is checked against the roots themselves and against the published ratios.
const ZEROS: [(i32, f64); 20] = [
    (0, 2.404_825_558),
    (1, 3.831_705_970),
    (2, 5.135_622_302),
    (0, 5.520_078_110),
    (3, 6.380_161_896),
    (1, 7.015_586_670),
    (4, 7.588_342_435),
    (2, 8.417_244_140),
    (0, 8.653_727_913),
    (5, 8.771_483_816),
    (3, 9.761_023_130),
    (6, 9.936_109_524),
    (1, 10.173_468_135),
    (4, 11.064_709_489),
    (7, 11.086_370_019),
    (2, 11.619_841_173),
    (0, 11.791_534_439),
    (5, 12.338_604_197),
    (3, 13.015_200_722),
    (1, 13.323_691_936),
];

/// A drum head and how it is struck and damped.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Head {
    /// The fundamental at rest, mode (0, 1).
    pub(crate) hz: f64,
    /// Decay of the fundamental by 60 dB.
    pub(crate) t60_s: f64,
    /// How much faster higher modes die: decay falls as `1 / (1 + damping (ratio - 1))`.
    pub(crate) damping: f64,
    /// Where the stroke lands: 0 the middle, 1 the rim.
    pub(crate) radius: f64,
    /// Upward shift of pitch at the hardest stroke: the stretched head is tighter.
    pub(crate) glide: f64,
    /// Time in which that shift falls by 63 %.
    pub(crate) glide_s: f64,
    /// Contact at the hardest stroke; softer ones stay longer.
    pub(crate) contact_ms: f64,
    /// Fall of radiated level per octave above the fundamental.
    pub(crate) tilt_db: f64,
}

impl Head {
    /// The head's modes. A stroke at radius r drives mode (m, n) by `J_m(z_mn r)`.
    pub(crate) fn modes(&self) -> impl Iterator<Item = Mode> + '_ {
        ZEROS.iter().map(move |&(m, zero)| {
            let ratio = zero / ZEROS[0].1;
            let tilt = units::gain_from_db(-self.tilt_db * libm::log2(ratio));
            Mode {
                hz: self.hz * ratio,
                t60_s: self.t60_s / (1.0 + self.damping * (ratio - 1.0)),
                gain: jn(m, zero * self.radius) * tilt,
            }
        })
    }

    /// Adds one stroke to a track. The louder the stroke, the shorter the contact and the wider the glide.
    pub(crate) fn strike(&self, track: &mut [f64], force: f64, rate_hz: f64, chance: &mut Chance) {
        let here = Self { radius: (self.radius + 0.03 * chance.normal()).clamp(0.0, 0.95), ..*self };
        let mut bank = Modes::new(here.modes(), rate_hz);
        let push = stroke(self.contact_ms * (1.6 - 0.6 * force), rate_hz);
        let frames = track.len().min((1.2 * self.t60_s * rate_hz) as usize);
        let mut bend = self.glide * force * force;
        let slow_down = libm::exp(-32.0 / (self.glide_s * rate_hz));
        for (n, y) in track[..frames].iter_mut().enumerate() {
            if n.is_multiple_of(32) && bend > 1e-5 {
                bank.tune(1.0 + bend, f64::INFINITY);
                bend *= slow_down;
            }
            *y += bank.tick(force * push.get(n).copied().unwrap_or(0.0));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn modes_stand_at_the_published_ratios() {
        let head = Head {
            hz: 100.0,
            t60_s: 1.0,
            damping: 0.0,
            radius: 0.5,
            glide: 0.0,
            glide_s: 0.1,
            contact_ms: 1.0,
            tilt_db: 0.0,
        };
        let ratios: Vec<f64> = head.modes().map(|m| m.hz / 100.0).collect();
        // Rayleigh, Theory of Sound, section 206; Fletcher and Rossing, The Physics of Musical Instruments, table of
        // the ideal membrane (from memory, the first eight).
        for (got, published) in ratios.iter().zip([1.0, 1.594, 2.136, 2.296, 2.653, 2.918, 3.156, 3.501]) {
            assert!((got - published).abs() < 1e-3, "{got} {published}");
        }
        for (m, zero) in ZEROS {
            assert!(jn(m, zero).abs() < 1e-9, "J_{m}({zero})");
        }
    }

    #[test]
    fn a_stroke_in_the_middle_leaves_diametral_modes_silent() {
        let head = Head {
            hz: 100.0,
            t60_s: 1.0,
            damping: 0.0,
            radius: 0.0,
            glide: 0.0,
            glide_s: 0.1,
            contact_ms: 1.0,
            tilt_db: 0.0,
        };
        for (mode, (m, _)) in head.modes().zip(ZEROS) {
            assert_eq!(m == 0, mode.gain.abs() > 0.5, "{mode:?}");
        }
    }
}
