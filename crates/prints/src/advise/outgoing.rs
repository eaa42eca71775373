//! Prints as they leave: each at the gain that it asks for, beside its twin, on its way to those who hear it.

use std::path::Path;

use engine::{Fault, Folder, Plan};
use sheet::Sheet;
use units::Problem;

use super::aloud::{self, AloudRecord};
use super::cost::{END_STEP, HeadTap, WholePrint};
use super::hear::{Heard, Wants, spool_name};
use super::ledger::LedgerTaps;
use super::leftovers::{self, LeftoverRecord};
use super::paths::PathTaps;
use super::sections::{self, Span};
use super::taps::Taps;
use super::translation::{self, Finished, ThinStem, TranslationRecord};
use super::twins::{self, Named, TwinRecord, TwinTaps};

/// Where prints, stems and returns are heard.
pub(super) struct OutgoingTaps {
    twins: Vec<TwinTaps>,
    /// Prints that are heard in the one render, and their steps; the others are heard at the gain that was found.
    plain: Vec<(String, usize)>,
    stems: Vec<(String, usize)>,
    returns: Vec<(String, usize)>,
    spans: Vec<Span>,
}

/// What all of it is asked with.
pub(super) struct Asked<'a> {
    pub sheet: &'a Sheet,
    pub plan: &'a Plan,
    pub sources: &'a Folder,
    pub work: &'a Path,
    pub threads: usize,
    /// The folder for files to hear.
    pub hear: Option<&'a Path>,
    /// The one render.
    pub heard: &'a Heard,
    /// Whole prints at the gain that they ask for, by name.
    pub wholes: &'a [(String, WholePrint)],
    /// That gain.
    pub gain_db: &'a dyn Fn(&str) -> Option<f64>,
}

/// What is to be said of prints as they leave.
#[derive(Default)]
pub(super) struct Outgoing {
    pub twins: Vec<TwinRecord>,
    pub translations: Vec<TranslationRecord>,
    pub thin_stems: Vec<ThinStem>,
    pub a_cappellas: Vec<LeftoverRecord>,
    pub aloud: Vec<AloudRecord>,
    pub findings: Vec<Problem>,
}

/// Taps on all of them. With `aloud`, the signal of the first print is kept if none asks for loudness.
pub(super) fn ask(
    taps: &mut Taps<'_>,
    heads: &[HeadTap<'_>],
    paths: &[PathTaps],
    ledger: &LedgerTaps,
    aloud: bool,
) -> OutgoingTaps {
    let plain = taps.whole.prints.iter().filter(|port| heads.iter().all(|head| head.name() != port.name));
    let keep = |index: usize| aloud && heads.is_empty() && index == 0;
    let plain = plain.enumerate().map(|(index, port)| {
        let wants = Wants { spool: keep(index), ..Wants::PRINT };
        (port.name.clone(), taps.want(taps.apart.ends[port.step], wants))
    });
    let owned = |(name, step): (&str, usize)| (name.to_owned(), step);
    OutgoingTaps {
        plain: plain.collect(),
        stems: ledger.faders().map(owned).collect(),
        returns: paths.iter().filter_map(PathTaps::comes_back).map(owned).collect(),
        spans: sections::spans(taps.sheet, taps.whole),
        twins: twins::ask(taps),
    }
}

impl OutgoingTaps {
    /// All that follows from what was heard, with the findings.
    ///
    /// # Errors
    /// A passage cannot be rendered, or a file cannot be written.
    pub(super) fn records(&self, asked: &Asked<'_>) -> Result<Outgoing, Fault> {
        let [stems, returns]: [Named<'_>; 2] = [&self.stems, &self.returns]
            .map(|all| all.iter().map(|(name, step)| (name.as_str(), &asked.heard.parts[step])).collect());
        let mut all = Outgoing {
            twins: self.twins(asked, [&stems, &returns]),
            translations: self.finished(asked).iter().map(Finished::record).collect(),
            thin_stems: translation::thin_stems(&stems),
            ..Outgoing::default()
        };
        let Asked { sheet, plan, sources, threads, gain_db, .. } = *asked;
        all.a_cappellas = leftovers::Listening { sheet, plan, sources, threads, stems: &stems, gain_db }.records()?;
        if let Some(folder) = asked.hear {
            all.aloud = self.write_aloud(asked, folder)?;
        }
        all.findings.extend(all.twins.iter().flat_map(twins::findings));
        all.findings.extend(all.translations.iter().flat_map(translation::findings));
        all.findings.extend(all.thin_stems.iter().filter_map(translation::stem_finding));
        all.findings.extend(all.a_cappellas.iter().flat_map(leftovers::findings));
        Ok(all)
    }

    fn twins(&self, asked: &Asked<'_>, named: [&Named<'_>; 2]) -> Vec<TwinRecord> {
        let record = |pair: &TwinTaps| {
            let whole = asked.wholes.iter().find(|(name, _)| name == pair.approval());
            pair.record(asked.heard, whole.map(|(_, whole)| (&whole.heard, END_STEP)), &self.spans, named)
        };
        self.twins.iter().map(record).collect()
    }

    /// All prints, in the order of the sheet.
    fn finished<'a>(&'a self, asked: &'a Asked<'_>) -> Vec<Finished<'a>> {
        let of = |name: &'a str, heard: &'a Heard, step: usize| {
            let (spectrum, disc) = &heard.spectra[&step];
            Finished { name, part: &heard.parts[&step], spectrum, disc, rate_hz: asked.plan.rate_hz }
        };
        let mut all: Vec<Finished<'a>> = self.plain.iter().map(|(name, step)| of(name, asked.heard, *step)).collect();
        all.extend(asked.wholes.iter().map(|(name, whole)| of(name, &whole.heard, END_STEP)));
        all.sort_by_key(|print| asked.plan.prints.iter().position(|port| port.name == print.name));
        all
    }

    fn write_aloud(&self, asked: &Asked<'_>, folder: &Path) -> Result<Vec<AloudRecord>, Fault> {
        let (heard, step, work) = match (asked.wholes.first(), self.plain.first()) {
            (Some((_, whole)), _) => (&whole.heard, END_STEP, whole.work.as_path()),
            (None, Some((_, step))) => (asked.heard, *step, asked.work),
            (None, None) => return Ok(Vec::new()),
        };
        let path = work.join(spool_name(step));
        aloud::write(
            &aloud::Signal { path, loudness: &heard.parts[&step].loudness, rate_hz: asked.plan.rate_hz },
            folder,
        )
    }
}
