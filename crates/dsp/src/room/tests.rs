use super::*;
use crate::space::acoustics::*;

fn room(changes: &[(&Param, f64)]) -> Box<dyn Processor> {
    room_at(changes, 48_000.0)
}

fn room_at(changes: &[(&Param, f64)], rate_hz: f64) -> Box<dyn Processor> {
    let settings = changes.iter().fold(Settings::defaults(&SPEC), |s, (param, value)| s.with_number(param, *value));
    build(&settings, &Context::plain(rate_hz, 1)).expect("a room can be built")
}

#[test]
fn every_octave_decays_in_the_time_that_is_set() {
    // ISO 3382-1: T30 of the curve over all pairs of source and receiver, integrated backwards; 5 % is its just
    // noticeable difference. The pairs: either input to either output.
    for size in [2.0, 4.0, 8.0] {
        for decay in [0.6, 1.0, 2.0, 4.0, 8.0] {
            let mut room = room(&[(&DECAY, decay), (&SIZE, size)]);
            let frames = (decay * 48_000.0) as usize + 4800;
            let left = response(room.as_mut(), [1.0, 0.0], frames);
            room.reset();
            let right = response(room.as_mut(), [0.0, 1.0], frames);
            for hz in OCTAVES_HZ {
                let bands = [(&left, 0), (&left, 1), (&right, 0), (&right, 1)]
                    .map(|(h, c)| octave(&channel(h, c), hz, 48_000.0));
                let t30 = decay_s(&decay_curve_db(bands.iter().map(Vec::as_slice)), -35.0, 48_000.0);
                assert!((t30 / decay - 1.0).abs() < 0.05, "{decay} s, {size} m, {hz} Hz: {t30}");
            }
        }
    }
}
