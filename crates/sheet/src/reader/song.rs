//! The song and its sections.

use std::collections::HashMap;

use super::clock::{Clock, is_timelike};
use super::fields::Fields;
use super::forms::time_signature;
use super::report::Fault;
use crate::keys;
use crate::model::{Section, Song};

/// The song, and the clock by which its times are read. A sheet without a song is read on with an empty one.
pub(super) fn read_song(sheet: &Fields<'_>) -> (Song, Clock) {
    let open = |item| Fields::open(sheet.report, &keys::SONG, item, "song".to_owned());
    let song = sheet.get("song").and_then(|entry| open(&entry.item));
    let string = |key| song.as_ref().and_then(|song| song.string(key));
    let time_signature = string(&keys::TIME_SIGNATURE).and_then(|text| time_signature(&text)).unwrap_or((4, 4));
    let tempo_is_named = |song: &&Fields<'_>| song.get(keys::TEMPO.name).is_some();
    let tempo_bpm = song.as_ref().filter(tempo_is_named).map(|song| song.number(&keys::TEMPO));
    let clock = Clock { tempo_bpm, time_signature, sections: HashMap::new() };
    let read = Song {
        title: string(&keys::TITLE).unwrap_or_default(),
        artist: string(&keys::ARTIST).unwrap_or_default(),
        rate_hz: song.as_ref().and_then(|song| song.whole(&keys::RATE)).unwrap_or(keys::RATES_HZ[0]),
        tempo_bpm,
        time_signature,
        album: string(&keys::ALBUM),
        isrc: string(&keys::ISRC),
        key: string(&keys::MUSICAL_KEY),
        writer: string(&keys::WRITER),
        producer: string(&keys::PRODUCER),
        mixer: string(&keys::MIXER),
        contact: string(&keys::CONTACT),
        date: string(&keys::DATE),
        artist_initials: string(&keys::ARTIST_INITIALS),
        mixer_initials: string(&keys::MIXER_INITIALS),
        start_secs: song.as_ref().and_then(|song| song.time(&keys::START, &clock)).unwrap_or(0.0),
    };
    (read, clock)
}

/// The sections, in order of time. Each becomes known to the clock, for those below it and for everything else.
pub(super) fn read_sections(sheet: &Fields<'_>, clock: &mut Clock) -> Vec<Section> {
    let mut sections = Vec::new();
    for fields in sheet.entries("section", &keys::SECTION) {
        let name = fields.text(&keys::NAME);
        let from_secs = fields.time(&keys::SECTION_FROM, clock);
        let Some(name) = name else { continue };
        if is_timelike(&name) {
            let message = format!("`{name}` reads like a time.");
            let fault = Fault::new("bad-name", message, "Name the section in words, without `:`, `|` or `+`.");
            sheet.report.fail_at(fields.at(), name.place(), fault);
        }
        // A section whose time is wrong is still known, so that its name is not refused wherever it is used.
        clock.sections.entry(name.as_str().to_owned()).or_insert(from_secs.unwrap_or(0.0));
        sections.extend(from_secs.map(|from_secs| Section { name, from_secs }));
    }
    sections.sort_by(|a, b| a.from_secs.total_cmp(&b.from_secs));
    sections
}
