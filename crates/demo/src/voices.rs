//! Who sings what: the lead, her double in the choruses, and two backing parts of two takes each.

use units::Frame;

use crate::melody::{self, Part};
use crate::score::{FORM, beat_of_bar, changes};
use crate::singer::Singer;
use crate::track::{pan_into, silence_stereo};

/// How hard the song asks to be sung at a beat.
fn effort(beat: f64) -> f64 {
    let section = FORM.iter().rev().find(|s| beat_of_bar(s.bar) <= beat + 1.0).map_or("", |s| s.name);
    match section {
        "verse" => 0.52,
        "chorus 1" => 0.78,
        "bridge" => 0.28,
        "chorus 2" => 0.9,
        _ => 0.3,
    }
}

fn behind(beat: f64) -> f64 {
    0.7 * effort(beat)
}

const LEAD: Singer = Singer { seed: 0x1ead, formants: 1.0, timing_ms: [6.0, 7.0], vibrato_cents: 34.0, effort };

/// The lead voice.
pub(crate) fn lead(rate_hz: f64) -> Vec<f64> {
    LEAD.sing(&melody::lead_voice(), rate_hz)
}

/// The lead once more, in the choruses.
pub(crate) fn double(rate_hz: f64) -> Vec<f64> {
    Singer { seed: 0xd0b1e, timing_ms: [12.0, 11.0], effort: behind, ..LEAD }.sing(&melody::double(), rate_hz)
}

/// One backing part: two takes, apart from each other.
fn backing(part: Part, seed: u64, formants: f64, rate_hz: f64) -> Vec<Frame> {
    let notes = melody::backing(&changes(), part);
    let mut frames = silence_stereo(rate_hz);
    for (take, place) in [-0.5, 0.5].into_iter().enumerate() {
        let singer = Singer {
            seed: seed + take as u64,
            formants: formants * (1.0 + 0.025 * (take as f64 - 0.5)),
            timing_ms: [14.0, 11.0],
            vibrato_cents: 18.0,
            effort: behind,
        };
        pan_into(&mut frames, &singer.sing(&notes, rate_hz), place);
    }
    frames
}

/// The backing part above the tune.
pub(crate) fn backing_high(rate_hz: f64) -> Vec<Frame> {
    backing(Part::Above, 0xbac0, 1.05, rate_hz)
}

/// The backing part under the tune.
pub(crate) fn backing_low(rate_hz: f64) -> Vec<Frame> {
    backing(Part::Below, 0xbac8, 0.91, rate_hz)
}
