//! One console colour for the whole song, and what one-sided equalisers do to the image.

use measure::parting;

use crate::sheet;
use crate::songs::{Songs, plan, render};

/// A tone in one of two stems; the other is silent and has a console of its own with an offset.
fn song(console: &str, of_the_other: &str) -> String {
    let stem = |name: &str, chain: &str| {
        format!("[[stem]]\nname = \"{name}\"\nfile = \"{name}.wav\"\nto = \"mix\"\n{chain}\n")
    };
    let other = stem("b", of_the_other);
    sheet(&format!("{console}\n{}{other}[[bus]]\nname = \"mix\"\n", stem("a", "")))
}

/// Power of the second and third harmonic of a tone of -12 dBFS, re the fundamental, of what is printed.
fn colour_db(text: &str, in_a: bool) -> f64 {
    const CYCLES: usize = 400;
    const FRAMES: usize = 19_200;
    let peak = libm::pow(10.0, -12.0 / 20.0);
    let angle =
        |n: usize, harmonic: usize| std::f64::consts::TAU * (harmonic * CYCLES * n % FRAMES) as f64 / FRAMES as f64;
    let tone: Vec<_> = (0..2 * FRAMES).map(|n| [peak * libm::cos(angle(n, 1)); 2]).collect();
    let silence = vec![[0.0; 2]; 2 * FRAMES];
    let (a, b) = if in_a { (tone, silence) } else { (silence, tone) };
    let got = render(text, &Songs::default().with("a.wav", a).with("b.wav", b));
    let power = |harmonic: usize| {
        let part =
            |turn: fn(f64) -> f64| -> f64 { (0..FRAMES).map(|n| got[FRAMES + n][0] * turn(angle(n, harmonic))).sum() };
        let [re, im] = [part(libm::cos), part(libm::sin)];
        re * re + im * im
    };
    10.0 * libm::log10((power(2) + power(3)) / power(1))
}

#[test]
fn one_amount_colours_every_stem_and_offsets_hold_relative_to_it() {
    // The amount is by definition the level of these harmonics of such a tone; 0.3 dB for the orders left out.
    for amount in [-60.0, -46.0] {
        let console = format!("[console]\namount_db = {amount}\ncrosstalk_db = -100");
        let text = song(&console, "chain = [{ console = { offset_db = -6 } }]");
        let [a, b] = [true, false].map(|in_a| colour_db(&text, in_a));
        assert!((a - amount).abs() < 0.3, "{amount}: {a}");
        assert!((b - (amount - 6.0)).abs() < 0.3, "{amount}: {b}");
    }
}

#[test]
fn a_console_at_its_lowest_or_off_passes_every_bit() {
    let bare = song("", "");
    for console in ["amount_db = -100\ncrosstalk_db = -100", "amount_db = -50"] {
        let chain = if console.contains("-50") { "chain = [{ console = {}, off = true }]" } else { "" };
        let text = song(&format!("[console]\n{console}"), chain);
        let b: Vec<_> = (0..5000).map(|n| [libm::sin(n as f64 * 0.3), libm::cos(n as f64 * 0.7)]).collect();
        let songs = Songs::default().with("a.wav", vec![[0.0; 2]; 5000]).with("b.wav", b);
        let [plain, coloured] = [&bare, &text].map(|text| render(text, &songs));
        assert_eq!(plain[..5000], coloured[..5000], "{console}");
    }
}

#[test]
fn a_low_cut_of_the_sides_alone_parts_them_from_the_middle() {
    // A hand calculation: a second-order Butterworth high-pass `s^2 / (s^2 + sqrt(2) s + 1)` on the sides alone. At its
    // corner S = j / sqrt(2), a source on one side comes out at |1 + S| / 2 = |1 - S| / 2 = -4.26 dB in both speakers,
    // 2 atan(1 / sqrt(2)) = 70.5 degrees apart.
    let text = sheet(
        "[[stem]]\nname = \"a\"\nfile = \"a.wav\"\nto = \"mix\"\n[[bus]]\nname = \"mix\"\n\
         chain = [{ eq = { of = \"side\", bands = [{ shape = \"low cut\", hz = 200, slope_db_per_octave = 12 }] } },\n\
         { eq = { bands = [{ shape = \"bell\", hz = 300, gain_db = 9 }] } }]\n",
    );
    let songs = Songs::default().with("a.wav", vec![[0.1; 2]; 100]);
    let plan = plan(&text, &songs);
    let mix = plan.steps.iter().find(|step| step.name == "mix").unwrap();
    let responses = engine::one_sided_responses(&mix.links, 48_000.0, 1 << 15).unwrap();
    let at = |hz: f64, response: &[[f64; 2]], channel: usize| {
        let turn = |n: usize| std::f64::consts::TAU * hz * n as f64 / 48_000.0;
        let part =
            |f: fn(f64) -> f64| -> f64 { response.iter().enumerate().map(|(n, s)| s[channel] * f(turn(n))).sum() };
        (part(libm::cos), -part(libm::sin))
    };
    let [near, far] = [0, 1].map(|channel| at(200.0, &responses[0], channel));
    let db = |(re, im): (f64, f64)| 10.0 * libm::log10(re * re + im * im);
    let degrees = |(re, im): (f64, f64)| libm::atan2(im, re).to_degrees();
    assert!((db(near) + 4.26).abs() < 0.02 && (db(far) + 4.26).abs() < 0.02, "{} {}", db(near), db(far));
    assert!(((degrees(near) - degrees(far)).abs() - 70.53).abs() < 0.2);
    let worst = parting(&responses, 48_000.0).unwrap();
    assert!(
        worst.hz < 200.0 && worst.apart_deg > 90.0 && worst.far_db > 0.0,
        "below, the wrong speaker wins: {worst:?}"
    );
    assert!(mix.links.len() == 2 && engine::one_sided_responses(&mix.links[1..], 48_000.0, 64).is_none());
}
