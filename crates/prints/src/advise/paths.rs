//! What each return and each processor adds.
//!
//! A return is heard without it, with it, and alone, where it comes back; a processor ahead of it, behind it, and both
//! together. In and out are compared at matched loudness (ITU-R BS.1770, integrated): the change of loudness stands by
//! itself, bands are stated with it taken off, and crest, attacks, tails and width do not hang on level. The blend curve
//! follows from the same three hearings, see [`measure::blend`].

use measure::blend::{Blend, Part};
use measure::envelope::{self, Band};
use serde::Serialize;
use units::{Problem, Severity, db_from_power, gain_from_db};

use super::hear::{Heard, Wants};
use super::taps::Taps;

/// Levels of the blend curve, against the present one, in dB.
const BLEND_DB: std::ops::RangeInclusive<i32> = -6..=4;
const BLEND_STEP_DB: f64 = 3.0;

/// Changes that are worth a word. Common practice, no source; near what `measure::compare` speaks of.
const WORTH_LU: f64 = 0.1;
const WORTH_DB: f64 = 0.3;
const WORTH_MS: f64 = 10.0;
/// Correlation below which a path works against what it is added to. Common practice, no source.
const AGAINST: f64 = -0.2;

/// What a path is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum PathKind {
    /// A parallel path that comes back.
    Return,
    /// One processor of a chain.
    Processor,
}

/// A change from in to out.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Change {
    /// Integrated loudness.
    pub loudness_lu: Option<f64>,
    /// Level below 250 Hz, from there to 4 kHz, and above, at matched loudness.
    pub low_mid_high_db: [Option<f64>; 3],
    /// Crest factor.
    pub crest_db: Option<f64>,
    /// Sharpness of attacks.
    pub attacks_db: Option<f64>,
    /// Length of the tails of notes below 250 Hz: the time to fall by 20 dB.
    pub bass_tails_ms: Option<f64>,
    /// Length of the tails of notes from 250 Hz to 4 kHz.
    pub tails_ms: Option<f64>,
    /// Side over mid.
    pub width_db: Option<f64>,
}

/// One point of a blend curve.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BlendPoint {
    /// Level of the path against its present one.
    pub level_db: f64,
    /// Change of loudness that it makes there.
    pub loudness_lu: Option<f64>,
    /// Change of level below 250 Hz, from there to 4 kHz, and above, at matched loudness.
    pub low_mid_high_db: [Option<f64>; 3],
    /// Change of side over mid.
    pub width_db: Option<f64>,
}

/// What one path adds.
#[derive(Clone, Debug, Serialize)]
pub struct PathRecord {
    /// What it is.
    pub kind: PathKind,
    /// Its name: the return's, or the node's with the processor's.
    pub name: String,
    /// The bus that a return comes back to, the node that a processor is in.
    pub into: String,
    /// Loudness of the path alone against all else there, or of out against in.
    pub under_lu: Option<f64>,
    /// What it changes.
    pub change: Change,
    /// Correlation with the dry path.
    pub correlation: Option<f64>,
    /// What it would change at other levels.
    pub blend: Vec<BlendPoint>,
    /// The record as a sentence.
    pub sentence: String,
}

/// Where one path is heard.
pub(super) struct PathTaps {
    kind: PathKind,
    name: String,
    into: String,
    dry: usize,
    wet: usize,
    sum: usize,
}

/// Taps on all returns that come back to something else than a return, and on all processors that are on.
pub(super) fn ask(taps: &mut Taps<'_>) -> Vec<PathTaps> {
    let mut all = returns(taps);
    for place in taps.apart.links.clone() {
        let step = &taps.whole.steps[place.step];
        let link = &step.links[place.link];
        // The gain and the limiter of a print's end are not set yet: see the cost of loudness.
        let unsolved = taps.whole.prints.iter().any(|port| port.step == place.step && port.solve_after.is_some());
        if link.off || unsolved {
            continue;
        }
        let title = link.settings.spec().title;
        let same = |link: &&engine::PlanLink| link.settings.spec().title == title;
        let number = step.links[..=place.link].iter().filter(same).count();
        let several = step.links.iter().filter(same).count() > 1;
        let name = if several { format!("{}, {title} {number}", step.name) } else { format!("{}, {title}", step.name) };
        let into = step.name.clone();
        let steps = &taps.apart.plan.steps;
        let late = steps[place.after].leaves - steps[place.before].leaves;
        let [before, after] = [(place.before, late), (place.after, 0)].map(|(from, align_frames)| engine::Input {
            from,
            law: engine::GainLaw::unity(),
            align_frames,
        });
        let arrives = steps[place.after].leaves;
        let sum = taps.apart.plan.listen("in and out", vec![before, after], arrives);
        let [dry, wet, sum] = [place.before, place.after, sum].map(|step| taps.want(step, Wants::PART));
        all.push(PathTaps { kind: PathKind::Processor, name, into, dry, wet, sum });
    }
    all
}

fn returns(taps: &mut Taps<'_>) -> Vec<PathTaps> {
    let mut all = Vec::new();
    for bus in taps.returning() {
        let Some(into) = bus.to.as_ref().filter(|into| !taps.returns.contains(into.as_str())) else { continue };
        let (Some(from), Some(sum)) = (taps.step_of(&bus.name), taps.step_of(into)) else { continue };
        let end = taps.apart.ends[from];
        let inputs = taps.inputs(sum).to_vec();
        let (own, others): (Vec<_>, Vec<_>) = inputs.iter().cloned().partition(|input| input.from == end);
        let [dry, wet, sum] = [others, own, inputs].map(|inputs| {
            let step = taps.listen(sum, inputs);
            taps.want(step, Wants::PART)
        });
        let [name, into] = [&bus.name, into].map(|name| name.as_str().to_owned());
        all.push(PathTaps { kind: PathKind::Return, name, into, dry, wet, sum });
    }
    all
}

impl PathTaps {
    /// A return and the step that hears it where it comes back.
    pub(super) fn comes_back(&self) -> Option<(&str, usize)> {
        (self.kind == PathKind::Return).then_some((self.name.as_str(), self.wet))
    }

    /// The record of what was heard.
    pub(super) fn record(&self, heard: &Heard) -> PathRecord {
        let [dry, wet, sum] = [self.dry, self.wet, self.sum].map(|step| &heard.parts[&step]);
        let blend = Blend { dry, wet, sum };
        let out = if self.kind == PathKind::Return { sum } else { wet };
        let change = Change::between(dry, out);
        PathRecord {
            kind: self.kind,
            name: self.name.clone(),
            into: self.into.clone(),
            under_lu: difference(wet.loudness.integrated_lufs(), dry.loudness.integrated_lufs()),
            correlation: blend.correlation(),
            blend: BLEND_DB.map(|step| point(&blend, BLEND_STEP_DB * f64::from(step))).collect(),
            sentence: change.sentence(),
            change,
        }
    }
}

fn difference(a: Option<f64>, b: Option<f64>) -> Option<f64> {
    a.zip(b).map(|(a, b)| a - b)
}

const BANDS: [Band; 3] = [Band::Low, Band::Middle, Band::High];

impl Change {
    /// The change from one hearing to another.
    pub fn between(before: &Part, after: &Part) -> Self {
        let loudness_lu = difference(after.loudness.integrated_lufs(), before.loudness.integrated_lufs());
        let band = |band| {
            let powers = [after, before].map(|part| part.envelope.power(band));
            matched(powers, loudness_lu)
        };
        let width = |part: &Part| part.level.power().image().width_db;
        Self {
            loudness_lu,
            low_mid_high_db: BANDS.map(band),
            crest_db: difference(after.level.crest_db(), before.level.crest_db()),
            attacks_db: envelope::sharpness_change_db(&before.envelope, &after.envelope),
            bass_tails_ms: envelope::sustain_change_ms(&before.envelope, &after.envelope, Band::Low),
            tails_ms: envelope::sustain_change_ms(&before.envelope, &after.envelope, Band::Middle),
            width_db: difference(width(after), width(before)),
        }
    }

    /// What a path changes, in the trade's words, what can be heard of it first.
    #[must_use]
    pub fn sentence(&self) -> String {
        let loudness = self.loudness_lu.filter(|lu| lu.abs() >= WORTH_LU);
        let loudness = loudness.map(|lu| format!("{} {:.1} LU", if lu > 0.0 { "adds" } else { "takes" }, lu.abs()));
        let mut clauses = Vec::new();
        let mut say = |value: Option<f64>, least: f64, unit: &str, [more, less]: [&str; 2]| {
            if let Some(value) = value.filter(|value| value.abs() >= least) {
                let places = usize::from(unit == "dB");
                clauses.push(format!("{} by {:.places$} {unit}", if value > 0.0 { more } else { less }, value.abs()));
            }
        };
        let [low, middle, high] = self.low_mid_high_db;
        say(low, WORTH_DB, "dB", ["lifts what lies below 250 Hz", "lowers what lies below 250 Hz"]);
        say(middle, WORTH_DB, "dB", ["lifts the middle", "lowers the middle"]);
        say(high, WORTH_DB, "dB", ["lifts what lies above 4 kHz", "lowers what lies above 4 kHz"]);
        say(self.bass_tails_ms, WORTH_MS, "ms", ["lengthens the bass notes", "shortens the bass notes"]);
        say(self.tails_ms, WORTH_MS, "ms", ["lengthens the notes above the bass", "shortens the notes above the bass"]);
        say(self.crest_db, WORTH_DB, "dB", ["raises the crest", "lowers the crest"]);
        say(self.attacks_db, WORTH_DB, "dB", ["sharpens the attacks", "softens the attacks"]);
        say(self.width_db, WORTH_DB, "dB", ["widens", "narrows"]);
        let text = match (loudness, clauses.is_empty()) {
            (None, true) => "changes next to nothing".to_owned(),
            (Some(loudness), true) => loudness,
            (None, false) => clauses.join(", "),
            (Some(loudness), false) => format!("{loudness}; at matched loudness it {}", clauses.join(", ")),
        };
        let mut letters = text.chars();
        let first = letters.next().map(|letter| letter.to_uppercase().to_string()).unwrap_or_default();
        format!("{first}{}.", letters.as_str())
    }
}

/// Change of a power at matched loudness.
fn matched([after, before]: [f64; 2], loudness_lu: Option<f64>) -> Option<f64> {
    let heard = after > 0.0 && before > 0.0;
    heard.then(|| db_from_power(after / before)).zip(loudness_lu).map(|(db, lu)| db - lu)
}

fn point(blend: &Blend<'_>, level_db: f64) -> BlendPoint {
    let gain = gain_from_db(level_db);
    let loudness_lu = difference(blend.integrated_lufs_at(gain), blend.dry.loudness.integrated_lufs());
    let width = |gain: f64| blend.whole_at(gain).image().width_db;
    BlendPoint {
        level_db,
        loudness_lu,
        low_mid_high_db: BANDS.map(|band| matched([blend.band_at(band, gain), blend.band_at(band, 0.0)], loudness_lu)),
        width_db: difference(width(gain), width(0.0)),
    }
}

/// Code `return-cancels`: a return takes loudness away, because it runs against what it joins (correlation below -0.2).
/// Code `return-unheard`: a return changes nothing that can be heard. Common practice, no source.
pub(super) fn finding(record: &PathRecord) -> Option<Problem> {
    if record.kind != PathKind::Return {
        return None;
    }
    let at = format!("bus {}", record.name);
    let (name, into) = (&record.name, &record.into);
    let against = record.correlation.filter(|correlation| *correlation < AGAINST);
    if let (Some(correlation), Some(lu)) = (against, record.change.loudness_lu.filter(|lu| *lu < 0.0)) {
        let message = format!(
            "“{name}” takes {:.1} LU from “{into}” instead of adding: it runs against it (correlation {correlation:.2}).",
            -lu
        );
        let remedy = "Invert its polarity, or look for the processor in it that does.".to_owned();
        return Some(Problem::new(Severity::Warn, "return-cancels", &at, message, remedy));
    }
    let silent = record.under_lu.is_none();
    if silent || record.change == Change::default() || record.sentence.starts_with("Changes next to nothing") {
        let message = format!("“{name}” changes nothing that can be heard in “{into}”.");
        let remedy = "Raise its level, feed it, or take it out.".to_owned();
        return Some(Problem::new(Severity::Note, "return-unheard", &at, message, remedy));
    }
    None
}
