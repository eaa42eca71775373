//! Moving bands: static curve, times, and what they leave alone.

use super::*;
use crate::testing::RATES_HZ;

fn moving(band: Band, numbers: &[(&Param, f64)]) -> Settings {
    let mut settings = with_bands(&[band]);
    for (param, value) in numbers {
        set_row(&mut settings, 0, param, Value::Number(*value));
    }
    settings
}

fn tone(rate_hz: f64, hz: f64, level_db: f64, secs: f64) -> Vec<Frame> {
    let peak = units::gain_from_db(level_db);
    let sine = |n: usize| peak * libm::sin(std::f64::consts::TAU * hz * n as f64 / rate_hz);
    (0..(secs * rate_hz) as usize).map(|n| [sine(n), sine(n)]).collect()
}

fn peak_db(part: &[Frame]) -> f64 {
    units::db_from_gain(part.iter().map(|f| f[0].abs()).fold(0.0, f64::max))
}

#[test]
fn the_static_curve_is_the_stated_one() {
    for rate_hz in RATES_HZ {
        // gain = gain_db - (1 - 1/ratio) (L - T), by at most range_db: worked by hand.
        let cases = [
            (-40.0, 0.0, 4.0, -30.0, 12.0, 0.0),
            (-20.0, 0.0, 4.0, -30.0, 12.0, -7.5),
            (-20.0, 3.0, 2.0, -30.0, 12.0, -2.0),
            (-6.0, 0.0, 20.0, -40.0, 9.0, -9.0),
            (-20.0, 0.0, 0.5, -26.0, 12.0, 6.0),
        ];
        for (level_db, gain_db, ratio, threshold_db, range_db, gain) in cases {
            let numbers =
                [(&RATIO, ratio), (&THRESHOLD_DB, threshold_db), (&RANGE_DB, range_db), (&RELEASE_MS, 2000.0)];
            let settings = moving(bell(1000.0, gain_db, 1.0), &numbers);
            let out = run(&settings, rate_hz, tone(rate_hz, 1000.0, level_db, 1.0));
            let got = peak_db(&out[out.len() / 12 * 11..]) - level_db;
            assert!((got - gain).abs() < 0.1, "{got} dB where {gain} is stated (level {level_db}, ratio {ratio})");
        }
    }
}

#[test]
fn attack_and_release_reach_two_thirds_in_their_time() {
    for rate_hz in RATES_HZ {
        // One time constant: 1 - 1/e = 63.2 % of the way in dB. A high band, whose detector is fast against the times.
        let numbers =
            [(&RATIO, 2.0), (&THRESHOLD_DB, -40.0), (&RANGE_DB, 24.0), (&ATTACK_MS, 50.0), (&RELEASE_MS, 100.0)];
        let settings = moving(bell(6000.0, 0.0, 1.0), &numbers);
        let mut data = tone(rate_hz, 6000.0, -20.0, 1.0);
        // Then 40 dB less: below the threshold, so the band goes back to rest.
        for frame in &mut data[rate_hz as usize / 2..] {
            *frame = [frame[0] * 0.01, frame[1] * 0.01];
        }
        let out = run(&settings, rate_hz, data);
        let at = |ms: f64| {
            let from = (ms * rate_hz / 1000.0) as usize;
            peak_db(&out[from - 48..from + 48])
        };
        let share = 1.0 - libm::exp(-1.0);
        assert!((at(50.0) + 20.0 + 10.0 * share).abs() < 0.4, "attack: {}", at(50.0));
        assert!((at(600.0) + 60.0 + 10.0 * (1.0 - share)).abs() < 0.4, "release: {}", at(600.0));
    }
}

#[test]
fn a_de_esser_holds_the_esses_and_leaves_the_voice() {
    for rate_hz in RATES_HZ {
        let band = Band { shape: Shape::HighShelf, ..bell(6000.0, 0.0, FRAC_1_SQRT_2) };
        let numbers = [(&RATIO, 4.0), (&THRESHOLD_DB, -30.0), (&RANGE_DB, 8.0), (&ATTACK_MS, 1.0)];
        let settings = moving(band, &numbers);
        let esses = run(&settings, rate_hz, tone(rate_hz, 9000.0, -12.0, 0.5));
        assert!(peak_db(&esses[esses.len() / 6 * 5..]) < -18.0);
        let voice = run(&settings, rate_hz, tone(rate_hz, 400.0, -6.0, 0.5));
        assert!((peak_db(&voice[voice.len() / 6 * 5..]) + 6.0).abs() < 0.01);
    }
}

#[test]
fn it_listens_to_the_key_of_another_bus() {
    for rate_hz in RATES_HZ {
        let settings = moving(bell(1000.0, 0.0, 1.0), &[(&RATIO, 20.0), (&THRESHOLD_DB, -40.0)]);
        let mut equaliser = build(&settings, &Context::plain(rate_hz, 1)).unwrap();
        let mut quiet = tone(rate_hz, 1000.0, -60.0, 0.5);
        let outside = tone(rate_hz, 1000.0, -10.0, 0.5);
        for (block, key) in quiet.chunks_mut(4000).zip(outside.chunks(4000)) {
            equaliser.process(&mut Block::key_only(block), Some(key));
        }
        assert!((peak_db(&quiet[quiet.len() / 6 * 5..]) + 72.0).abs() < 0.1);
        assert!((equaliser.gain_reduction_db().unwrap() + 12.0).abs() < 0.01);
    }
}
