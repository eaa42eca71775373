//! Alternates and stems: what else is printed of a print once its gain and ceiling are found.
//!
//! Two renders at most for each print, however many alternates and stems there are. In the first the full mix is the key
//! and the stems are followers: it gives all stems and all alternates with held dynamics, which are sums of lanes. The
//! other gives the alternates with free dynamics; what they have in common with the print and each other is computed
//! once. `docs/stems.md` says what that is good for.

mod lanes;
mod nulls;
mod sinks;
mod stems;

use std::path::Path;

use engine::{Changes, Fault, Folder, Plan, Port, Role, Setup, Sink, Stream};
use sheet::{Alternate, Dynamics, Name, Print, Sheet, StemPrint};
use units::{Problem, Severity};

use crate::files::Pending;
use crate::finish::{Ended, Finish};
use crate::parallel::in_parallel;
use crate::record::{AlternateRecord, FileRecord, StemsRecord, Version};
use crate::spool::Gauge;
use lanes::{Group, Lanes};
use sinks::{Balance, Blend};
use stems::StemRun;

/// What is wanted of one print.
pub(crate) struct Wanted<'a> {
    pub print: &'a Print,
    pub port: &'a Port,
    pub alternates: Vec<&'a Alternate>,
    pub stem_prints: Vec<&'a StemPrint>,
}

/// What came of it.
#[derive(Default)]
pub(crate) struct Parts {
    pub alternates: Vec<AlternateRecord>,
    pub stems: Vec<StemsRecord>,
    pub files: Vec<FileRecord>,
    pub findings: Vec<Problem>,
}

impl Parts {
    /// Adds those of another print.
    pub(crate) fn add(&mut self, other: Self) {
        self.alternates.extend(other.alternates);
        self.stems.extend(other.stems);
        self.files.extend(other.files);
        self.findings.extend(other.findings);
    }
}

/// What all parts of a run share.
pub(crate) struct Work<'a> {
    pub finish: &'a Finish<'a>,
    pub sources: &'a Folder,
}

impl Work<'_> {
    /// Prints the alternates and stems of a print whose gain and ceiling were found.
    pub(crate) fn print(&self, wanted: &Wanted<'_>, version: &Version) -> Result<Parts, Fault> {
        let mut plan = self.finish.plan.clone();
        if let Some(solved) = &version.solved {
            plan.settle(wanted.port, solved.gain_db, solved.ceiling_dbtp);
        }
        let of =
            |dynamics| wanted.alternates.iter().copied().filter(move |a| a.dynamics == dynamics).collect::<Vec<_>>();
        let (held, free) = (of(Dynamics::Held), of(Dynamics::Free));
        let mut parts = Parts::default();
        if !held.is_empty() || !wanted.stem_prints.is_empty() {
            self.print_held(&mut plan, wanted, &held, &mut parts)?;
        }
        if !free.is_empty() {
            self.print_free(&mut plan, wanted, &free, &mut parts)?;
        }
        // As the sheet has them.
        let place = |record: &AlternateRecord| wanted.alternates.iter().position(|a| a.name == *record.name.as_str());
        parts.alternates.sort_by_key(place);
        Ok(parts)
    }

    /// Stems and alternates with held dynamics.
    fn print_held(
        &self,
        plan: &mut Plan,
        wanted: &Wanted<'_>,
        held: &[&Alternate],
        parts: &mut Parts,
    ) -> Result<(), Fault> {
        let Finish { sheet, .. } = self.finish;
        let heard = heard(plan, wanted.port);
        let groups: Vec<Vec<Group>> = wanted.stem_prints.iter().map(|set| lanes::groups(sheet, set, &heard)).collect();
        let lanes = Lanes::of(sheet, &heard, held, &groups.iter().map(Vec::as_slice).collect::<Vec<_>>());
        let count = lanes.followers.len() + 1;
        let steps: Vec<usize> = held.iter().map(|alternate| without(plan, wanted.port, alternate)).collect();
        let mut files = self.start_files(wanted.print, held)?;
        let mut gauges: Vec<Gauge> = held.iter().map(|_| self.gauge()).collect();
        let mut balances: Vec<(usize, Balance)> = Vec::new();
        for step in steps.iter().copied().chain([wanted.port.step]) {
            if balances.iter().all(|(known, _)| *known != step) {
                balances.push((step, Balance::new(count)));
            }
        }
        let mut runs = Vec::new();
        for ((set, groups), lanes) in wanted.stem_prints.iter().zip(&groups).zip(&lanes.stem_prints) {
            runs.push(StemRun::start(self.finish, wanted.print, set, groups, lanes)?);
        }
        let mut taken: Vec<(usize, Box<dyn Sink + '_>)> = Vec::new();
        for (((gains, step), files), gauge) in lanes.alternates.iter().zip(&steps).zip(&mut files).zip(&mut gauges) {
            taken.push((*step, Box::new(Blend::new(gains, files, gauge))));
        }
        taken.extend(balances.iter_mut().map(|(step, balance)| (*step, Box::new(balance) as Box<dyn Sink>)));
        taken.extend(runs.iter_mut().flat_map(StemRun::sinks).map(|sink| (wanted.port.step, sink)));
        let what = format!("Printing parts of {}", wanted.print.name);
        self.render(plan, taken, &Setup { followers: lanes.followers, ..Setup::default() }, &what)?;
        let balance = |step: usize| balances.iter().find(|(known, _)| *known == step).map(|(_, balance)| balance);
        let nulls: Vec<_> = steps.iter().map(|step| balance(*step).and_then(Balance::null_dbfs)).collect();
        self.complete(wanted, held, files, gauges, &nulls, parts)?;
        for run in runs {
            let balance = balance(wanted.port.step);
            let share = balance.and_then(Balance::residue_share_db);
            run.finish(self.finish, share, balance.and_then(Balance::null_dbfs), parts)?;
        }
        Ok(())
    }

    /// Alternates with free dynamics.
    fn print_free(
        &self,
        plan: &mut Plan,
        wanted: &Wanted<'_>,
        free: &[&Alternate],
        parts: &mut Parts,
    ) -> Result<(), Fault> {
        let changes = free.iter().map(|alternate| changes(self.finish.sheet, plan, wanted.port, alternate));
        let changes: Vec<Changes> = changes.collect();
        let ports: Vec<Port> =
            free.iter().zip(&changes).map(|(a, changes)| plan.variant(wanted.port, &a.name, changes)).collect();
        let mut files = self.start_files(wanted.print, free)?;
        let mut gauges: Vec<Gauge> = free.iter().map(|_| self.gauge()).collect();
        let mut taken: Vec<(usize, Box<dyn Sink + '_>)> = Vec::new();
        for ((port, files), gauge) in ports.iter().zip(&mut files).zip(&mut gauges) {
            taken.extend(files.iter_mut().map(|file| (port.step, Box::new(file) as Box<dyn Sink>)));
            taken.push((port.step, Box::new(gauge)));
        }
        let what = format!("Printing alternates of {}", wanted.print.name);
        self.render(plan, taken, &Setup::default(), &what)?;
        self.complete(wanted, free, files, gauges, &vec![None; free.len()], parts)
    }

    fn render(
        &self,
        plan: &Plan,
        taken: Vec<(usize, Box<dyn Sink + '_>)>,
        setup: &Setup,
        what: &str,
    ) -> Result<(), Fault> {
        let (outputs, sinks): (Vec<usize>, Vec<_>) = taken.into_iter().unzip();
        let stream = Stream::open(plan, self.sources, &outputs, setup)?;
        stream.run(self.finish.threads, sinks, &|part| (self.finish.progress)(what, part)).map(|_| ())
    }

    /// Starts all files of each alternate.
    fn start_files(&self, print: &Print, alternates: &[&Alternate]) -> Result<Vec<Vec<Pending>>, Fault> {
        alternates.iter().map(|alternate| self.finish.start_files(&derived(print, alternate))).collect()
    }

    fn gauge(&self) -> Gauge {
        Gauge::new(self.finish.plan.rate_hz, self.finish.plan.print_frames())
    }

    /// Completes the files of alternates.
    fn complete(
        &self,
        wanted: &Wanted<'_>,
        alternates: &[&Alternate],
        files: Vec<Vec<Pending>>,
        gauges: Vec<Gauge>,
        nulls: &[Option<f64>],
        parts: &mut Parts,
    ) -> Result<(), Fault> {
        let jobs = alternates.iter().zip(files).zip(gauges);
        let files = in_parallel(self.finish.threads, jobs, |((alternate, files), gauge)| {
            let free = alternate.dynamics == Dynamics::Free;
            let ceiling_dbtp = free.then(|| self.finish.plan.ceiling_dbtp(wanted.port)).flatten();
            let limits = !alternate.without.iter().any(|link| is_limiter(wanted.print, *link));
            let ceiling_dbtp = ceiling_dbtp.filter(|_| limits);
            let ended = Ended { gauged: gauge.finish(), solved: None, ceiling_dbtp, findings: Vec::new() };
            self.finish.complete(&derived(wanted.print, alternate), files, &ended)
        })?;
        for ((alternate, mut files), null_dbfs) in alternates.iter().zip(files).zip(nulls) {
            let held = alternate.dynamics == Dynamics::Held;
            files.iter_mut().flat_map(|file| &mut file.findings).for_each(|finding| reword(finding, held));
            parts.alternates.push(AlternateRecord {
                name: alternate.name.as_str().to_owned(),
                of: wanted.print.name.as_str().to_owned(),
                dynamics: if held { "held" } else { "free" },
                measures: files.first().map(|file| file.measures.clone()).unwrap_or_default(),
                null_dbfs: *null_dbfs,
            });
            parts.files.extend(files);
        }
        Ok(())
    }
}

/// The stems that reach a print, by name.
pub(crate) fn heard(plan: &Plan, port: &Port) -> Vec<String> {
    let needed = plan.needed_for(&[port.step]);
    let stems = plan.steps.iter().zip(needed).filter(|(step, needed)| *needed && step.role == Role::Stem);
    stems.map(|(step, _)| step.name.clone()).collect()
}

/// The step of a print without the processors that an alternate leaves out.
pub(crate) fn without(plan: &mut Plan, port: &Port, alternate: &Alternate) -> usize {
    if alternate.without.is_empty() {
        return port.step;
    }
    let changes = Changes { without: alternate.without.clone(), ..Changes::default() };
    plan.variant(port, &alternate.name, &changes).step
}

/// What an alternate with free dynamics changes in the network.
pub(crate) fn changes(sheet: &Sheet, plan: &Plan, port: &Port, alternate: &Alternate) -> Changes {
    let members = |name: &Name| -> Vec<String> {
        let stems: Vec<String> = sheet.stems_of(name).map(|stem| stem.name.as_str().to_owned()).collect();
        if stems.is_empty() { vec![name.as_str().to_owned()] } else { stems }
    };
    let family = |name: &Name| -> Vec<String> {
        sheet.family(name).into_iter().map(|index| sheet.nodes[index].name.as_str().to_owned()).collect()
    };
    let mut muted: Vec<String> = alternate.mute.iter().flat_map(members).collect();
    if !alternate.only.is_empty() {
        let kept: Vec<String> = alternate.only.iter().flat_map(members).collect();
        muted.extend(heard(plan, port).into_iter().filter(|stem| !kept.contains(stem)));
    }
    Changes {
        muted,
        moved: alternate.offsets.iter().map(|(name, db)| (family(name), *db)).collect(),
        without: alternate.without.clone(),
        bypassed: Vec::new(),
    }
}

/// The alternate as a print, for names and labels.
fn derived(print: &Print, alternate: &Alternate) -> Print {
    Print {
        name: alternate.name.clone(),
        kind: Some("alternate".to_owned()),
        files: alternate.files.clone().unwrap_or_else(|| print.files.clone()),
        pattern: alternate.pattern.clone().or_else(|| print.pattern.clone()),
        ..print.clone()
    }
}

fn is_limiter(print: &Print, link: usize) -> bool {
    print.chain.get(link).is_some_and(|link| link.settings.spec().name == "limiter")
}

/// What is a fault in a print may be no fault in an alternate.
fn reword(finding: &mut Problem, held: bool) {
    match finding.code {
        "over-full-scale" if held => {
            finding.message =
                "Its peaks exceed full scale: what was taken away held them down in the full mix.".to_owned();
            finding.remedy = "Write it in 32 bit float, let its limiter work anew (`dynamics = \"free\"`), or lower the ceiling of the \
                 print."
                    .to_owned();
        }
        // Whether a part sounds on both sides, or at all, is the engineer's affair.
        "silent-print" => {
            finding.severity = Severity::Warn;
            finding.message = "The alternate is silent.".to_owned();
            finding.remedy = "Check what is left in it.".to_owned();
        }
        _ => {}
    }
}

/// The path of a hidden file in the work folder.
fn hidden(work: &Path, name: &str) -> std::path::PathBuf {
    work.join(format!(".{name}"))
}
