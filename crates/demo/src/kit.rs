//! The overheads: a spaced pair over the whole kit, in a small live room.
//!
//! Every piece reaches each microphone along its direct path and by one reflection off each surface (the image method
//! of Allen and Berkley, JASA 65, 1979), late by distance over the speed of sound and weaker by distance.

use units::Frame;

use crate::filter::OnePole;
use crate::track::silence_stereo;
use crate::{drums, metal};

/// Metres: to the audience's right, towards the audience, up. The drummer sits at the origin.
type Place = [f64; 3];

/// At 20 degrees Celsius.
const SPEED_OF_SOUND_M_PER_S: f64 = 343.2;

/// The pair: 1.3 m apart, over the drummer's head.
const MICROPHONES: [Place; 2] = [[-0.65, 0.35, 1.95], [0.65, 0.35, 1.95]];

/// The room's walls as (axis, position), floor and ceiling last.
const SURFACES: [(usize, f64); 6] = [(0, -2.6), (0, 3.1), (1, -1.7), (1, 3.4), (2, 0.0), (2, 2.9)];

/// What a surface gives back.
const REFLECTED: f64 = 0.42;

/// A piece of the kit: what plays it, where it stands as the audience sees it (hats to the right), and how loud it is at
/// one metre.
struct Piece {
    play: fn(f64) -> Vec<f64>,
    place: Place,
    level: f64,
}

const PIECES: [Piece; 9] = [
    Piece { play: drums::kick, place: [0.0, 0.75, 0.3], level: 0.62 },
    Piece { play: drums::snare, place: [0.18, 0.35, 0.68], level: 0.95 },
    Piece { play: metal::hats, place: [0.58, 0.35, 0.85], level: 0.34 },
    Piece { play: |rate_hz| drums::tom(0, rate_hz), place: [0.16, 0.72, 0.8], level: 0.75 },
    Piece { play: |rate_hz| drums::tom(1, rate_hz), place: [-0.22, 0.72, 0.8], level: 0.75 },
    Piece { play: |rate_hz| drums::tom(2, rate_hz), place: [-0.58, 0.25, 0.6], level: 0.75 },
    Piece { play: metal::crash, place: [0.72, 0.75, 1.3], level: 0.9 },
    Piece { play: metal::dark_crash, place: [-0.78, 0.7, 1.3], level: 0.95 },
    Piece { play: metal::ride, place: [-0.6, 0.65, 1.05], level: 0.42 },
];

fn distance_m(a: Place, b: Place) -> f64 {
    libm::sqrt((0..3).map(|i| (a[i] - b[i]) * (a[i] - b[i])).sum())
}

/// Delay in seconds and gain from a place to a microphone.
fn path(from: Place, to: Place) -> (f64, f64) {
    let metres = distance_m(from, to);
    (metres / SPEED_OF_SOUND_M_PER_S, 1.0 / metres)
}

fn peak(track: &[f64]) -> f64 {
    track.iter().fold(0.0_f64, |peak, x| peak.max(x.abs()))
}

/// Adds a track, later and at a gain, to one channel.
fn add(frames: &mut [Frame], channel: usize, track: &[f64], (delay_s, gain): (f64, f64), rate_hz: f64) {
    let late = (delay_s * rate_hz).round() as usize;
    for (frame, x) in frames.iter_mut().skip(late).zip(track) {
        frame[channel] += gain * x;
    }
}

/// The overhead pair.
pub(crate) fn overheads(rate_hz: f64) -> Vec<Frame> {
    let mut frames = silence_stereo(rate_hz);
    for piece in PIECES {
        let mut track = (piece.play)(rate_hz);
        let level = piece.level / peak(&track).max(1e-9);
        track.iter_mut().for_each(|x| *x *= level);
        let mut dull = track.clone();
        // Walls take treble.
        let mut wall = OnePole::at_hz(5500.0, rate_hz);
        dull.iter_mut().for_each(|x| *x = wall.low(*x));
        for (channel, microphone) in MICROPHONES.iter().enumerate() {
            add(&mut frames, channel, &track, path(piece.place, *microphone), rate_hz);
            for (axis, position) in SURFACES {
                let mut image = piece.place;
                image[axis] = 2.0 * position - image[axis];
                let (delay_s, gain) = path(image, *microphone);
                add(&mut frames, channel, &dull, (delay_s, REFLECTED * gain), rate_hz);
            }
        }
    }
    frames
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_snare_is_a_little_late_and_the_hats_lean_right() {
        let snare = MICROPHONES.map(|m| path(PIECES[1].place, m));
        // 1.27 m directly below the pair: 4 ms or so (distance over 343.2 m/s), the sides within a millisecond.
        assert!(snare.iter().all(|(s, _)| (0.0035..0.0050).contains(s)), "{snare:?}");
        assert!((snare[0].0 - snare[1].0).abs() < 1e-3);
        // A spaced pair: farther apart than any stereo pair that shares a stand, hundreds of microseconds for the hats.
        let width_m = distance_m(MICROPHONES[0], MICROPHONES[1]);
        assert!((1.0..2.0).contains(&width_m), "{width_m}");
        let hats = MICROPHONES.map(|m| path(PIECES[2].place, m));
        let lean_db = units::db_from_gain(hats[1].1 / hats[0].1);
        assert!((2.0..5.0).contains(&lean_db), "{lean_db}");
        assert!((0.4e-3..3e-3).contains(&(hats[0].0 - hats[1].0)), "{hats:?}");
    }
}
