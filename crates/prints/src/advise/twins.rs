//! Twin prints: whether the print for mastering and a print for approval are the same mix up to their last steps, and what
//! those steps do, section by section. Whoever approves the loud one is to know what of it the mix does not hold.
//!
//! - **Proof**: the steps of the plan that either needs ([`engine::Plan::needed_for`]). Twins share all but their own
//!   prints' steps; the processors of those are named.
//! - **Sections**: the sum that both draw from, the loud print ahead of the gain that its loudness decides (**colour**),
//!   and the whole of it at that gain (**limiter**). Loudness: integrated, gated within the section (ITU-R BS.1770).
//!   Bands: at matched loudness. Attacks, crest, width and what mono loses: [`measure::envelope`], [`measure::stereo`].
//! - **Balance**: what the end of a print does to a stem or return, as [`envelope::shared_change_db`] tells it from its
//!   sound behind its fader, at matched loudness. For what is a gain for all, that is exact to 5 ms; what a stem gathers
//!   on buses in between is left out. Held against the demo's printed stems it is off by 0.6 dB (root of the mean square
//!   of 71 values), by 1.3 dB at most; the finding's threshold stands just above that.
//!
//! The thresholds of all findings are common practice, no source.

use engine::{Plan, Port, Role};
use measure::blend::Part;
use measure::envelope::{self, Band, Envelope};
use measure::level::LevelMeter;
use serde::Serialize;
use sheet::Sheet;
use units::{Problem, Severity, db_from_power};

use super::hear::{Heard, Wants};
use super::sections::Span;
use super::taps::Taps;

/// Kind of the print that the others are held against.
const MASTERING: &str = "mastering";
/// A stem this far under the loudest of a section is not told.
const SOFT_DB: f64 = -30.0;
/// Sections shorter than this tell nothing.
const SHORTEST_S: f64 = 1.0;
/// Changes that are worth a finding. Common practice, no source.
const BALANCE_DB: f64 = 1.5;
const ATTACKS_DB: f64 = -1.5;
const CONTRAST_LU: f64 = 2.0;

/// What some processors do to one section.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct TwinChange {
    /// Integrated loudness.
    pub loudness_lu: Option<f64>,
    /// Level below 250 Hz, from there to 4 kHz, and above, at matched loudness.
    pub low_mid_high_db: [Option<f64>; 3],
    /// Crest factor.
    pub crest_db: Option<f64>,
    /// Sharpness of attacks.
    pub attacks_db: Option<f64>,
    /// Side over mid.
    pub width_db: Option<f64>,
    /// What mono loses.
    pub mono_loss_db: Option<f64>,
    /// Stems, at matched loudness.
    pub stems_db: Vec<(String, f64)>,
    /// Returns, at matched loudness.
    pub returns_db: Vec<(String, f64)>,
}

/// One section of both twins.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TwinSection {
    /// Name.
    pub name: String,
    /// Start and end, in seconds.
    pub secs: [f64; 2],
    /// Loudness of the sum that both draw from.
    pub mix_lufs: Option<f64>,
    /// What the chain ahead of the gain does.
    pub colour: TwinChange,
    /// What that gain and the limiter behind it do; none for a print whose loudness is not sought.
    pub limiter: Option<TwinChange>,
}

/// Two prints of one mix.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TwinRecord {
    /// The print for mastering.
    pub mastering: String,
    /// The other.
    pub approval: String,
    /// Stems and buses that both draw from.
    pub shared: usize,
    /// Stems and buses that only one of them draws from, of each; none if they are twins.
    pub parted: [Vec<String>; 2],
    /// The processors in which they differ, of each, in order.
    pub own: [Vec<String>; 2],
    /// Section by section.
    pub sections: Vec<TwinSection>,
}

/// Where a pair is heard.
pub(super) struct TwinTaps {
    mastering: String,
    approval: String,
    shared: usize,
    parted: [Vec<String>; 2],
    own: [Vec<String>; 2],
    /// Steps ahead of the print's chain, and ahead of its gain.
    steps: [usize; 2],
    solved: bool,
}

/// Taps on every pair of the print for mastering and another.
pub(super) fn ask(taps: &mut Taps<'_>) -> Vec<TwinTaps> {
    let whole = taps.whole;
    let Some(first) = mastering(taps.sheet, whole) else { return Vec::new() };
    let others = whole.prints.iter().filter(|port| port.name != first.name);
    others
        .map(|port| {
            let needed = [first, port].map(|port| whole.needed_for(&[port.step]));
            let nodes = |of: &dyn Fn(usize) -> bool| -> Vec<String> {
                let steps = whole.steps.iter().enumerate().filter(|(index, _)| of(*index));
                steps.filter(|(_, step)| step.role != Role::Print).map(|(_, step)| step.name.clone()).collect()
            };
            let [a, b] = &needed;
            let head = port.solve_after.unwrap_or(port.step);
            let steps = [taps.apart.heads[head], taps.apart.ends[head]];
            TwinTaps {
                mastering: first.name.clone(),
                approval: port.name.clone(),
                shared: nodes(&|index| a[index] && b[index]).len(),
                parted: [nodes(&|index| a[index] && !b[index]), nodes(&|index| b[index] && !a[index])],
                own: [first, port].map(|port| own(whole, port)),
                steps: steps.map(|step| taps.want(step, Wants::SECTIONS)),
                solved: port.solve_after.is_some(),
            }
        })
        .collect()
}

/// The print of that kind; where none is, the first without a limiter.
fn mastering<'a>(sheet: &Sheet, plan: &'a Plan) -> Option<&'a Port> {
    let kind = |port: &&Port| sheet.print(&port.name).is_some_and(|print| print.kind.as_deref() == Some(MASTERING));
    let unlimited = |port: &&Port| plan.ceiling_dbtp(port).is_none();
    plan.prints.iter().find(kind).or_else(|| plan.prints.iter().find(unlimited))
}

/// The processors of a print's own steps; the gain that its loudness decides among them.
fn own(plan: &Plan, port: &Port) -> Vec<String> {
    let steps = port.solve_after.into_iter().chain([port.step]);
    let title = |(step, index, link): (usize, usize, &engine::PlanLink)| {
        let gain = port.solve_after.is_some() && step == port.step && index == 0;
        (!link.off).then(|| if gain { "gain".to_owned() } else { link.settings.spec().title.to_owned() })
    };
    steps
        .flat_map(|step| plan.steps[step].links.iter().enumerate().map(move |(i, l)| (step, i, l)))
        .filter_map(title)
        .collect()
}

/// A sum of which sections are known.
struct Sum<'a> {
    part: &'a Part,
    levels: &'a [LevelMeter],
}

impl<'a> Sum<'a> {
    fn of(heard: &'a Heard, step: usize) -> Self {
        Self { part: &heard.parts[&step], levels: &heard.levels[&step] }
    }
}

/// Names and what was heard of them.
pub(super) type Named<'a> = Vec<(&'a str, &'a Part)>;

impl TwinTaps {
    /// The print whose end decides.
    pub(super) fn approval(&self) -> &str {
        &self.approval
    }

    /// The record. `end` is the whole print at the gain that its loudness asks for, and its step.
    pub(super) fn record(
        &self,
        heard: &Heard,
        end: Option<(&Heard, usize)>,
        spans: &[Span],
        [stems, returns]: [&Named<'_>; 2],
    ) -> TwinRecord {
        let [shared, coloured] = self.steps.map(|step| Sum::of(heard, step));
        let limited = end.filter(|_| self.solved).map(|(heard, step)| Sum::of(heard, step));
        let section = |(index, span): (usize, &Span)| {
            let change = |before, after| {
                let mut change = change(before, after, index, span.secs);
                let loudness_lu = change.loudness_lu.unwrap_or(0.0);
                let [before, after] = [before, after].map(|sum: &Sum<'_>| sum.part.envelope.between(span.secs));
                let balance = |all: &Named<'_>| balance(all, span.secs, [&before, &after], loudness_lu);
                (change.stems_db, change.returns_db) = (balance(stems), balance(returns));
                change
            };
            TwinSection {
                name: span.name.clone(),
                secs: span.secs,
                mix_lufs: shared.part.loudness.integrated_lufs_between(span.secs),
                colour: change(&shared, &coloured),
                limiter: limited.as_ref().map(|limited| change(&coloured, limited)),
            }
        };
        let long = |(_, span): &(usize, &Span)| span.secs[1] - span.secs[0] >= SHORTEST_S;
        TwinRecord {
            mastering: self.mastering.clone(),
            approval: self.approval.clone(),
            shared: self.shared,
            parted: self.parted.clone(),
            own: self.own.clone(),
            sections: spans.iter().enumerate().filter(long).map(section).collect(),
        }
    }
}

/// All but the balance.
fn change(before: &Sum<'_>, after: &Sum<'_>, index: usize, secs: [f64; 2]) -> TwinChange {
    let difference =
        |of: &dyn Fn(&Sum<'_>) -> Option<f64>| of(after).zip(of(before)).map(|(after, before)| after - before);
    let loudness_lu = difference(&|sum| sum.part.loudness.integrated_lufs_between(secs));
    let [old, new] = [before, after].map(|sum| sum.part.envelope.between(secs));
    let band = |band: Band| {
        let (old, new) = (old.power(band), new.power(band));
        (old > 0.0 && new > 0.0).then(|| db_from_power(new / old)).zip(loudness_lu).map(|(db, lu)| db - lu)
    };
    let image = |sum: &Sum<'_>| sum.levels[index].power().image();
    TwinChange {
        loudness_lu,
        low_mid_high_db: [Band::Low, Band::Middle, Band::High].map(band),
        crest_db: difference(&|sum| sum.levels[index].crest_db()),
        attacks_db: envelope::sharpness_change_db(&old, &new),
        width_db: difference(&|sum| image(sum).width_db),
        mono_loss_db: difference(&|sum| image(sum).fold_down_loss_db),
        ..TwinChange::default()
    }
}

/// What happens to each of them that sounds in a stretch, less the change of all.
fn balance(all: &Named<'_>, secs: [f64; 2], [before, after]: [&Envelope; 2], less_db: f64) -> Vec<(String, f64)> {
    let parts: Vec<(&str, Envelope)> = all.iter().map(|(name, part)| (*name, part.envelope.between(secs))).collect();
    let loudest = parts.iter().fold(0.0f64, |most, (_, part)| most.max(part.power(Band::Whole)));
    let sounds = |part: &Envelope| loudest > 0.0 && db_from_power(part.power(Band::Whole) / loudest) > SOFT_DB;
    let sounding = parts.iter().filter(|(_, part)| sounds(part));
    sounding
        .filter_map(|(name, part)| {
            Some(((*name).to_owned(), envelope::shared_change_db(part, before, after)? - less_db))
        })
        .collect()
}

impl TwinSection {
    /// Colour and limiter, as far as they are there.
    fn changes(&self) -> impl Iterator<Item = &TwinChange> {
        [&self.colour].into_iter().chain(&self.limiter)
    }

    /// What becomes of each stem from the shared sum to the finished print, in dB at matched loudness.
    #[must_use]
    pub fn stems_db(&self) -> Vec<(&str, f64)> {
        self.both(|change| &change.stems_db)
    }

    /// The same of stems, then of returns.
    #[must_use]
    pub fn balance_db(&self) -> Vec<(&str, f64)> {
        let mut all = self.stems_db();
        all.extend(self.both(|change| &change.returns_db));
        all
    }

    /// Changes by colour and by the limiter, together.
    fn both(&self, of: fn(&TwinChange) -> &Vec<(String, f64)>) -> Vec<(&str, f64)> {
        let in_limiter = |name: &str| {
            let limiter = self.limiter.iter().flat_map(of);
            limiter.filter(|(other, _)| other == name).map(|(_, db)| db).sum::<f64>()
        };
        of(&self.colour).iter().map(|(name, db)| (name.as_str(), db + in_limiter(name))).collect()
    }

    /// Loudness gained from the shared sum to the finished print.
    fn gained_lu(&self) -> Option<f64> {
        self.changes().map(|change| change.loudness_lu).sum()
    }

    fn attacks_db(&self) -> Option<f64> {
        self.changes().map(|change| change.attacks_db).sum()
    }
}

impl TwinRecord {
    /// By how much less the loudest and the softest section differ in the print than in the mix.
    #[must_use]
    pub fn contrast_lost_lu(&self) -> Option<f64> {
        let range = |all: Vec<f64>| {
            let most = all.iter().copied().reduce(f64::max)?;
            Some(most - all.iter().copied().reduce(f64::min)?)
        };
        let mix = |section: &TwinSection| section.mix_lufs;
        let print = |section: &TwinSection| Some(section.mix_lufs? + section.gained_lu()?);
        let [mix, print] = [&mix as &dyn Fn(&TwinSection) -> Option<f64>, &print]
            .map(|of| range(self.sections.iter().filter_map(of).collect()));
        Some(mix? - print?)
    }
}

/// Findings of one pair.
///
/// - `twins-part-early` (warn): a stem or bus is in one print and not in the other. What is approved is not what is
///   mastered.
/// - `end-moves-balance` (note): the end of the print moves a stem by 1.5 dB or more at matched loudness, in a section.
/// - `end-softens-attacks` (note): in a section its attacks are 1.5 dB or more softer than the mix's.
/// - `contrast-lost` (note): its loudest and softest section differ by 2 LU or more less than in the mix.
///
/// All common practice, no source.
pub(super) fn findings(record: &TwinRecord) -> Vec<Problem> {
    let at = format!("print {}", record.approval);
    let (loud, clean) = (&record.approval, &record.mastering);
    let mut found = Vec::new();
    let mut add = |section: Option<&TwinSection>, severity, code, message: String, remedy: &str| {
        let finding = Problem::new(severity, code, &at, message, remedy.to_owned());
        found.push(section.map_or(finding.clone(), |section| finding.at_secs(section.secs[0])));
    };
    if record.parted.iter().any(|parted| !parted.is_empty()) {
        let names: Vec<String> = record.parted.iter().flatten().map(|name| format!("“{name}”")).collect();
        let message =
            format!("“{loud}” and “{clean}” are not the same mix: only one of them draws from {}.", names.join(", "));
        add(
            None,
            Severity::Warn,
            "twins-part-early",
            message,
            "Draw both from one bus, and let them differ in their own chains only.",
        );
    }
    let moved = record.sections.iter().flat_map(|s| s.stems_db().into_iter().map(move |(stem, db)| (s, stem, db)));
    let most = moved.filter(|(.., db)| db.abs() >= BALANCE_DB).max_by(|a, b| a.2.abs().total_cmp(&b.2.abs()));
    if let Some((section, stem, db)) = most {
        let way = if db > 0.0 { "higher" } else { "lower" };
        let message = format!(
            "In {} “{stem}” stands {:.1} dB {way} in “{loud}” than in the mix, at the same loudness: its chain does that.",
            section.name,
            db.abs()
        );
        add(
            Some(section),
            Severity::Note,
            "end-moves-balance",
            message,
            "Judge that balance by the print for mastering, at the same loudness.",
        );
    }
    let softened = record.sections.iter().filter_map(|section| Some((section, section.attacks_db()?)));
    if let Some((section, db)) = softened.filter(|(_, db)| *db <= ATTACKS_DB).min_by(|a, b| a.1.total_cmp(&b.1)) {
        let message = format!("In {} attacks are {:.1} dB softer in “{loud}” than in the mix.", section.name, -db);
        let remedy = "Ask for less loudness, or let the limiter go sooner.";
        add(Some(section), Severity::Note, "end-softens-attacks", message, remedy);
    }
    if let Some(lu) = record.contrast_lost_lu().filter(|lu| *lu >= CONTRAST_LU) {
        let message =
            format!("In “{loud}” the loudest and the softest section differ by {lu:.1} LU less than in the mix.");
        let gained = |section: &&TwinSection| section.gained_lu().unwrap_or(f64::NEG_INFINITY);
        add(
            record.sections.iter().max_by(|a, b| gained(a).total_cmp(&gained(b))),
            Severity::Note,
            "contrast-lost",
            message,
            "Ask for less loudness, or ride the sections ahead of its chain.",
        );
    }
    found
}
