//! The demo song: "Lantern Weather" by The Tin Orchard, made from nothing.
//!
//! Sixteen stems, a rough mix that is louder than it should be, and a sheet that uses the whole bench and says why. A
//! score ([`FORM`], chords, tune, grooves) is played by seeded, slightly uneven people on modelled instruments: plucked
//! strings, membranes, plates, tines, bowed strings and voices. Every sample comes from basic arithmetic and `libm`, so
//! the files are the same bytes on every machine.
//!
//! To change the music, change `score`, `melody`, `groove` or an instrument's figures; to change a sound, its file.

mod bass;
mod drums;
mod files;
mod filter;
mod glottis;
mod groove;
mod guitar;
mod human;
mod keys;
mod kit;
mod melody;
mod membrane;
mod metal;
mod modes;
mod pad;
mod phoneme;
mod rough;
mod score;
mod shaken;
mod singer;
mod string;
mod track;
mod voices;

use units::Frame;

pub use files::{DemoError, DemoFiles, DemoReason, RATE_HZ, SHEET, write};
pub use rough::{RoughMix, rough_mix};
pub use score::{BARS, BEATS_PER_BAR, FORM, Section, TEMPO_BPM, beat_of_bar, secs_from_beats};

use track::{centred, levelled};

/// A recorded part of the song, from the song's first frame to its last.
#[derive(Clone, Debug, PartialEq)]
pub struct Stem {
    /// What is heard, as the sheet names it.
    pub name: &'static str,
    /// The sound.
    pub frames: Vec<Frame>,
}

/// A part: its name, the peak it was recorded at, and how it is played at a rate.
struct Part {
    name: &'static str,
    peak_dbfs: f64,
    play: fn(f64) -> Vec<Frame>,
}

const fn part(name: &'static str, peak_dbfs: f64, play: fn(f64) -> Vec<Frame>) -> Part {
    Part { name, peak_dbfs, play }
}

/// All parts, in the order of a desk: drums, percussion, bass, guitars, keys, voices.
const PARTS: [Part; 16] = [
    part("kick", -7.0, |rate_hz| centred(&drums::kick(rate_hz))),
    part("snare", -6.5, |rate_hz| centred(&drums::snare(rate_hz))),
    part("hats", -12.0, |rate_hz| centred(&metal::hats(rate_hz))),
    part("toms", -7.0, toms),
    part("overheads", -8.0, kit::overheads),
    part("tambourine", -11.0, |rate_hz| centred(&shaken::tambourine(rate_hz))),
    part("shaker", -12.0, |rate_hz| centred(&shaken::shaker(rate_hz))),
    part("bass", -10.5, |rate_hz| centred(&bass::bass(rate_hz))),
    part("guitar strummed", -9.0, guitar::strummed),
    part("guitar picked", -10.0, |rate_hz| centred(&guitar::picked(rate_hz))),
    part("keys", -10.0, keys::keys),
    part("pad", -12.0, pad::pad),
    part("lead voice", -7.5, |rate_hz| centred(&voices::lead(rate_hz))),
    part("lead double", -10.0, |rate_hz| centred(&voices::double(rate_hz))),
    part("backing high", -11.0, voices::backing_high),
    part("backing low", -11.0, voices::backing_low),
];

/// Toms as their three microphones give them, the audience's view: the floor tom to the left.
fn toms(rate_hz: f64) -> Vec<Frame> {
    let mut frames = track::silence_stereo(rate_hz);
    for (number, place) in [0.25, -0.2, -0.6].into_iter().enumerate() {
        track::pan_into(&mut frames, &drums::tom(number, rate_hz), place);
    }
    frames
}

/// The names of all stems, in order.
pub fn stem_names() -> impl Iterator<Item = &'static str> {
    PARTS.iter().map(|part| part.name)
}

/// Makes one stem by its place in [`stem_names`].
fn stem(index: usize, rate_hz: u32) -> Stem {
    let Part { name, peak_dbfs, play } = PARTS[index];
    Stem { name, frames: levelled(play(f64::from(rate_hz)), peak_dbfs) }
}

/// Makes all stems in order. What comes out does not depend on how many processors the machine has.
pub fn stems(rate_hz: u32) -> impl Iterator<Item = Stem> {
    each_stem(rate_hz, |stem| stem)
}

/// Makes stems and hands each on, as many at a time as the machine has processors (four at most, for memory's sake);
/// the results come in order.
fn each_stem<T: Send>(rate_hz: u32, then: impl Fn(Stem) -> T + Sync) -> impl Iterator<Item = T> {
    let at_once = std::thread::available_parallelism().map_or(1, usize::from).min(4);
    (0..PARTS.len()).step_by(at_once).flat_map(move |first| {
        let batch = first..PARTS.len().min(first + at_once);
        let then = &then;
        std::thread::scope(|scope| {
            let players: Vec<_> = batch.map(|index| scope.spawn(move || then(stem(index, rate_hz)))).collect();
            players.into_iter().map(|player| player.join().expect("no player panics")).collect::<Vec<_>>()
        })
    })
}

#[cfg(test)]
mod listen;
#[cfg(test)]
mod tests;
