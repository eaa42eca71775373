//! Tests of loudness, against figures from outside.

use super::*;
use crate::signals::{music, noise, steps, tone};

const RATES_HZ: [f64; 3] = [44_100.0, 48_000.0, 96_000.0];
/// Tolerance of EBU Tech 3341, Table 1, and what an exact reading of these synthetic signals leaves of it.
const TECH_3341_LU: f64 = 0.1;
const SILENT: f64 = f64::NEG_INFINITY;

fn read(frames: &[Frame], rate_hz: f64) -> LoudnessMeter {
    let mut meter = LoudnessMeter::new(rate_hz);
    meter.push(frames);
    meter
}

fn assert_near(what: &str, reading: Option<f64>, expected: f64, tolerance: f64) {
    let reading = reading.unwrap_or_else(|| panic!("{what}: no reading"));
    assert!((reading - expected).abs() <= tolerance, "{what}: {reading:.4}, expected {expected} +-{tolerance}");
}

#[test]
fn filter_is_the_printed_table_at_48_khz() {
    // ITU-R BS.1770-5, Annex 1, Tables 1 and 2.
    let [shelf, high_pass] = KWeighting::new(48_000.0, [1.0; 2]).sections();
    let printed = [1.53512485958697, -2.69169618940638, 1.19839281085285, -1.69065929318241, 0.73248077421585];
    for (ours, printed) in shelf.b.into_iter().chain(shelf.a).zip(printed) {
        assert!((ours - printed).abs() < 1e-12, "{ours} {printed}");
    }
    assert_eq!(high_pass.b, [1.0, -2.0, 1.0]);
    assert!((high_pass.a[0] + 1.99004745483398).abs() < 1e-12);
    assert!((high_pass.a[1] - 0.99007225036621).abs() < 1e-12);
}

#[test]
fn filter_agrees_with_a_general_library_at_other_rates() {
    // Bilinear transform of the same prototype, computed apart (NumPy): shelf b0, a1; high-pass a1, a2; dB at 997 Hz.
    let rows = [
        (44_100.0, 1.530841230050, -1.663655113256, -1.989169673630, 0.989199035787),
        (88_200.0, 1.557515375580, -1.830919987962, -1.994577515450, 0.994584875878),
        (96_000.0, 1.559714228976, -1.844609469890, -1.995017544725, 0.995023759041),
        (192_000.0, 1.572227215091, -1.922202230607, -1.997507222841, 0.997508778356),
    ];
    for (rate_hz, b0, a1, c1, c2) in rows {
        let [shelf, high_pass] = KWeighting::new(rate_hz, [1.0; 2]).sections();
        for (ours, other) in [(shelf.b[0], b0), (shelf.a[0], a1), (high_pass.a[0], c1), (high_pass.a[1], c2)] {
            assert!((ours - other).abs() < 1e-11, "{rate_hz}: {ours} {other}");
        }
    }
}

#[test]
fn anchor_tone_reads_as_the_recommendation_says() {
    // BS.1770-5, Annex 1: 997 Hz at 0 dBFS in one channel reads -3.01 LKFS; in both, 3.01 dB more.
    let frames = tone(48_000.0, 997.0, 0.0, 5.0);
    assert_near("both", read(&frames, 48_000.0).integrated_lufs(), 0.0, 0.001);
    let left: Vec<Frame> = frames.iter().map(|x| [x[0], 0.0]).collect();
    assert_near("left", read(&left, 48_000.0).integrated_lufs(), -3.0103, 0.001);
    let mut mono = LoudnessMeter::mono(48_000.0);
    mono.push(&frames);
    assert_near("file of one channel", mono.integrated_lufs(), -3.0103, 0.001);
}

#[test]
fn tech_3341_cases_1_to_5() {
    type Case = (&'static str, &'static [(f64, f64)], f64);
    let cases: [Case; 5] = [
        ("1", &[(-23.0, 20.0)], -23.0),
        ("2", &[(-33.0, 20.0)], -33.0),
        ("3", &[(-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0)], -23.0),
        ("4", &[(-72.0, 10.0), (-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0), (-72.0, 10.0)], -23.0),
        ("5", &[(-26.0, 20.0), (-20.0, 20.1), (-26.0, 20.0)], -23.0),
        // Case 6 has five channels; Fairprint's programmes have two. Cases 7 and 8 are recordings of the EBU.
    ];
    for rate_hz in RATES_HZ {
        for (name, case, expected) in cases {
            let meter = read(&steps(rate_hz, case), rate_hz);
            assert_near(name, meter.integrated_lufs(), expected, TECH_3341_LU);
            if case.len() == 1 {
                assert_near(name, meter.momentary_lufs(), expected, TECH_3341_LU);
                assert_near(name, meter.short_term_lufs(), expected, TECH_3341_LU);
            }
        }
    }
    // An exact reading, computed apart in 64-bit floating point: -22.9933, -23.0139, -22.9787.
    for (case, exact) in [(0, -22.9933), (2, -23.0139), (3, -23.0139), (4, -22.9787)] {
        assert_near("exact", read(&steps(48_000.0, cases[case].1), 48_000.0).integrated_lufs(), exact, 0.0005);
    }
}

/// Readings of a live meter every 10 ms.
fn live(frames: &[Frame], rate_hz: f64, reading: impl Fn(&LoudnessMeter) -> Option<f64>) -> Vec<Option<f64>> {
    let mut meter = LoudnessMeter::new(rate_hz);
    let hop = (rate_hz / 100.0) as usize;
    let read = |chunk: &[Frame]| {
        meter.push(chunk);
        reading(&meter)
    };
    frames.chunks(hop).map(read).collect()
}

#[test]
fn tech_3341_cases_9_and_12_stay_constant() {
    for rate_hz in RATES_HZ {
        let nine = steps(rate_hz, &[(-20.0, 1.34), (-30.0, 1.66)].repeat(5));
        for reading in &live(&nine, rate_hz, LoudnessMeter::short_term_lufs)[300..1500] {
            assert_near("9", *reading, -23.0, TECH_3341_LU);
        }
        let twelve = steps(rate_hz, &[(-20.0, 0.18), (-30.0, 0.22)].repeat(25));
        for reading in &live(&twelve, rate_hz, LoudnessMeter::momentary_lufs)[100..1000] {
            assert_near("12", *reading, -23.0, TECH_3341_LU);
        }
    }
}

#[test]
fn tech_3341_cases_10_and_13_find_the_maximum_wherever_it_starts() {
    for rate_hz in RATES_HZ {
        for i in 0..20 {
            let ten = steps(rate_hz, &[(SILENT, f64::from(i) * 0.15), (-23.0, 3.0), (SILENT, 1.0)]);
            assert_near("10", read(&ten, rate_hz).max_short_term_lufs(), -23.0, TECH_3341_LU);
            let thirteen = steps(rate_hz, &[(SILENT, f64::from(i) * 0.02), (-23.0, 0.4), (SILENT, 1.0)]);
            assert_near("13", read(&thirteen, rate_hz).max_momentary_lufs(), -23.0, TECH_3341_LU);
        }
    }
}

#[test]
fn tech_3341_cases_11_and_14_rise_in_turn() {
    for rate_hz in RATES_HZ {
        let (mut short, mut momentary) = (LoudnessMeter::new(rate_hz), LoudnessMeter::new(rate_hz));
        for i in 0..20 {
            let i = f64::from(i);
            short.push(&steps(rate_hz, &[(SILENT, i * 0.15), (-38.0 + i, 3.0), (SILENT, 3.0 - i * 0.15)]));
            assert_near("11", short.max_short_term_lufs(), -38.0 + i, TECH_3341_LU);
            momentary.push(&steps(rate_hz, &[(SILENT, i * 0.02), (-38.0 + i, 0.4), (SILENT, 0.4 - i * 0.02)]));
            assert_near("14", momentary.max_momentary_lufs(), -38.0 + i, TECH_3341_LU);
        }
    }
}

#[test]
fn tech_3342_cases_1_to_4() {
    let cases: [(&[f64], f64); 4] = [
        (&[-20.0, -30.0], 10.0),
        (&[-20.0, -15.0], 5.0),
        (&[-40.0, -20.0], 20.0),
        (&[-50.0, -35.0, -20.0, -35.0, -50.0], 15.0),
    ];
    for rate_hz in RATES_HZ {
        for (levels, expected) in cases {
            let case: Vec<_> = levels.iter().map(|dbfs| (*dbfs, 20.0)).collect();
            // Tolerance of EBU Tech 3342, Table 1; our own readings are exact to 0.1.
            let once = read(&steps(rate_hz, &case), rate_hz).loudness_range_lu();
            assert_near("3342", once, expected, 1.0);
            assert_near("3342, exact", once, expected, 0.1);
        }
    }
}

/// The outside oracle: the `ebur128` crate, on the same frames.
fn oracle(frames: &[Frame], rate_hz: f64) -> ebur128::EbuR128 {
    let mode = ebur128::Mode::I | ebur128::Mode::LRA;
    let mut oracle = ebur128::EbuR128::new(2, rate_hz as u32, mode).expect("oracle");
    oracle.add_frames_f64(frames.as_flattened()).expect("oracle");
    oracle
}

#[test]
fn agrees_with_an_independent_meter() {
    for rate_hz in [8000.0, 11_025.0, 22_050.0, 44_100.0, 48_000.0, 88_200.0, 96_000.0, 176_400.0, 192_000.0] {
        for frames in [music(rate_hz, 31.3, 5), noise((rate_hz * 10.0) as usize, 0.05, 7)] {
            let (ours, oracle) = (read(&frames, rate_hz), oracle(&frames, rate_hz));
            // Where a tenth of a second is no whole number of frames, the crate's blocks (1103 frames each at 11,025 Hz)
            // drift away from the 100 ms grid, so that it gates other blocks.
            let tolerance = if rate_hz % 10.0 == 0.0 { 0.01 } else { 0.1 };
            assert_near("I", ours.integrated_lufs(), oracle.loudness_global().expect("I"), tolerance);
            // The crate takes a short-term reading each second, as the first edition of Tech 3342 allowed.
            let each_second = range_lu(|| ours.means(SHORT_TERM_TENTHS).step_by(10));
            assert_near("LRA", each_second, oracle.loudness_range().expect("LRA"), tolerance);
            assert_near("LRA at 10 Hz", ours.loudness_range_lu(), each_second.expect("LRA"), 0.5);
        }
    }
}

#[test]
fn a_gain_is_foreseen_exactly() {
    // Parts of this programme lie near the absolute gate, so a gain moves blocks through it.
    let quiet = steps(48_000.0, &[(-62.0, 10.0), (-68.0, 10.0), (-75.0, 10.0)]);
    let meter = read(&quiet, 48_000.0);
    for gain_db in [-7.0, -3.0, 0.0, 7.5, 30.0] {
        let gain = units::gain_from_db(gain_db);
        let changed: Vec<Frame> = quiet.iter().map(|x| x.map(|x| gain * x)).collect();
        let heard = read(&changed, 48_000.0).integrated_lufs();
        assert_near("what if", meter.integrated_lufs_at(gain_db), heard.expect("loud enough"), 1e-9);
    }
    let moved = meter.integrated_lufs_at(30.0).expect("loud") - 30.0 - meter.integrated_lufs().expect("loud");
    assert!(moved.abs() > 0.05, "the gate moved nothing: {moved}");
    let gain_db = meter.gain_db_for(-14.0).expect("a gain");
    assert_near("solved", meter.integrated_lufs_at(gain_db), -14.0, 1e-8);
}

#[test]
fn silence_and_scraps_have_no_reading() {
    let meter = read(&tone(48_000.0, 1000.0, SILENT, 5.0), 48_000.0);
    assert_eq!((meter.integrated_lufs(), meter.loudness_range_lu(), meter.max_momentary_lufs()), (None, None, None));
    assert_eq!(meter.gain_db_for(-14.0), None);
    let scrap = read(&tone(48_000.0, 1000.0, -3.0, 0.3), 48_000.0);
    assert_eq!((scrap.integrated_lufs(), scrap.max_momentary_lufs(), scrap.history().len()), (None, None, 0));
    let second = read(&tone(48_000.0, 1000.0, -3.0, 1.0), 48_000.0);
    assert_eq!(second.max_short_term_lufs(), None);
    assert!(second.max_momentary_lufs().is_some());
}

#[test]
fn cutting_the_programme_changes_nothing() {
    let frames = music(44_100.0, 8.0, 11);
    let whole = read(&frames, 44_100.0);
    for cut in [1, 7, 441, 1000, 4096] {
        let mut meter = LoudnessMeter::new(44_100.0);
        frames.chunks(cut).for_each(|chunk| meter.push(chunk));
        assert_eq!(meter.tenths, whole.tenths);
        assert_eq!(meter.max_momentary_lufs(), whole.max_momentary_lufs());
    }
}

#[test]
fn history_steps_at_ten_a_second() {
    let history = read(&steps(48_000.0, &[(-20.0, 4.0), (-30.0, 4.0)]), 48_000.0).history();
    assert_eq!(history.len(), 77);
    assert_eq!((history[0].secs, history[0].short_term_lufs), (0.4, None));
    assert_near("momentary", history[30].momentary_lufs, -20.0, 0.05);
    assert_near("short-term", history[26].short_term_lufs, -20.0, 0.05);
    assert_near("short-term at the end", history[76].short_term_lufs, -30.0, 0.05);
}

#[test]
fn decay_into_silence_leaves_no_denormals() {
    // The filter's poles fall to 1e-100 in about a second, and would reach the denormals in three.
    let mut frames = tone(48_000.0, 50.0, 0.0, 1.0);
    frames.resize(48_000 * 3, units::SILENCE);
    let meter = read(&frames, 48_000.0);
    assert_eq!(meter.filter.memory, [[0.0; 2]; 4]);
    assert!(meter.integrated_lufs().is_some());
}

#[test]
fn the_filter_weighs_powers_as_its_response_says() {
    // BS.1770-5, Annex 1: the response of the printed coefficients at 48 kHz, worked out apart from this code.
    let filter = KWeighting::new(48_000.0, [1.0; 2]);
    for (hz, db) in [(20.0, -13.275), (100.0, -1.133), (997.0, 0.691), (2000.0, 3.071), (10_000.0, 4.042)] {
        let gain = units::db_from_power(filter.power_gain(hz, 48_000.0));
        // The high-pass keeps its numerator at 1, -2, 1, so that nothing else is to be taken off.
        assert!((gain - db).abs() < 0.001, "{hz} Hz: {gain}, expected {db}");
    }
}

#[test]
fn a_stretch_reads_like_a_programme_of_its_own() {
    let frames = steps(48_000.0, &[(-36.0, 5.0), (-20.0, 4.0), (-30.0, 6.0)]);
    let meter = read(&frames, 48_000.0);
    assert_near("whole", meter.integrated_lufs_between([0.0, 15.0]), meter.integrated_lufs().unwrap(), 1e-12);
    assert_near("middle", meter.integrated_lufs_between([5.0, 9.0]), -19.9933, 0.05);
    assert_near("end", meter.integrated_lufs_between([9.0, 15.0]), -29.9933, 0.05);
    assert_eq!(meter.integrated_lufs_between([9.0, 9.1]), None, "too short for a block");
    assert_eq!(meter.integrated_lufs_between([60.0, 90.0]), None);
}
