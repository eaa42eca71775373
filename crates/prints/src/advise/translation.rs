//! How prints travel: to one speaker, to a small one, to the next room, to soft listening, to a disc.
//!
//! All of it follows from one hearing of the print at the gain that it asks for: its spectrum with the powers of both
//! channels and of their product, its envelope, and its low end as a disc has it. Levels "by ear" are weighed as in ITU-R
//! BS.1770 (K). Nothing is processed: these are facts about what will be lost, and `hear` makes them heard.
//!
//! - **Mono**: power of both channels over that of the fold-down `(L+R)/2`, whole and by third octave. Channels of equal
//!   level and correlation r lose `-10 lg((1+r)/2)`: 0 dB for r = 1, 3.01 dB for r = 0, all for r = -1.
//! - **Small speaker**: one speaker that plays from 200 Hz to 10 kHz.
//! - **Far**: one speaker in the next room; a door takes 6 dB an octave from 500 Hz on.
//! - **Soft**: from 80 to 60 phon, by the equal-loudness contours of ISO 226:2003 ([`measure::equal_loudness`]); both lie
//!   in its range at all its frequencies, and 80 is near a mixing room's level.
//! - **Sides**: what is in the difference of the channels, over their sum.
//! - **Disc**: lateral and vertical movement below 300 Hz ([`measure::disc`]), and the strongest 50 ms above 4 kHz over
//!   the mean of the whole: esses and cymbals that a cutter must tame.
//!
//! Bands of small and far speakers and all thresholds are common practice, no source.

use measure::blend::Part;
use measure::disc::Disc;
use measure::envelope::Band;
use measure::equal_loudness::seems_changed_db;
use measure::loudness::KWeighting;
use measure::spectrum::Spectrum;
use measure::stereo::StereoPower;
use serde::Serialize;
use units::{Problem, Severity, db_from_power, gain_from_db};

use super::twins::Named;

/// What a small speaker plays, in Hz.
pub(super) const SMALL_HZ: [f64; 2] = [200.0, 10_000.0];
/// Where a door begins to take away, in Hz, by 6 dB an octave.
pub(super) const DOOR_HZ: f64 = 500.0;
/// Loudness level of 1 kHz in the mixing room, and played softly.
pub(super) const PHON: [f64; 2] = [80.0, 60.0];
/// Low, middle and high, in Hz.
const BANDS_HZ: [[f64; 2]; 3] = measure::envelope::BANDS_HZ;
/// Window of an ess.
const ESS_S: f64 = 0.05;

/// A third octave that loses this much in mono is a finding, from so far under the strongest one on.
const LOST_DB: f64 = 6.0;
const WORTH_DB: f64 = -25.0;
/// Loudness that a small speaker leaves of a print, and what it leaves of a stem.
const THIN_LU: [f64; 2] = [-3.0, -6.0];
const THIN_STEM_DB: f64 = -15.0;
/// Vertical over lateral movement below 300 Hz: worth knowing, and likely to be mended by the cutter.
const VERTICAL_DB: [f64; 2] = [-10.0, -3.0];
/// Strongest 50 ms above 4 kHz over the mean of all.
const SIBILANT_DB: f64 = 3.0;

/// A third octave in mono.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MonoBand {
    /// Nominal centre.
    pub hz: f64,
    /// Level under the strongest third octave.
    pub level_db: f64,
    /// What mono loses; none if it loses all.
    pub lost_db: Option<f64>,
}

/// How a print travels.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TranslationRecord {
    /// The print.
    pub print: String,
    /// What mono loses of the whole; none for silence, or if it loses all.
    pub mono_lost_db: Option<f64>,
    /// And by third octave.
    pub mono: Vec<MonoBand>,
    /// Loudness that a small speaker leaves.
    pub small_speaker_lu: Option<f64>,
    /// By ear, what lies below 250 Hz over what lies from there to 4 kHz: here, and from the next room.
    pub low_over_middle_db: [Option<f64>; 2],
    /// What lies below 250 Hz, from there to 4 kHz, and above, seems to change by when it is played softly.
    pub soft_low_mid_high_db: [Option<f64>; 3],
    /// Sides over middle: below 250 Hz, from there to 4 kHz, and above.
    pub side_low_mid_high_db: [Option<f64>; 3],
    /// The low end of a disc.
    pub disc: Disc,
    /// Vertical over lateral movement in it.
    pub vertical_over_lateral_db: Option<f64>,
    /// The strongest 50 ms above 4 kHz over the mean of all, and when they start.
    pub sibilance_db: Option<f64>,
    /// When they start, in seconds.
    pub sibilance_secs: Option<f64>,
}

/// A stem on a small speaker.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ThinStem {
    /// The stem.
    pub stem: String,
    /// What is left of it above 250 Hz, over all of it.
    pub left_db: f64,
}

/// A print as it was heard at the gain that it asks for.
pub(super) struct Finished<'a> {
    pub name: &'a str,
    pub part: &'a Part,
    pub spectrum: &'a Spectrum,
    pub disc: &'a Disc,
    pub rate_hz: f64,
}

impl Finished<'_> {
    /// The record.
    pub(super) fn record(&self) -> TranslationRecord {
        let bands = self.by_ear();
        let inside = |hz: f64, [from, to]: [f64; 2]| hz >= from && hz < to;
        let power = |of: &dyn Fn(f64) -> f64| bands.iter().map(|(hz, power)| of(*hz) * power).sum::<f64>();
        let within =
            |range: [f64; 2], of: &dyn Fn(f64) -> f64| power(&|hz| if inside(hz, range) { of(hz) } else { 0.0 });
        let ratio = |over: f64, under: f64| (over > 0.0 && under > 0.0).then(|| db_from_power(over / under));
        let behind_door = |hz: f64| 1.0 / (1.0 + (hz / DOOR_HZ) * (hz / DOOR_HZ));
        let softly = |hz: f64| {
            let gain = gain_from_db(seems_changed_db(PHON[0], PHON[1], hz));
            gain * gain
        };
        let [low, middle, _] = BANDS_HZ;
        let low_over_middle = |of: &dyn Fn(f64) -> f64| ratio(within(low, of), within(middle, of));
        let image = |[from, to]: [f64; 2]| self.spectrum.power(from, to).image();
        let mean = self.part.envelope.power(Band::Whole);
        let ess = self.part.envelope.strongest(Band::High, ESS_S).filter(|_| mean > 0.0);
        TranslationRecord {
            print: self.name.to_owned(),
            mono_lost_db: self.part.level.power().image().fold_down_loss_db,
            mono: self.mono(),
            small_speaker_lu: ratio(within(SMALL_HZ, &|_| 1.0), power(&|_| 1.0)),
            low_over_middle_db: [low_over_middle(&|_| 1.0), low_over_middle(&behind_door)],
            soft_low_mid_high_db: BANDS_HZ.map(|range| ratio(within(range, &softly), within(range, &|_| 1.0))),
            side_low_mid_high_db: BANDS_HZ.map(|range| image(range).width_db),
            disc: *self.disc,
            vertical_over_lateral_db: self.disc.vertical_over_lateral_db(),
            sibilance_db: ess.map(|(power, _)| db_from_power(power / mean)),
            sibilance_secs: ess.map(|(_, secs)| secs),
        }
    }

    /// Powers of the fold-down by third octave, weighed as in BS.1770.
    fn by_ear(&self) -> Vec<(f64, f64)> {
        let weight = KWeighting::new(self.rate_hz, [1.0; 2]);
        let bands = self.spectrum.third_octaves().into_iter();
        bands.filter_map(|(hz, power)| Some((hz, power?.mid() * weight.power_gain(hz, self.rate_hz)))).collect()
    }

    fn mono(&self) -> Vec<MonoBand> {
        let bands = self.spectrum.third_octaves();
        let strongest = bands.iter().filter_map(|(_, power)| *power).map(|p| p.mean()).fold(0.0f64, f64::max);
        let heard = |power: StereoPower| (power.mean() > 0.0).then_some(power);
        let band = |(hz, power): (f64, Option<StereoPower>)| {
            let power = heard(power?)?;
            let level_db = db_from_power(power.mean() / strongest);
            Some(MonoBand { hz, level_db, lost_db: power.image().fold_down_loss_db })
        };
        bands.into_iter().filter_map(band).collect()
    }
}

/// What a small speaker leaves of every stem.
pub(super) fn thin_stems(stems: &Named<'_>) -> Vec<ThinStem> {
    let left = |part: &Part| part.envelope.power(Band::Middle) + part.envelope.power(Band::High);
    let all = |part: &Part| left(part) + part.envelope.power(Band::Low);
    let heard = stems.iter().filter(|(_, part)| left(part) > 0.0 && part.loudness.integrated_lufs().is_some());
    heard
        .map(|(stem, part)| ThinStem { stem: (*stem).to_owned(), left_db: db_from_power(left(part) / all(part)) })
        .collect()
}

/// Code `small-speaker-thin` for a stem (note): above 250 Hz 15 dB less is left of it than all of it, so that small
/// speakers do not play it at all. Common practice, no source.
pub(super) fn stem_finding(stem: &ThinStem) -> Option<Problem> {
    let ThinStem { stem, left_db } = stem;
    (*left_db <= THIN_STEM_DB).then(|| {
        let message =
            format!("A small speaker leaves next to nothing of “{stem}”: {:.0} dB less than there is.", -left_db);
        let remedy = "Give it harmonics above 250 Hz: a little drive, or a lift where its attack is.".to_owned();
        Problem::new(Severity::Note, "small-speaker-thin", &format!("stem {stem}"), message, remedy)
    })
}

/// Findings of a print.
///
/// - `mono-band-lost` (warn): third octaves that lose 6 dB or more in mono (channels of equal level with a correlation
///   of -0.5), among those within 25 dB of the strongest.
/// - `small-speaker-thin` (note; warn from 6 LU): a small speaker leaves 3 LU less of the print than there is.
/// - `vertical-low-end` (note; warn from -3 dB): vertical movement below 300 Hz within 10 dB of the lateral one.
/// - `sibilant` (note): 50 ms above 4 kHz reach 3 dB over the mean of the whole print.
///
/// All common practice, no source.
pub(super) fn findings(record: &TranslationRecord) -> Vec<Problem> {
    let at = format!("print {}", record.print);
    let mut found = Vec::new();
    let mut add = |severity, code, message: String, remedy: &str| {
        found.push(Problem::new(severity, code, &at, message, remedy.to_owned()));
    };
    let lost: Vec<&MonoBand> = record.mono.iter().filter(|band| is_lost(band)).collect();
    if let [first, .., last] | [first @ last] = &lost[..] {
        let worst = lost.iter().map(|band| band.lost_db.unwrap_or(f64::INFINITY)).fold(0.0f64, f64::max);
        let much = if worst.is_finite() { format!("up to {worst:.0} dB") } else { "all".to_owned() };
        let where_to =
            if first.hz == last.hz { format!("{} Hz", first.hz) } else { format!("{} to {} Hz", first.hz, last.hz) };
        let message =
            format!("Mono loses {much} of what lies at {where_to}: the channels work against each other there.");
        add(
            Severity::Warn,
            "mono-band-lost",
            message,
            "Find the stem or return by the side effects, and narrow it or invert its polarity.",
        );
    }
    if let Some(lu) = record.small_speaker_lu.filter(|lu| *lu <= THIN_LU[0]) {
        let severity = if lu <= THIN_LU[1] { Severity::Warn } else { Severity::Note };
        let message =
            format!("A small speaker leaves {:.1} LU less of it than there is: that much lies below 200 Hz.", -lu);
        add(severity, "small-speaker-thin", message, "Lower what nobody hears as a tone, or give it harmonics.");
    }
    let vertical = match (record.disc.vertical_db, record.vertical_over_lateral_db) {
        (Some(_), None) => Some(f64::INFINITY),
        (_, ratio) => ratio,
    };
    if let Some(db) = vertical.filter(|db| *db >= VERTICAL_DB[0]) {
        let severity = if db >= VERTICAL_DB[1] { Severity::Warn } else { Severity::Note };
        let much = if db.is_finite() { format!("lies {db:.1} dB against") } else { "stands alone, without".to_owned() };
        let message = format!("Below 300 Hz what moves a disc's stylus up and down {much} what moves it sideways.");
        add(
            severity,
            "vertical-low-end",
            message,
            "For a disc: bring the low end to the middle, or know that the cutter will.",
        );
    }
    if let Some((db, secs)) = record.sibilance_db.zip(record.sibilance_secs).filter(|(db, _)| *db >= SIBILANT_DB) {
        let time = units::format_time(secs);
        let message = format!(
            "At {time} what lies above 4 kHz stands {db:.1} dB over the mean of all for 50 ms: an ess or a cymbal."
        );
        let remedy = "For a disc, and for bright speakers: tame it where it comes from.".to_owned();
        found.push(Problem::new(Severity::Note, "sibilant", &at, message, remedy).at_secs(secs));
    }
    found
}

fn is_lost(band: &MonoBand) -> bool {
    band.level_db >= WORTH_DB && band.lost_db.is_none_or(|db| db >= LOST_DB)
}
