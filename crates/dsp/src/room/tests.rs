use super::*;
use crate::space::acoustics::*;

fn room(changes: &[(&Param, f64)]) -> Room {
    room_at(changes, 48_000.0)
}

fn room_at(changes: &[(&Param, f64)], rate_hz: f64) -> Room {
    let settings = changes.iter().fold(Settings::defaults(&SPEC), |s, (param, value)| s.with_number(param, *value));
    Room::new(&settings, &Context::plain(rate_hz, 1))
}

#[test]
fn every_octave_decays_in_the_time_that_is_set() {
    // ISO 3382-1: T30 of the curve over all pairs of source and receiver, integrated backwards; 5 % is its just
    // noticeable difference. The pairs: either input to either output.
    for size in [2.0, 4.0, 8.0] {
        for decay in [0.6, 1.0, 2.0, 4.0, 8.0] {
            let mut room = room(&[(&DECAY, decay), (&SIZE, size)]);
            let frames = (decay * 48_000.0) as usize + 4800;
            let left = response(&mut room, [1.0, 0.0], frames);
            room.reset();
            let right = response(&mut room, [0.0, 1.0], frames);
            for hz in OCTAVES_HZ {
                let bands = [(&left, 0), (&left, 1), (&right, 0), (&right, 1)]
                    .map(|(h, c)| octave(&channel(h, c), hz, 48_000.0));
                let t30 = decay_s(&decay_curve_db(bands.iter().map(Vec::as_slice)), -35.0, 48_000.0);
                assert!((t30 / decay - 1.0).abs() < 0.05, "{decay} s, {size} m, {hz} Hz: {t30}");
            }
        }
    }
}

#[test]
fn explore() {
    for size in [2.0, 4.0, 8.0, 16.0, 40.0] {
        for decay in [0.2, 0.4, 0.6, 1.0, 2.0, 4.0, 8.0] {
            let mut r = room(&[(&DECAY, decay), (&SIZE, size)]);
            let frames = (decay * 1.2 * 48_000.0) as usize + 4800;
            let h: Vec<_> = [[1.0, 1.0], [1.0, 0.0], [0.0, 1.0]]
                .iter()
                .map(|x| {
                    r.reset();
                    response(&mut r, *x, frames)
                })
                .collect();
            let mut line = format!("{size:4} {decay:4} ");
            for hz in OCTAVES_HZ {
                let bands: Vec<Vec<f64>> =
                    h.iter().flat_map(|h| [0, 1].map(|c| octave(&channel(h, c), hz, 48_000.0))).collect();
                let err = |set: &[usize], to: f64| {
                    let curve = decay_curve_db(set.iter().map(|i| bands[*i].as_slice()));
                    (decay_s(&curve, to, 48_000.0) / decay - 1.0) * 100.0
                };
                line += &format!(
                    "| {:5.1} {:5.1}; {:5.1} {:5.1} ",
                    err(&[0], -35.0),
                    err(&[1], -35.0),
                    err(&[2, 3, 4, 5], -25.0),
                    err(&[2, 3, 4, 5], -35.0)
                );
            }
            println!("{line}");
        }
    }
}

#[test]
fn explore_density() {
    for size in [2.0, 8.0, 40.0] {
        for diffusion in [0.0, 80.0] {
            let mut r = room(&[(&DECAY, 2.0), (&SIZE, size), (&DIFFUSION, diffusion), (&LOW_CUT, 0.0), (&HIGH_CUT, 20_000.0)]);
            let h = channel(&response(&mut r, [1.0, 1.0], 48_000), 0);
            let d: Vec<String> =
                (0..16).map(|k| format!("{:.2}", echo_density(&h[k * 480..k * 480 + 1200]))).collect();
            println!("{size} {diffusion}: {}", d.join(" "));
        }
    }
}

#[test]
fn explore_cost_and_level() {
    let mut r = room(&[]);
    let mut g = noise(1);
    let mut x: Vec<Frame> = (0..48_000 * 20).map(|_| [g(), g()]).collect();
    let t = std::time::Instant::now();
    run(&mut r, &mut x, 512);
    println!("room 240 s: {:.2} s", t.elapsed().as_secs_f64() * 12.0);
    for size in [2.0, 8.0, 40.0] {
        for decay in [0.2, 1.0, 4.0] {
            let mut r = room(&[(&DECAY, decay), (&SIZE, size), (&LOW_CUT, 0.0), (&HIGH_CUT, 20_000.0)]);
            let h = response(&mut r, [1.0, 1.0], 48_000 * 5);
            let (mut m, mut s, mut l) = (0.0, 0.0, 0.0);
            for f in &h {
                m += 0.25 * (f[0] + f[1]) * (f[0] + f[1]);
                s += 0.25 * (f[0] - f[1]) * (f[0] - f[1]);
                l += f[0] * f[0];
            }
            let e: f64 = h[..].iter().take((48_000.0 * 0.05) as usize).map(|f| 0.25 * (f[0] + f[1]) * (f[0] + f[1])).sum();
            println!("{size} {decay} M {m:.3} S/M {:.2} dB loss {:.2} L {l:.3} first 50ms {:.2}", 10.0 * libm::log10(s / m), 10.0 * libm::log10(1.0 + s / m), e / m);
        }
    }
}
