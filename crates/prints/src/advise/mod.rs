//! Advice on a sheet, from what is heard of it: what each path adds and where it does harm, what loudness costs, who goes
//! where, what the loud print hides, how prints travel.
//!
//! [`advise`] renders the song once with a tap on every path and every processor; then it probes what is parallel, renders
//! the ends of prints at many gains, and takes the stems apart over a few passages. Nothing is printed. Each file below
//! holds one kind of question: `ask` places the taps, `record` turns what was heard into figures, `finding` judges them,
//! each with its method and its source.

mod alignment;
mod aloud;
mod cells;
mod codecs;
mod cost;
mod hear;
mod ledger;
mod leftovers;
mod outgoing;
mod page;
mod paths;
mod plot;
mod pre_delay;
mod routing;
mod sections;
mod sides;
mod taps;
mod translation;
mod twins;

use std::collections::HashMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use engine::{Fault, Folder, Plan};
use serde::Serialize;
use sheet::Sheet;
use units::{Problem, Severity};

use crate::load::{self, Loaded};
use crate::print::Stopped;
use crate::record::AcceptedRecord;
use crate::revision::machine;

pub use alignment::{SumRecord, WayRecord};
pub use aloud::AloudRecord;
pub use codecs::CodecRecord;
pub use cost::{CostPoint, CostRecord};
pub use ledger::{DriverRecord, LedgerRecord, LedgerWay};
pub use leftovers::{LeftoverRecord, StillFed};
pub use paths::{BlendPoint, Change, PathKind, PathRecord};
pub use pre_delay::{DelayPoint, PreDelayRecord};
pub use sides::SideRecord;
pub use translation::{MonoBand, ThinStem, TranslationRecord};
pub use twins::{TwinChange, TwinRecord, TwinSection};

/// What to give advice on.
pub struct Question<'a> {
    /// The sheet's file.
    pub sheet: &'a Path,
    /// Where to write the page, if one is wanted.
    pub page: Option<&'a Path>,
    /// Where to write what a codec adds to the first loud print and takes from it, if that is wanted.
    pub residual: Option<&'a Path>,
    /// A folder for short files of how the print that asks for loudness travels, if they are wanted.
    pub hear: Option<&'a Path>,
    /// Threads to share the work among.
    pub threads: usize,
    /// Set by anyone to end it early, with a fault.
    pub stop: &'a AtomicBool,
    /// Told what is going on and which part of it is done.
    pub progress: &'a (dyn Fn(&str, f64) + Sync),
}

/// All advice: the JSON of `advise`.
#[derive(Debug, Serialize)]
pub struct Advice {
    /// Song title.
    pub title: String,
    /// Artist.
    pub artist: String,
    /// Length of what was heard.
    pub secs: f64,
    /// Findings, the worst first.
    pub findings: Vec<Problem>,
    /// Findings that the sheet accepts, with the reason.
    pub accepted: Vec<AcceptedRecord>,
    /// What each return and each processor adds.
    pub paths: Vec<PathRecord>,
    /// What the delay of each space does to the low end.
    pub pre_delays: Vec<PreDelayRecord>,
    /// Proof that parallel paths meet in time.
    pub alignment: Vec<SumRecord>,
    /// What loudness costs each print.
    pub costs: Vec<CostRecord>,
    /// Which stem reaches the prints by which way.
    pub ledger: Vec<LedgerRecord>,
    /// Who drives each compressor.
    pub drivers: Vec<DriverRecord>,
    /// Side effects on each stem of each move of middle and sides, and of each return.
    pub sides: Vec<SideRecord>,
    /// Whether prints are twins up to their ends, and what the ends do.
    pub twins: Vec<TwinRecord>,
    /// How each print travels.
    pub translations: Vec<TranslationRecord>,
    /// What a small speaker leaves of each stem.
    pub thin_stems: Vec<ThinStem>,
    /// What each a cappella holds.
    pub a_cappellas: Vec<LeftoverRecord>,
    /// Files of how a print travels, if any were written.
    pub heard: Vec<AloudRecord>,
    /// The page, if one was written.
    pub page: Option<PathBuf>,
}

impl Advice {
    /// Whether a finding stands that must not be delivered.
    #[must_use]
    pub fn failed(&self) -> bool {
        self.findings.iter().any(|finding| finding.severity == Severity::Fail)
    }
}

/// Listens to a sheet and says what there is to say.
///
/// # Errors
/// The sheet must be mended first, or a file or the machine stands in the way.
pub fn advise(question: &Question<'_>) -> Result<Advice, Stopped> {
    let aloud = question.hear.map(aloud::paths).unwrap_or_default();
    let wanted = question.residual.into_iter().chain(aloud.iter().map(PathBuf::as_path));
    if let Some(path) = wanted.into_iter().find(|path| path.exists()) {
        let name = path.display().to_string();
        let message = format!("{name} exists already, and audio is never overwritten.");
        let remedy = "Choose another name, or move that file away.".to_owned();
        return Err(Fault::input("file-exists", &name, message, remedy).into());
    }
    let mut loaded = load::load(question.sheet)?;
    if !loaded.is_sound() {
        return Err(Stopped::Sheet(Box::new(loaded)));
    }
    let Some((plan, sources)) = load::plan(&mut loaded) else { return Err(Stopped::Sheet(Box::new(loaded))) };
    let Some(sheet) = &loaded.sheet else { return Err(Stopped::Sheet(Box::new(loaded))) };
    let work = tempfile::tempdir().map_err(|error| machine(&std::env::temp_dir(), &error))?;
    let listening = Listening { question, loaded: &loaded, sheet, plan: &plan, sources: &sources, work: work.path() };
    let mut advice = listening.advice()?;
    if let Some(path) = question.page {
        write_page(&advice, path)?;
        advice.page = Some(path.to_owned());
    }
    Ok(advice)
}

/// A sheet, its plan, and where to work.
struct Listening<'a> {
    question: &'a Question<'a>,
    loaded: &'a Loaded,
    sheet: &'a Sheet,
    plan: &'a Plan,
    sources: &'a Folder,
    work: &'a Path,
}

/// What loudness costs all prints, and the prints themselves at the gain that they ask for.
#[derive(Default)]
struct Costs {
    records: Vec<CostRecord>,
    findings: Vec<Problem>,
    wholes: Vec<(String, cost::WholePrint)>,
}

impl Listening<'_> {
    fn advice(&self) -> Result<Advice, Fault> {
        let Self { plan, sources, .. } = *self;
        let Question { threads, stop, progress, .. } = *self.question;
        let mut taps = taps::Taps::new(self.sheet, plan);
        let (paths, spaces, heads) = (paths::ask(&mut taps), pre_delay::ask(&mut taps), cost::ask(&mut taps));
        let sides = sides::ask(&mut taps);
        let mut ledger = ledger::ask(&mut taps, sides.steps());
        let outgoing = outgoing::ask(&mut taps, &heads, &paths, &ledger, self.question.hear.is_some());
        let tell = |part| progress("Listening to every path", part);
        let heard = hear::hear(taps.finish(), sources, self.work, (threads, stop), &tell)?;
        let paths: Vec<PathRecord> = paths.iter().map(|path| path.record(&heard)).collect();
        let pre_delays: Vec<PreDelayRecord> = spaces.iter().filter_map(|space| space.record(&heard)).collect();
        crate::survey::check(stop)?;
        progress("Probing parallel paths", 0.0);
        let alignment = alignment::prove(plan, sources, threads)?;
        let Costs { records: costs, findings: of_costs, wholes } = self.costs(&heads, &heard)?;
        let gain_of = |cost: &CostRecord| cost.target_lufs.and_then(|lufs| cost.at(lufs, |point| point.gain_db));
        let gain_db = |print: &str| costs.iter().find(|cost| cost.print == print).and_then(gain_of);
        for cost in &costs {
            gain_of(cost).into_iter().for_each(|gain_db| ledger.set_gain(&cost.print, gain_db));
        }
        crate::survey::check(stop)?;
        progress("Taking the stems apart", 0.0);
        let last = self.last_loudness();
        let ledger = ledger.records(&heard, sources, threads, &|stem| last.get(stem).copied())?;
        let sides = sides.records(&ledger.stems, &ledger.images);
        let Self { sheet, work, .. } = *self;
        let (hear, heard, wholes) = (self.question.hear, &heard, &wholes[..]);
        let asked = outgoing::Asked { sheet, plan, sources, work, threads, hear, heard, wholes, gain_db: &gain_db };
        let outgoing = outgoing.records(&asked)?;
        let mut findings = self.loaded.problems.clone();
        findings.extend(routing::findings(self.sheet, plan, self.loaded.folder()));
        findings.extend(paths.iter().filter_map(paths::finding));
        findings.extend(pre_delays.iter().filter_map(pre_delay::finding));
        findings.extend(alignment.iter().flat_map(alignment::findings));
        findings.extend(of_costs);
        findings.extend(ledger.records.iter().flat_map(ledger::findings));
        findings.extend(ledger.drivers.iter().filter_map(ledger::driver_finding));
        findings.extend(sides.iter().flat_map(sides::findings));
        findings.extend(outgoing.findings);
        let (findings, accepted) = self.judged(findings);
        Ok(Advice {
            title: self.sheet.song.title.clone(),
            artist: self.sheet.song.artist.clone(),
            secs: plan.print_frames() as f64 / plan.rate_hz,
            findings,
            accepted,
            paths,
            pre_delays,
            alignment,
            costs,
            ledger: ledger.records,
            drivers: ledger.drivers,
            sides,
            twins: outgoing.twins,
            translations: outgoing.translations,
            thin_stems: outgoing.thin_stems,
            a_cappellas: outgoing.a_cappellas,
            heard: outgoing.aloud,
            page: None,
        })
    }

    /// What loudness costs each print, with the findings; writes the residual, if it is wanted.
    fn costs(&self, heads: &[cost::HeadTap<'_>], heard: &hear::Heard) -> Result<Costs, Fault> {
        let folder = self.loaded.folder();
        let references = if heads.is_empty() { Vec::new() } else { cost::references(self.sheet, folder)? };
        let tell = |part| (self.question.progress)("Finding what loudness costs", part);
        let cuts = sections::starts(&sections::spans(self.sheet, self.plan), self.plan.rate_hz);
        let wants = hear::Wants { spool: self.question.hear.is_some(), ..hear::Wants::PRINT };
        let (plan, work) = (self.plan, self.work);
        let Question { threads, stop, .. } = *self.question;
        let bench = cost::Bench { plan, work, threads, stop, progress: &tell, cuts: &cuts, wants };
        let mut all = Costs::default();
        for head in heads {
            crate::survey::check(stop)?;
            let Some((record, whole)) = head.record(&bench, heard, &references)? else { continue };
            all.findings.extend(head.findings(&record));
            if let Some(path) = self.question.residual.filter(|_| all.records.is_empty()) {
                head.write_residual(&bench, &record, path)?;
            }
            all.records.push(record);
            all.wholes.push((head.name().to_owned(), whole));
        }
        Ok(all)
    }

    /// Findings that stand, the worst first, and those that the sheet accepts.
    fn judged(&self, findings: Vec<Problem>) -> (Vec<Problem>, Vec<AcceptedRecord>) {
        let reason = |finding: &Problem| self.sheet.acceptance(finding).map(|accepted| accepted.reason.clone());
        let (excused, mut findings): (Vec<_>, Vec<_>) = findings.into_iter().partition(|f| reason(f).is_some());
        findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
        let record = |finding: Problem| AcceptedRecord { reason: reason(&finding).unwrap_or_default(), finding };
        (findings, excused.into_iter().map(record).collect())
    }

    /// Loudness of every stem by the last revision's sheet; nothing where that is the same as this one, or cannot be
    /// heard any more.
    fn last_loudness(&self) -> HashMap<String, f64> {
        let last = routing::last_sheet(self.loaded.folder()).filter(|(text, _)| *text != self.loaded.text);
        let Some((_, sheet)) = last else { return HashMap::new() };
        let Ok(plan) = engine::compile(&sheet, self.sources) else { return HashMap::new() };
        let mut taps = taps::Taps::new(&sheet, &plan);
        let stems = ledger::faders(&mut taps);
        let Question { threads, stop, .. } = *self.question;
        let Ok(heard) = hear::hear(taps.finish(), self.sources, self.work, (threads, stop), &|_| ()) else {
            return HashMap::new();
        };
        let loudness = |(stem, step): (String, usize)| Some((stem, heard.parts[&step].loudness.integrated_lufs()?));
        stems.into_iter().filter_map(loudness).collect()
    }
}

/// Writes the page beside its final name and renames it, so that it appears whole.
fn write_page(advice: &Advice, path: &Path) -> Result<(), Fault> {
    let faulty = |error: std::io::Error| machine(path, &error);
    let folder = path.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let file = tempfile::NamedTempFile::new_in(folder).map_err(faulty)?;
    fs::write(file.path(), page::html(advice)).map_err(faulty)?;
    file.persist(path).map_err(|error| machine(path, &error.error))?;
    Ok(())
}
