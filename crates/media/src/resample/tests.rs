//! The converter against closed forms: a tone at one rate is the same tone at another.

use std::f64::consts::TAU;

use super::*;

/// The rates of songs.
const SONG_RATES_HZ: [u32; 6] = [44_100, 48_000, 88_200, 96_000, 176_400, 192_000];

fn tone(hz: f64, rate_hz: u32, frames: usize) -> Vec<Frame> {
    let angle = |n: usize| TAU * ((hz * n as f64 / f64::from(rate_hz)) % 1.0);
    (0..frames).map(|n| [libm::sin(angle(n)), libm::cos(angle(n))]).collect()
}

fn converted(input: &[Frame], from_hz: u32, to_hz: u32) -> Vec<Frame> {
    let mut converter = RateConverter::new(from_hz, to_hz).expect("a workable ratio");
    let mut out = Vec::new();
    converter.convert(input, &mut out);
    converter.finish(&mut out);
    out
}

/// Largest difference of two signals away from their ends, in dB of full scale.
fn difference_db(a: &[Frame], b: &[Frame]) -> f64 {
    let edge = a.len() / 4;
    let inner = edge..a.len() - edge;
    let worst = inner.flat_map(|i| [a[i][0] - b[i][0], a[i][1] - b[i][1]]).fold(0.0_f64, |worst, d| worst.max(d.abs()));
    units::db_from_gain(worst)
}

#[test]
fn tones_up_to_20_khz_come_out_as_themselves_without_delay() {
    // The sampled sine at the new rate is the closed form: level, phase, images and aliases in one figure.
    for from_hz in SONG_RATES_HZ {
        for to_hz in SONG_RATES_HZ {
            if from_hz == to_hz {
                continue;
            }
            for hz in [0.0, 20.0, 997.0, 9_999.0, 20_000.0] {
                let out = converted(&tone(hz, from_hz, from_hz as usize / 10), from_hz, to_hz);
                let db = difference_db(&out, &tone(hz, to_hz, out.len()));
                assert!(db < -165.0, "{hz} Hz from {from_hz} to {to_hz} Hz: {db:.1} dB");
            }
        }
    }
}

#[test]
fn low_rates_convert_upwards() {
    for from_hz in [8_000, 11_025, 16_000, 22_050, 24_000, 32_000] {
        for to_hz in [44_100, 48_000, 96_000, 192_000] {
            let hz = 0.45 * f64::from(from_hz);
            let out = converted(&tone(hz, from_hz, from_hz as usize / 4), from_hz, to_hz);
            let db = difference_db(&out, &tone(hz, to_hz, out.len()));
            assert!(db < -165.0, "{hz} Hz from {from_hz} to {to_hz} Hz: {db:.1} dB");
        }
    }
}

#[test]
fn what_the_new_rate_cannot_hold_is_gone() {
    // soxr at its finest leaves -193 dB of these tones in 96 to 44.1 kHz, and -138 dB at its second finest setting.
    for (from_hz, to_hz, tones) in [
        (96_000, 44_100, [22_050.0, 23_000.0, 30_000.0, 47_000.0]),
        (48_000, 44_100, [22_051.0, 22_500.0, 23_000.0, 23_900.0]),
        (192_000, 48_000, [24_000.0, 25_000.0, 60_000.0, 95_000.0]),
    ] {
        for hz in tones {
            let out = converted(&tone(hz, from_hz, from_hz as usize / 5), from_hz, to_hz);
            let db = difference_db(&out, &vec![SILENCE; out.len()]);
            assert!(db < -165.0, "{hz} Hz from {from_hz} to {to_hz} Hz: {db:.1} dB");
        }
    }
}

#[test]
fn lengths_are_exact() {
    let frames = |from_hz, to_hz, n| RateConverter::new(from_hz, to_hz).expect("a ratio").output_frames(n);
    // One minute is one minute; a float ratio gives 2 880 001 here.
    assert_eq!(frames(44_100, 48_000, 2_646_000), 2_880_000);
    assert_eq!(frames(48_000, 44_100, 2_880_000), 2_646_000);
    assert_eq!(frames(48_000, 44_100, 1), 1);
    assert_eq!(frames(44_100, 48_000, 1), 2);
    assert_eq!(frames(44_100, 192_000, 0), 0);
    for n in [0_usize, 1, 5, 146, 147, 148, 10_007] {
        let out = converted(&vec![[0.5; 2]; n], 44_100, 48_000);
        assert_eq!(out.len() as u64, frames(44_100, 48_000, n as u64));
    }
}

#[test]
fn the_samples_do_not_depend_on_how_the_input_is_cut_or_where_one_starts() {
    let input = chance::Random(1).signal(9000, 1.0);
    for (from_hz, to_hz) in [(44_100, 48_000), (96_000, 44_100), (48_000, 192_000)] {
        let whole = converted(&input, from_hz, to_hz);
        let mut converter = RateConverter::new(from_hz, to_hz).expect("a ratio");
        let mut out = Vec::new();
        for part in input.chunks(37) {
            converter.convert(part, &mut out);
        }
        converter.finish(&mut out);
        assert!(out == whole);
        for at in [0, 1, 77, whole.len() - 3, whole.len()] {
            let first = converter.restart(at as u64) as usize;
            let mut out = Vec::new();
            converter.convert(&input[first..], &mut out);
            converter.finish(&mut out);
            assert!(out == whole[at..], "{from_hz} to {to_hz} Hz from frame {at}");
        }
    }
}

#[test]
fn what_is_alike_on_both_sides_stays_so_and_sides_do_not_meet() {
    let input: Vec<Frame> = tone(997.0, 44_100, 9000).into_iter().map(|[left, _]| [left; 2]).collect();
    let mono = converted(&input, 44_100, 48_000);
    assert!(mono.iter().all(|[left, right]| left == right));
    for silent in [0, 1] {
        let one: Vec<Frame> =
            input.iter().map(|frame| [0, 1].map(|side| if side == silent { 0.0 } else { frame[0] })).collect();
        let out = converted(&one, 44_100, 48_000);
        assert!(out.iter().all(|frame| frame[silent] == 0.0), "a silent side stays silent");
        assert!(out.iter().any(|frame| frame[1 - silent] != 0.0));
    }
    // Both sides share one transform: what the other leaves is rounding.
    let beside: Vec<Frame> = input.iter().enumerate().map(|(n, [left, _])| [*left, libm::sin(n as f64)]).collect();
    let left = |out: &[Frame]| out.iter().map(|frame| [frame[0]; 2]).collect::<Vec<_>>();
    let db = difference_db(&left(&mono), &left(&converted(&beside, 44_100, 48_000)));
    assert!(db < -295.0, "{db:.1} dB");
}

#[test]
fn ratios_that_are_too_fine_are_refused() {
    assert!(matches!(RateConverter::new(44_101, 191_999), Err(Reason::RatioTooFine { .. })));
    assert!(RateConverter::new(0, 48_000).is_err() && RateConverter::new(48_000, 0).is_err());
    // Pulled-down rates of film work.
    assert!(RateConverter::new(47_952, 48_000).is_ok());
}
