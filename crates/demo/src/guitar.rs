//! Two guitars: a strummed steel-string heard by two microphones, and an electric picked through a small amplifier.

use units::Frame;

use crate::filter::{Biquad, OnePole, soft};
use crate::human::{Chance, Player};
use crate::score::{
    BEATS_PER_BAR, Change, GUITAR, beat_of_bar, changes, chord_at, hz_from_note, lead, secs_from_beats,
};
use crate::string::Pluck;
use crate::track::{frame_of, silence};

/// Strums: sixteen places a bar. `D` and `d` are down strokes, hard and soft, `U` and `u` up strokes, `x` a muted one.
struct Strums(u32, u32, &'static str);

const STRUMS: [Strums; 9] = [
    Strums(10, 12, "d...x.u...d.x.u."),
    Strums(13, 13, "d...x.u.D......."),
    Strums(14, 20, "D...D.u...uUd.u."),
    Strums(21, 21, "D...D.u.D......."),
    Strums(22, 24, "d..............."),
    Strums(25, 25, "d.......D.d.D.DU"),
    Strums(26, 32, "D.d.D.uUx.uUD.uU"),
    Strums(33, 33, "D.d.D.uUD...D..."),
    Strums(34, 35, "D..............."),
];

/// Strings in the order a stroke meets them, with the stroke's force and the time it takes to cross them all.
struct Stroke {
    down: bool,
    force: f64,
    across_ms: f64,
    muted: bool,
}

fn stroke_of(mark: char) -> Option<Stroke> {
    let (down, force, across_ms, muted) = match mark {
        'D' => (true, 0.95, 17.0, false),
        'd' => (true, 0.55, 26.0, false),
        'U' => (false, 0.75, 14.0, false),
        'u' => (false, 0.42, 18.0, false),
        'x' => (true, 0.5, 12.0, true),
        _ => return None,
    };
    Some(Stroke { down, force, across_ms, muted })
}

/// Beats and strokes of the strummed part.
fn strums() -> Vec<(f64, Stroke)> {
    let mut all = Vec::new();
    for Strums(first, last, pattern) in STRUMS {
        for bar in first..=last {
            let marks = pattern.chars().enumerate();
            all.extend(marks.filter_map(|(i, mark)| Some((beat_of_bar(bar) + i as f64 / 4.0, stroke_of(mark)?))));
        }
    }
    all
}

/// The strummed guitar: strings, then the body, then two microphones a hand apart.
pub(crate) fn strummed(rate_hz: f64) -> Vec<Frame> {
    let changes = changes();
    let mut player = Player::new(0x6017a4, 2.0, 4.5);
    let tuning: Vec<f64> = (0..6).map(|_| 1.2 * player.chance().normal()).collect();
    let mut notes: Vec<(usize, usize, Pluck)> = Vec::new();
    let all = strums();
    for (index, (beat, stroke)) in all.iter().enumerate() {
        let secs = player.secs(*beat);
        let next = all.get(index + 1).map_or(secs + 6.0, |(beat, _)| secs_from_beats(*beat));
        let frets = chord_at(&changes, *beat).chord.frets;
        strum(&mut notes, stroke, [secs, next], frets, &tuning, (rate_hz, &mut player));
    }
    let mut strings = silence(rate_hz);
    for (from, _, pluck) in &notes {
        pluck.sound(&mut strings[*from..], rate_hz, player.chance());
    }
    squeaks(&mut strings, &changes, rate_hz, player.chance());
    let neck =
        body(&strings, [(103.0, 7.0, 0.9), (208.0, 9.0, 1.0), (395.0, 8.0, 0.55), (620.0, 7.0, 0.35)], 0.9, rate_hz);
    let bridge =
        body(&strings, [(103.0, 7.0, 1.2), (208.0, 9.0, 0.7), (450.0, 8.0, 0.7), (790.0, 7.0, 0.5)], 0.7, rate_hz);
    let late = frame_of(0.45e-3, rate_hz);
    let right = std::iter::repeat_n(0.0, late).chain(bridge);
    neck.into_iter().zip(right).map(|(l, r)| [l, 0.85 * r]).collect()
}

/// Adds one stroke's plucks.
fn strum(
    notes: &mut Vec<(usize, usize, Pluck)>,
    stroke: &Stroke,
    [secs, next]: [f64; 2],
    frets: [i32; 6],
    tuning: &[f64],
    (rate_hz, player): (f64, &mut Player),
) {
    let mut strings: Vec<usize> = (0..6).filter(|s| frets[*s] >= 0).collect();
    if !stroke.down {
        strings.reverse();
        strings.truncate(4);
    }
    let count = strings.len() as f64;
    for (order, string) in strings.into_iter().enumerate() {
        let cents = tuning[string] + 0.5 * player.chance().normal();
        let hz = hz_from_note(f64::from(GUITAR[string] + frets[string]) + cents / 100.0);
        let at = secs + 1e-3 * (stroke.across_ms * order as f64 / count + 0.6 * player.chance().normal());
        // The stroke spends itself as it crosses.
        let force = player.force(stroke.force * (1.0 - 0.07 * order as f64));
        let pluck = Pluck {
            hz,
            force,
            place: 0.16,
            t60_s: if stroke.muted { 0.09 } else { 4.2 * libm::sqrt(110.0 / hz) },
            treble_t60_s: if stroke.muted { 0.03 } else { 0.9 },
            edge_hz: 9000.0,
            held_s: (next - at - 0.004).max(0.05),
            stopped_t60_s: 0.07,
            pickup: 0.0,
        };
        notes.push((frame_of(at, rate_hz), string, pluck));
    }
}

/// Fingers sliding on wound strings as the hand moves to the next grip: quiet noise through a rising band.
fn squeaks(track: &mut [f64], changes: &[Change], rate_hz: f64, chance: &mut Chance) {
    let played = |beat: f64| STRUMS.iter().any(|s| beat > beat_of_bar(s.0) && beat < beat_of_bar(s.1 + 1));
    for change in changes.iter().filter(|c| played(c.beat - 0.1) && played(c.beat + 0.1)) {
        if chance.uniform() < 0.45 {
            continue;
        }
        let from = frame_of(secs_from_beats(change.beat) - 0.075, rate_hz);
        let frames = frame_of(0.06, rate_hz);
        let hz = chance.between(900.0, 2100.0);
        let mut band = Biquad::band_pass(hz, 9.0, rate_hz);
        for (n, y) in track[from..].iter_mut().take(frames).enumerate() {
            let along = n as f64 / frames as f64;
            *y += 0.16 * 4.0 * along * (1.0 - along) * band.tick(chance.bipolar());
        }
    }
}

/// A guitar's body: its air and plate resonances beside what the bridge radiates at once.
fn body(strings: &[f64], modes: [(f64, f64, f64); 4], direct: f64, rate_hz: f64) -> Vec<f64> {
    let mut modes = modes.map(|(hz, q, gain)| (Biquad::band_pass(hz, q, rate_hz), gain));
    let mut low = Biquad::high_pass(130.0, 0.6, rate_hz);
    let mut air = Biquad::bell(5200.0, 0.6, 6.0, rate_hz);
    let mut rumble = Biquad::high_pass(65.0, 0.7, rate_hz);
    let ring = |x: &f64| {
        let boxed: f64 = modes.iter_mut().map(|(mode, gain)| *gain * mode.tick(*x)).sum();
        rumble.tick(air.tick(boxed + direct * low.tick(*x)))
    };
    strings.iter().map(ring).collect()
}

/// Picked figures: which voice (0 the lowest, 4 the lowest an octave up) is picked at each eighth of a bar.
struct Figure(u32, u32, &'static str, f64);

const FIGURES: [Figure; 8] = [
    Figure(1, 1, "....0123", 0.55),
    Figure(2, 5, "02314231", 0.7),
    Figure(6, 9, "0.2.3.1.", 0.62),
    Figure(10, 13, "0231.231", 0.62),
    Figure(14, 21, "04.34.31", 0.7),
    Figure(25, 25, "....0123", 0.6),
    Figure(26, 33, "04342431", 0.8),
    Figure(34, 35, "02314231", 0.6),
];

/// The picked guitar: single notes on an electric, its pickup, an amplifier that gives a little, a loudspeaker.
pub(crate) fn picked(rate_hz: f64) -> Vec<f64> {
    let mut player = Player::new(0x91c4ed, 1.0, 4.0);
    let mut track = silence(rate_hz);
    let changes = changes();
    let mut voicing = [55, 59, 62, 64];
    for Figure(first, last, figure, force) in FIGURES {
        for bar in first..=last {
            for (eighth, voice) in figure.chars().enumerate().filter_map(|(i, c)| Some((i, c.to_digit(10)? as usize))) {
                let beat = beat_of_bar(bar) + eighth as f64 * BEATS_PER_BAR / 8.0;
                voicing = lead(voicing, &chord_at(&changes, beat).chord, 54, 71);
                let note = if voice == 4 { voicing[0] + 12 } else { voicing[voice] };
                let accent = if eighth.is_multiple_of(4) { 1.0 } else { 0.8 };
                let pluck = Pluck {
                    hz: hz_from_note(f64::from(note) + 0.012 * player.chance().normal()),
                    force: player.force(force * accent),
                    place: 0.12,
                    t60_s: 4.5,
                    treble_t60_s: 0.7,
                    edge_hz: 8000.0,
                    held_s: if bar >= 35 { 4.5 } else { 1.15 },
                    stopped_t60_s: 0.18,
                    pickup: 0.21,
                };
                let from = frame_of(player.secs(beat), rate_hz);
                pluck.sound(&mut track[from..], rate_hz, player.chance());
            }
        }
    }
    amplify(&mut track, rate_hz);
    track
}

fn amplify(track: &mut [f64], rate_hz: f64) {
    let mut coil = Biquad::low_pass(3600.0, 1.7, rate_hz);
    let mut tight = OnePole::at_hz(90.0, rate_hz);
    let mut cone = [
        Biquad::bell(2600.0, 0.9, 3.0, rate_hz),
        Biquad::low_pass(5200.0, 0.8, rate_hz),
        Biquad::high_pass(85.0, 0.8, rate_hz),
    ];
    for y in track {
        let driven = soft(0.55 * tight.high(coil.tick(*y)) + 0.05) - soft(0.05);
        *y = cone.iter_mut().fold(driven, |x, f| f.tick(x));
    }
}
