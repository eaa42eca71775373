//! Envelopes against closed forms.

use super::*;

const RATE_HZ: f64 = 48_000.0;

/// Plucked notes every half second that fall by so many dB a second, with an attack click of so many dB.
fn plucked(hz: f64, fall_db: f64, click_db: f64) -> Envelope {
    let mut meter = EnvelopeMeter::new(RATE_HZ);
    let note = (RATE_HZ / 2.0) as usize;
    let frame = |n: usize| {
        let (t, click) = ((n % note) as f64 / RATE_HZ, units::gain_from_db(click_db));
        let attack = if t < 0.01 { click } else { 1.0 };
        let level = if n < note { 0.0 } else { 0.4 * attack * units::gain_from_db(-fall_db * t) };
        [level * libm::sin(2.0 * PI * hz * n as f64 / RATE_HZ); 2]
    };
    let frames: Vec<Frame> = (0..12 * note).map(frame).collect();
    frames.chunks(777).for_each(|piece| meter.push(piece));
    meter.finish()
}

#[test]
fn a_tail_that_falls_slower_is_longer_by_the_closed_form() {
    // 20 dB at 100 dB a second take 200 ms, at 60 dB a second 333.3 ms.
    for (hz, band) in [(80.0, Band::Low), (1000.0, Band::Middle), (9000.0, Band::High)] {
        let change = sustain_change_ms(&plucked(hz, 100.0, 0.0), &plucked(hz, 60.0, 0.0), band).unwrap();
        assert!((change - 133.3).abs() < 3.0, "{hz}: {change}");
    }
}

#[test]
fn an_attack_is_sharper_by_what_it_gained() {
    let change = sharpness_change_db(&plucked(2000.0, 60.0, 3.0), &plucked(2000.0, 60.0, 9.0)).unwrap();
    assert!((change - 6.0).abs() < 0.1, "{change}");
    assert_eq!(sharpness_change_db(&plucked(2000.0, 60.0, 3.0), &Envelope::default()), None);
    // Attack over body by hand, at 60 dB a second: the first 5 ms fall by 0.3 dB, so their mean is 0.15 dB down; from 30
    // to 100 ms, 1.8 to 6 dB down, the mean is 10 / (4.2 ln 10) (10^-0.18 - 10^-0.6), or -3.73 dB.
    let level = sharpness_db(&plucked(2000.0, 60.0, 3.0), &plucked(2000.0, 60.0, 9.0)).unwrap();
    assert!((level - (3.0 - 0.15 + 3.73)).abs() < 0.1, "{level}");
}

#[test]
fn bands_hear_their_own_notes_only() {
    let low = plucked(80.0, 60.0, 0.0);
    let mean = |band| low.levels(band).iter().sum::<f64>();
    assert!(db_from_power(mean(Band::High) / mean(Band::Low)) < -30.0);
    // A second-order Butterworth at 250 Hz takes 0.05 dB at 80 Hz.
    assert!(db_from_power(low.power(Band::Low) / low.power(Band::Whole)).abs() < 0.2);
}

#[test]
fn a_stretch_is_an_envelope_of_its_own() {
    let whole = plucked(2000.0, 60.0, 3.0);
    let part = whole.between([1.0, 4.0]);
    assert_eq!(part.steps.len(), 600);
    let mean = part.steps.iter().map(|step| f64::from(step[0])).sum::<f64>() / 600.0;
    assert!((part.power(Band::Whole) / mean - 1.0).abs() < 1e-12);
    assert_eq!(whole.between([3.0, 2.0]).steps.len(), 0);
    assert!(whole.between([5.0, 900.0]).steps.len() <= 200, "no further than it goes");
}

#[test]
fn a_part_changes_by_the_gain_that_holds_while_it_sounds() {
    // Two parts that take turns every tenth of a second; the chain takes 6 dB while the first sounds and adds 1 dB
    // while the second does.
    let turns = |first: f64, second: f64| {
        let mut meter = EnvelopeMeter::new(RATE_HZ);
        let level = |n: usize| if (n / 4800).is_multiple_of(2) { first } else { second };
        let frames: Vec<Frame> =
            (0..96_000).map(|n| [level(n) * libm::sin(2.0 * PI * 1000.0 * n as f64 / RATE_HZ); 2]).collect();
        meter.push(&frames);
        meter.finish()
    };
    let gain = units::gain_from_db;
    let (before, after) = (turns(0.5, 0.2), turns(0.5 * gain(-6.0), 0.2 * gain(1.0)));
    let change = |part: &Envelope| shared_change_db(part, &before, &after).unwrap();
    let (first, second) = (change(&turns(0.1, 0.0)), change(&turns(0.0, 0.1)));
    // The bands' filters ring on for a step or two where the turns change.
    assert!((first + 6.0).abs() < 0.15 && (second - 1.0).abs() < 0.15, "{first} {second}");
    assert_eq!(shared_change_db(&turns(0.0, 0.0), &before, &after), None);
}

#[test]
fn the_strongest_window_is_found_where_it_is() {
    let mut meter = EnvelopeMeter::new(RATE_HZ);
    let level = |n: usize| if (48_000..52_800).contains(&n) { 0.5 } else { 0.01 };
    let frames: Vec<Frame> =
        (0..96_000).map(|n| [level(n) * libm::sin(2.0 * PI * 8000.0 * n as f64 / RATE_HZ); 2]).collect();
    meter.push(&frames);
    let (power, secs) = meter.finish().strongest(Band::High, 0.05).unwrap();
    // Mean square of a sine of 0.5: 0.125, less the band's edge, 0.3 dB at an octave above its corner.
    assert!((db_from_power(power / 0.125) + 0.26).abs() < 0.1 && (1.0..=1.05).contains(&secs), "{power} {secs}");
}
