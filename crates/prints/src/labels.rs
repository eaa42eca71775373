//! What files are called and what is written into them.

use std::collections::HashMap;

use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::Offset;
use media::Metadata;
use sheet::{FileFormat, FileSpec, Print, Sheet};

use crate::files::rate_of;
use crate::names::{self, NameParts};
use crate::spool::Gauged;

/// Name of a file of a print.
pub(crate) fn file_name(sheet: &Sheet, print: &Print, revision: u32, spec: &FileSpec) -> String {
    let parts = NameParts {
        song: &sheet.song,
        revision,
        print: &print.name,
        format: spec.format,
        rate_hz: rate_of(spec, sheet.song.rate_hz),
    };
    names::file_name(print.pattern.as_deref().unwrap_or(sheet::keys::USUAL_PATTERN), &parts)
}

/// The same name, with a number where it is taken already.
pub(crate) fn unique(name: String, taken: &mut HashMap<String, u32>) -> String {
    let uses = taken.entry(name.to_lowercase()).or_insert(0);
    *uses += 1;
    match (*uses, name.rsplit_once('.')) {
        (1, _) | (_, None) => name,
        (uses, Some((stem, ending))) => format!("{stem}_{uses}.{ending}"),
    }
}

/// Format in words: `WAV 24 bit, 48 kHz`.
pub(crate) fn format_in_words(spec: &FileSpec, rate_hz: u32) -> String {
    let rate = f64::from(rate_hz) / 1000.0;
    match spec.format {
        FileFormat::Wav { bits: 32, .. } => format!("WAV 32 bit float, {rate} kHz"),
        FileFormat::Wav { bits, .. } => format!("WAV {bits} bit, {rate} kHz"),
        FileFormat::Aiff { bits, .. } => format!("AIFF {bits} bit, {rate} kHz"),
        FileFormat::Flac { bits, .. } => format!("FLAC {bits} bit, {rate} kHz"),
        FileFormat::Mp3 { kbps } => format!("MP3 {kbps} kbit/s, {rate} kHz"),
        FileFormat::Opus { kbps } => format!("Opus {kbps} kbit/s, {rate} kHz"),
        FileFormat::Vorbis { kbps } => format!("Vorbis {kbps} kbit/s, {rate} kHz"),
    }
}

/// When a run takes place, in universal time. All its labels carry this one moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Moment(DateTime);

/// How a report writes a moment.
const DATE_AND_TIME: &str = "%Y-%m-%d %H:%M:%S UTC";

impl Moment {
    pub(crate) fn now() -> Self {
        Self(Offset::UTC.to_datetime(Timestamp::now()))
    }

    /// Reads the date of a report.
    pub(crate) fn of_report(date: &str) -> Option<Self> {
        DateTime::strptime(DATE_AND_TIME, date).ok().map(Self)
    }

    /// The date for a report.
    pub(crate) fn in_report(self) -> String {
        self.0.strftime(DATE_AND_TIME).to_string()
    }
}

/// What the labels of all files of a run have in common.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Occasion<'a> {
    /// What the caller called the run.
    pub label: Option<&'a str>,
    pub moment: Moment,
}

/// Labels of all files of a print.
pub(crate) fn metadata(sheet: &Sheet, print: &Print, revision: &str, occasion: Occasion<'_>) -> Metadata {
    let song = &sheet.song;
    let credit = |role: &str, name: &Option<String>| name.clone().map(|name| (role.to_owned(), name));
    let Occasion { label, moment: Moment(moment) } = occasion;
    let version = match label {
        Some(label) => format!("{}, {revision}, {label}", print.name),
        None => format!("{}, {revision}", print.name),
    };
    Metadata {
        title: Some(song.title.clone()),
        artist: Some(song.artist.clone()),
        album: song.album.clone(),
        version: Some(version),
        isrc: song.isrc.clone(),
        date: Some(song.date.clone().unwrap_or_else(|| moment.strftime("%Y-%m-%d").to_string())),
        time: Some(moment.strftime("%H:%M:%S").to_string()),
        tempo_bpm: song.tempo_bpm,
        key: song.key.clone(),
        comment: song.contact.as_ref().map(|contact| format!("Contact: {contact}")),
        originator: Some("Fairprint".to_owned()),
        time_reference: (song.start_secs * f64::from(song.rate_hz)).round() as u64,
        coding_history: vec![format!(
            "A=PCM,F={},W=64,M=stereo,T=Fairprint {}",
            song.rate_hz,
            env!("CARGO_PKG_VERSION")
        )],
        credits: [("writer", &song.writer), ("producer", &song.producer), ("mixer", &song.mixer)]
            .iter()
            .filter_map(|(role, name)| credit(role, name))
            .collect(),
        track_names: vec![print.name.as_str().to_owned()],
    }
}

/// Loudness figures for the broadcast extension.
pub(crate) fn loudness(gauged: &Gauged) -> media::Loudness {
    let loudness = &gauged.loudness;
    media::Loudness {
        integrated_lufs: loudness.integrated_lufs(),
        range_lu: loudness.loudness_range_lu(),
        true_peak_dbtp: gauged.true_peak_dbtp,
        max_momentary_lufs: loudness.max_momentary_lufs(),
        max_short_term_lufs: loudness.max_short_term_lufs(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_moment_is_read_back_from_a_report() {
        let moment = Moment::now();
        // A report knows whole seconds.
        let read = Moment::of_report(&moment.in_report()).expect("its own words");
        assert_eq!(read.in_report(), moment.in_report());
        assert_eq!(Moment::of_report("2026-11-27"), None);
    }
}
