//! Tests of decay times, against figures from outside.

use super::*;
use chance::Random;

/// Six times the natural logarithm of ten: the decay of power in one reverberation time.
const K: f64 = 13.815_510_557_964_274;

fn exponential(t_secs: f64, secs: f64, rate_hz: f64) -> Vec<f64> {
    (0..(secs * rate_hz) as usize).map(|n| libm::exp(-K / 2.0 * n as f64 / rate_hz / t_secs)).collect()
}

fn noise_tail(t_secs: f64, secs: f64, rate_hz: f64, seed: u64) -> Vec<f64> {
    let mut random = Random(seed);
    exponential(t_secs, secs, rate_hz).into_iter().map(|x| x * random.normal()).collect()
}

fn near(value: Option<f64>, expected: f64, tolerance: f64) -> bool {
    value.is_some_and(|value| (value - expected).abs() <= tolerance)
}

#[test]
fn an_exponential_decay_has_its_closed_forms() {
    // ISO 3382-1's definitions on exp(-k t / T): C80 = 10 log10(e^(0.08 k/T) - 1), D50 = 1 - e^(-0.05 k/T), Ts = T/k.
    let table = [
        (0.3, 15.88952, 0.9, 21.71472),
        (0.8, 4.74372, 0.578303, 57.90593),
        (1.5, 0.37146, 0.369043, 108.57362),
        (3.0, -3.51211, 0.205672, 217.14724),
    ];
    for (t_secs, c80_db, d50, ts_ms) in table {
        for rate_hz in [44_100.0, 48_000.0, 96_000.0] {
            let found = decay(&exponential(t_secs, 2.0 * t_secs, rate_hz), rate_hz);
            for time in [found.edt_s, found.t20_s, found.t30_s] {
                assert!(near(time, t_secs, 0.001 * t_secs), "{t_secs}: {found:?}");
            }
            assert!(near(found.c80_db, c80_db, 0.01) && near(found.d50, d50, 0.001), "{t_secs}: {found:?}");
            assert!(near(found.ts_ms, ts_ms, 0.1), "{t_secs}: {found:?}");
        }
    }
}

#[test]
fn a_noise_tail_reads_within_its_own_spread_in_each_octave() {
    for (t_secs, seed) in [(0.5, 4), (1.2, 5), (2.5, 6)] {
        let tail = noise_tail(t_secs, 1.5 * t_secs, 48_000.0, seed);
        let whole = decay(&tail, 48_000.0);
        assert!(near(whole.t20_s, t_secs, 0.02 * t_secs) && near(whole.t30_s, t_secs, 0.02 * t_secs), "{whole:?}");
        for band in octave_decays(&tail, 48_000.0) {
            // Standard deviation of T30 of noise in an octave: 0.55 T / sqrt(B T), B = 0.71 fc (ISO 3382-2, from memory);
            // three of them. From 1 kHz up that is within the just noticeable 5 % of ISO 3382-1, table A.1.
            let share = 3.0 * 0.55 / (0.71 * band.centre_hz * t_secs).sqrt();
            assert!(near(band.decay.t30_s, t_secs, share * t_secs), "{t_secs} +-{share}: {band:?}");
        }
    }
}

#[test]
fn bands_are_measured_apart() {
    // Low frequencies that ring 2 s under high ones that ring 0.5 s.
    let (mut random, rate_hz) = (Random(7), 48_000.0);
    let mut low = 0.0;
    let tail: Vec<f64> = exponential(2.0, 3.0, rate_hz)
        .iter()
        .zip(exponential(0.5, 3.0, rate_hz))
        .map(|(slow, fast)| {
            low += 0.02 * (random.normal() - low);
            6.0 * low * slow + random.normal() * fast
        })
        .collect();
    let bands = octave_decays(&tail, rate_hz);
    assert_eq!(bands.len(), 8);
    assert!(near(bands[0].decay.t20_s, 2.0, 0.3), "{:?}", bands[0]);
    assert!(near(bands[7].decay.edt_s, 0.5, 0.1), "{:?}", bands[7]);
}

#[test]
fn noise_in_the_recording_bounds_what_is_read() {
    let rate_hz = 48_000.0;
    let mut random = Random(5);
    let with_noise = |db: f64, random: &mut Random| -> Vec<f64> {
        let noise = units::gain_from_db(db);
        noise_tail(1.0, 2.5, rate_hz, 4).into_iter().map(|x| x + noise * random.normal()).collect()
    };
    let clean = decay(&with_noise(-60.0, &mut random), rate_hz);
    assert!(near(clean.t30_s, 1.0, 0.03), "{clean:?}");
    let poor = decay(&with_noise(-38.0, &mut random), rate_hz);
    assert!(near(poor.t20_s, 1.0, 0.05) && poor.t30_s.is_none(), "{poor:?}");
    let useless = decay(&with_noise(-15.0, &mut random), rate_hz);
    assert_eq!((useless.t20_s, useless.t30_s), (None, None));
}

#[test]
fn what_the_noise_hides_is_made_up() {
    // Noise 48 dB down: 1.017 s if it stayed in the sum, 0.996 s without what lies beyond the cut.
    let mut random = Random(11);
    let noise = units::gain_from_db(-48.0);
    let response: Vec<f64> = exponential(1.0, 2.0, 48_000.0).into_iter().map(|x| x + noise * random.normal()).collect();
    let found = decay(&response, 48_000.0);
    assert!(near(found.t30_s, 1.0, 0.004), "{found:?}");
}

#[test]
fn pre_delay_does_not_count() {
    // Nor does what creeps in 40 dB below the peak.
    let mut random = Random(3);
    let mut late: Vec<f64> = (0..5000).map(|_| 0.01 * random.even()).collect();
    late.extend(exponential(0.8, 1.6, 48_000.0));
    let found = decay(&late, 48_000.0);
    assert!(near(found.c80_db, 4.74372, 0.01) && near(found.ts_ms, 57.906, 0.1), "{found:?}");
}

#[test]
fn what_a_filter_rings_ahead_of_the_sound_counts_as_early() {
    // Two equal clicks a tenth of a second apart: half of the energy is early, in every band.
    let mut clicks = vec![0.0; 48_000];
    clicks[9600] = 1.0;
    clicks[14_400] = 1.0;
    for band in octave_decays(&clicks, 48_000.0).into_iter().skip(1) {
        assert!(near(band.decay.d50, 0.5, 0.02), "{band:?}");
    }
}

#[test]
fn silence_and_clicks_have_no_decay() {
    assert_eq!(decay(&[0.0; 1000], 48_000.0), Decay::default());
    assert!(octave_decays(&[], 48_000.0).is_empty());
    let mut click = vec![0.0; 48_000];
    click[100] = 1.0;
    let found = decay(&click, 48_000.0);
    assert_eq!((found.t30_s, found.c80_db, found.d50), (None, None, Some(1.0)));
}

#[test]
fn curve_falls_sixty_decibels_in_a_reverberation_time() {
    let curve = decay_curve(&exponential(1.0, 2.0, 48_000.0), 48_000.0);
    assert_eq!(curve[0], (0.0, 0.0));
    let at = curve.iter().find(|(secs, _)| (*secs - 1.0).abs() < 1e-9).expect("a point");
    assert!((at.1 + 60.0).abs() < 0.1, "{at:?}");
}
