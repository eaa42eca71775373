//! What is no sound, and numbers outside their ranges.

use chance::Random;
use dsp::CATALOGUE;
use dsp::ramp::RAMP_FRAMES;
use units::{At, Fit, Frame, Kind, Param, Settings, Value, all_finite};

use crate::cases::*;

/// What is no sound: in either channel, and in the outside key.
const NO_SOUND: [Frame; 5] =
    [[f64::NAN, 0.1], [0.1, f64::INFINITY], [f64::NEG_INFINITY, f64::NAN], [1e300, 0.1], [0.1, -2.0 * LOUDEST]];

#[test]
fn what_is_no_sound_is_silence_and_spoils_nothing() {
    const FRAMES: usize = 9000;
    for_every_case(|entry, settings, rate_hz, mut random| {
        let sound = lanes_of_noise(&mut random, FRAMES, 0.3);
        let outside = random.signal(FRAMES, 0.5);
        let [mut faulty, mut silenced] = [sound.clone(), sound];
        let [mut faulty_key, mut silenced_key] = [outside.clone(), outside];
        for at in (2000..2100).chain([4095, 4096, 8000]) {
            let fault = NO_SOUND[random.below(NO_SOUND.len())];
            match random.below(3) {
                0 => (faulty_key[at], silenced_key[at]) = (fault, [0.0; 2]),
                lane => {
                    faulty[(lane - 1) * FRAMES + at] = fault;
                    (0..LANES).for_each(|lane| silenced[lane * FRAMES + at] = [0.0; 2]);
                }
            }
        }
        for (data, key) in [(&mut faulty, &faulty_key), (&mut silenced, &silenced_key)] {
            let mut processor = build(entry, settings, rate_hz, LANES).unwrap();
            run(processor.as_mut(), data, FRAMES, 512, outside_for(entry, key), &[]);
        }
        assert!(all_finite(&faulty), "no number came out");
        assert!(faulty == silenced, "a fault sounds different from silence");
    });
}

/// Every number of some settings.
fn numbers(settings: &Settings) -> Vec<(At, [f64; 2])> {
    let spec = settings.spec();
    let of = |row: Option<usize>, params: &'static [Param]| {
        params.iter().enumerate().filter_map(move |(param, spec)| match spec.kind {
            Kind::Number { low, high, .. } => Some((At { row, param }, [low, high])),
            _ => None,
        })
    };
    let rows = (0..settings.row_count()).flat_map(|row| of(Some(row), spec.rows.map_or(&[][..], |rows| rows.params)));
    of(None, spec.params).chain(rows).collect()
}

#[test]
fn numbers_outside_their_ranges_sound_like_the_nearer_end_and_nan_like_no_move() {
    const FRAMES: usize = 2000;
    for entry in CATALOGUE {
        for draw in 0..4 {
            let mut random = Random(draw);
            let settings = if draw == 0 { default_settings(entry) } else { settings(&mut random, entry) };
            if build(entry, &settings, 48_000.0, 1).is_none() {
                continue;
            }
            let (input, outside) = (random.signal(FRAMES, 0.3), random.signal(FRAMES, 0.5));
            let with = |at: At, value: Option<f64>| {
                let mut data = input.clone();
                let mut processor = build(entry, &settings, 48_000.0, 1).unwrap();
                let moves: Vec<_> = value.into_iter().map(|value| (16 * RAMP_FRAMES, at, value)).collect();
                run(processor.as_mut(), &mut data, FRAMES, 512, outside_for(entry, &outside), &moves);
                assert!(all_finite(&data), "{} {at:?} set to {value:?}", entry.spec.name);
                data
            };
            for (at, [low, high]) in numbers(&settings) {
                // A seed may be as large as 2^32.
                for (given, taken) in [(1e12, high), (-1e12, low), (f64::INFINITY, high), (f64::NEG_INFINITY, low)] {
                    assert_eq!(settings.clone().set(at, Value::Number(given)), Fit::Clamped);
                    let alike = with(at, Some(given)) == with(at, Some(taken));
                    assert!(alike, "{} draw {draw}, {at:?} set to {given}", entry.spec.name);
                }
                assert_eq!(settings.clone().set(at, Value::Number(f64::NAN)), Fit::Refused);
                let alike = with(at, Some(f64::NAN)) == with(at, None);
                assert!(alike, "{} draw {draw}, {at:?} set to NaN", entry.spec.name);
            }
        }
    }
}
