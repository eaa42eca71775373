//! The voice's source: airflow through the vocal folds after Liljencrants and Fant (STL-QPSR 4/1985), shaped by one
//! number, Rd (Fant 1995): about 0.5 is pressed, 1 speaks, 2.5 breathes.

use std::f64::consts::{PI, TAU};

use libm::{exp, sin, sincos};

/// Points of a table's period.
const POINTS: usize = 2048;
/// Highest harmonic kept; what would lie above is left out, so nothing folds back.
const CEILING_HZ: f64 = 18_000.0;
/// Tables are made for fundamentals a quarter octave apart from here up.
const LOWEST_HZ: f64 = 110.0;
const TABLES: usize = 11;

/// The flow's derivative over one period of length 1, at its four instants.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Pulse {
    te: f64,
    ta: f64,
    wg: f64,
    alpha: f64,
    epsilon: f64,
    e0: f64,
}

impl Pulse {
    /// The pulse of an Rd. The growth `alpha` is solved so that the flow returns to zero.
    pub(crate) fn of_rd(rd: f64) -> Self {
        let ra = (-1.0 + 4.8 * rd) / 100.0;
        let rk = (22.4 + 11.8 * rd) / 100.0;
        let rg = rk / (4.0 * (0.11 * rd / (0.5 + 1.2 * rk) - ra));
        let tp = 1.0 / (2.0 * rg);
        let te = tp * (1.0 + rk);
        let (ta, wg) = (ra, PI / tp);
        let mut epsilon = 1.0 / ta;
        for _ in 0..60 {
            epsilon = (1.0 - exp(-epsilon * (1.0 - te))) / ta;
        }
        let mut pulse = Self { te, ta, wg, alpha: 0.0, epsilon, e0: 0.0 };
        let (mut low, mut high) = (-20.0, 60.0);
        for _ in 0..60 {
            pulse.alpha = f64::midpoint(low, high);
            pulse.e0 = -1.0 / (exp(pulse.alpha * te) * sin(wg * te));
            if pulse.area() > 0.0 { low = pulse.alpha } else { high = pulse.alpha }
        }
        pulse
    }

    /// The derivative at a time of 0 to 1; its greatest fall, at `te`, is -1.
    pub(crate) fn at(&self, t: f64) -> f64 {
        if t <= self.te {
            self.e0 * exp(self.alpha * t) * sin(self.wg * t)
        } else {
            -(exp(-self.epsilon * (t - self.te)) - exp(-self.epsilon * (1.0 - self.te))) / (self.epsilon * self.ta)
        }
    }

    /// What the flow has gained over the period: closed form of the integral of `at`.
    fn area(&self) -> f64 {
        let (a, w, te) = (self.alpha, self.wg, self.te);
        let (s, c) = sincos(w * te);
        let open = self.e0 * (exp(a * te) * (a * s - w * c) + w) / (a * a + w * w);
        let (e, rest) = (self.epsilon, 1.0 - te);
        let back = -((1.0 - exp(-e * rest)) / e - rest * exp(-e * rest)) / (e * self.ta);
        open + back
    }
}

/// The source of one Rd at any fundamental, as tables of harmonics.
pub(crate) struct Source {
    tables: Vec<Vec<f64>>,
}

impl Source {
    pub(crate) fn new(rd: f64) -> Self {
        let pulse = Pulse::of_rd(rd);
        let period: Vec<f64> = (0..POINTS).map(|n| pulse.at((n as f64 + 0.5) / POINTS as f64)).collect();
        let wave: Vec<(f64, f64)> = (0..POINTS).map(|n| sincos(TAU * n as f64 / POINTS as f64)).collect();
        let most = (CEILING_HZ / LOWEST_HZ) as usize;
        let harmonics: Vec<(f64, f64)> = (1..=most)
            .map(|k| {
                let sum = period.iter().enumerate().fold((0.0, 0.0), |(re, im), (n, x)| {
                    let (s, c) = wave[k * n % POINTS];
                    (re + x * c, im + x * s)
                });
                (2.0 * sum.0 / POINTS as f64, 2.0 * sum.1 / POINTS as f64)
            })
            .collect();
        let tables = (0..TABLES).map(|table| {
            let highest = LOWEST_HZ * libm::exp2((table as f64 + 1.0) / 4.0);
            let kept = ((CEILING_HZ / highest) as usize).min(most);
            let point = |n: usize| {
                let part = |(k, (re, im)): (usize, &(f64, f64))| {
                    let (s, c) = wave[(k + 1) * n % POINTS];
                    re * c + im * s
                };
                harmonics[..kept].iter().enumerate().map(part).sum()
            };
            (0..POINTS).map(point).collect()
        });
        Self { tables: tables.collect() }
    }

    /// Number of the table for a fundamental.
    pub(crate) fn table(&self, hz: f64) -> usize {
        (4.0 * libm::log2(hz / LOWEST_HZ)).clamp(0.0, (TABLES - 1) as f64) as usize
    }

    /// The source at a phase of 0 to 1.
    #[inline]
    pub(crate) fn at(&self, table: usize, phase: f64) -> f64 {
        let place = phase * POINTS as f64;
        let whole = place as usize;
        let rest = place - whole as f64;
        let table = &self.tables[table];
        let (a, b) = (table[whole % POINTS], table[(whole + 1) % POINTS]);
        a + rest * (b - a)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_pulse_meets_the_models_conditions() {
        for rd in [0.6, 1.0, 1.7, 2.4] {
            let pulse = Pulse::of_rd(rd);
            // Liljencrants and Fant: greatest fall Ee (here 1) at te, no net flow gained, flow ends at zero slope.
            assert!((pulse.at(pulse.te) + 1.0).abs() < 1e-9);
            let gained: f64 = (0..100_000).map(|n| pulse.at((f64::from(n) + 0.5) / 1e5)).sum::<f64>() / 1e5;
            assert!(gained.abs() < 1e-5, "Rd {rd}: {gained}");
            assert!(pulse.at(1.0).abs() < 1e-9);
            // Fant 1995: Rd = U0 / (Ee T0 0.11), with the flow's peak U0. His regression is a fit, within 10 % of it.
            let mut flow = 0.0;
            let peak = (0..10_000).fold(0.0_f64, |peak, n| {
                flow += pulse.at((f64::from(n) + 0.5) / 1e4) / 1e4;
                peak.max(flow)
            });
            assert!((peak / 0.11 / rd - 1.0).abs() < 0.1, "Rd {rd}: {}", peak / 0.11);
        }
    }

    #[test]
    fn a_breathy_voice_has_less_treble() {
        let power = |source: &Source, from: usize| -> f64 {
            let x: Vec<f64> = (0..POINTS).map(|n| source.at(4, n as f64 / POINTS as f64)).collect();
            (from..40)
                .map(|k| {
                    let (re, im) = x.iter().enumerate().fold((0.0, 0.0), |(re, im), (n, x)| {
                        let (s, c) = sincos(TAU * (k * n) as f64 / POINTS as f64);
                        (re + x * c, im + x * s)
                    });
                    re * re + im * im
                })
                .sum()
        };
        let tilt = |rd: f64| {
            let s = Source::new(rd);
            10.0 * libm::log10(power(&s, 10) / power(&s, 1))
        };
        assert!(tilt(0.8) > tilt(2.2) + 6.0);
    }
}
