//! A print run: one render for all prints, then their last steps, their files, and the report.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Instant;

use engine::{Beside, Fault, Folder, Plan, Port, Sink, Stream};
use sheet::{Alternate, Print, Sheet, StemPrint};
use units::Problem;

use crate::files::Pending;
use crate::findings;
use crate::finish::{Finish, Head, Rendition};
use crate::gate;
use crate::history;
use crate::kept::{Course, Kept};
use crate::labels::{Moment, Occasion};
use crate::load::{self, Loaded};
use crate::parallel::in_parallel;
use crate::parts::{Parts, Wanted, Work};
use crate::record::{AcceptedRecord, FileRecord, Report, Version};
use crate::returns::{self, ProbeMeter, Probes};
use crate::revision::{Revision, machine};
use crate::spool::{Gauge, Gauged, LoudnessSink, Spool};
use crate::stem_facts::Stems;
use crate::watch::Watch;

/// What to print, and where.
pub struct Order<'a> {
    /// The sheet's file.
    pub sheet: &'a Path,
    /// Names of prints, alternates and prints in stems; all when empty.
    pub only: &'a [String],
    /// Folder of revisions; `prints` beside the sheet when none.
    pub out: Option<&'a Path>,
    /// What to call this run.
    pub label: Option<&'a str>,
    /// Threads to share the work among.
    pub threads: usize,
    /// Told what is going on and which part of it is done.
    pub progress: &'a (dyn Fn(&str, f64) + Sync),
    /// Work of earlier runs is used again, and this run's kept, in so many bytes among the revisions; all is made anew
    /// when none. The files come out the same.
    pub reuse_bytes: Option<u64>,
}

impl<'a> Order<'a> {
    /// All that a sheet asks for, made anew where it says, without a word on the way.
    #[must_use]
    pub fn of(sheet: &'a Path, threads: usize) -> Self {
        Self { sheet, only: &[], out: None, label: None, threads, progress: &|_, _| (), reuse_bytes: None }
    }
}

/// A finished run.
pub struct Printed {
    /// The report.
    pub report: Report,
    /// Folder of the revision.
    pub folder: PathBuf,
}

/// Why nothing was printed.
pub enum Stopped {
    /// The sheet must be mended first; its problems say how.
    Sheet(Box<Loaded>),
    /// A file or the machine stood in the way.
    Fault(Fault),
}

impl From<Fault> for Stopped {
    fn from(fault: Fault) -> Self {
        Self::Fault(fault)
    }
}

impl Order<'_> {
    /// The folder of revisions.
    pub(crate) fn revisions(&self) -> PathBuf {
        load::revisions_of(self.sheet, self.out)
    }
}

/// Prints a sheet.
///
/// # Errors
/// Nothing is left behind then.
pub fn print(order: &Order<'_>) -> Result<Printed, Stopped> {
    let out = order.revisions();
    let made = make(order, load::load(order.sheet)?, Moment::now(), &|| Revision::begin(&out))?;
    made.write_documents()?;
    let folder = made.revision.publish()?;
    Ok(Printed { report: made.report, folder })
}

/// A run whose files are in the folder that it works in.
pub(crate) struct Made {
    pub report: Report,
    revision: Revision,
    sheet_text: String,
}

/// Prints all files of a sheet, all labelled with one moment, into a revision that is begun once the sheet is sound.
pub(crate) fn make(
    order: &Order<'_>,
    mut loaded: Loaded,
    moment: Moment,
    begin: &dyn Fn() -> Result<Revision, Fault>,
) -> Result<Made, Stopped> {
    let started = Instant::now();
    if !loaded.is_sound() {
        return Err(Stopped::Sheet(Box::new(loaded)));
    }
    // Ahead of the plan, for which lengths and impulse responses are read.
    let watch = Watch::begin(&loaded);
    let Some((mut plan, sources)) = load::plan(&mut loaded) else { return Err(Stopped::Sheet(Box::new(loaded))) };
    let Some(sheet) = &loaded.sheet else { return Err(Stopped::Sheet(Box::new(loaded))) };
    let choice = Choice::of(sheet, order.only)?;
    let chosen = choice.prints(sheet, &plan);
    let revision = begin()?;
    let probes = returns::probe(sheet, &mut plan);
    let occasion = Occasion { label: order.label, moment };
    let recordings = history::sources_of(sheet, loaded.folder(), order.threads)?;
    let open = |most_bytes| Kept::open(&order.revisions(), most_bytes, (sheet, &plan), &heads_of(&chosen), &recordings);
    let kept = order.reuse_bytes.map(open).transpose()?;
    let finish = Finish {
        plan: &plan,
        sheet,
        folder: loaded.folder(),
        revision: &revision,
        occasion,
        threads: order.threads,
        started,
        progress: order.progress,
        kept: kept.as_ref(),
    };
    let rendered = render(&finish, &sources, &chosen, &probes)?;
    let mut findings: Vec<Problem> = loaded.problems.clone();
    findings.extend(rendered.findings);
    let prints = chosen.iter().zip(rendered.prints);
    let done = in_parallel(order.threads, prints, |((print, port), it)| finish.print(print, port, it))?;
    let (mut versions, mut files) = (Vec::new(), Vec::new());
    for (version, its_files, found) in done {
        versions.push(version);
        files.extend(its_files);
        findings.extend(found);
    }
    let mut parts = Parts::default();
    for ((print, port), version) in chosen.iter().zip(&versions) {
        parts.add(choice.parts(&Work { finish: &finish, sources: &sources }, print, port, version)?);
    }
    files.extend(parts.files);
    findings.extend(parts.findings);
    versions.retain(|version| choice.wants(&version.name));
    findings.extend(gate::of_labels(sheet));
    (order.progress)("Laying the files against each other", 0.0);
    findings.extend(gate::of_sync(&files, order.threads, &|file| revision.folder().join(file_name_of(file)))?);
    let mut report = report(&finish, versions, files, findings, choice.left_out(sheet));
    (report.alternates, report.stems, report.returns) = (parts.alternates, parts.stems, rendered.returns);
    report.sources = recordings;
    watch.end()?;
    if let Some(kept) = kept {
        kept.publish();
    }
    report.realtime_factor = plan.print_frames() as f64 / plan.rate_hz / started.elapsed().as_secs_f64();
    Ok(Made { report, revision, sheet_text: loaded.text })
}

/// What is to be printed of a sheet.
struct Choice<'a> {
    only: &'a [String],
    alternates: Vec<&'a Alternate>,
    stem_prints: Vec<&'a StemPrint>,
}

impl<'a> Choice<'a> {
    fn of(sheet: &'a Sheet, only: &'a [String]) -> Result<Self, Fault> {
        let names = names_of(sheet);
        if let Some(missing) = only.iter().find(|name| !names.contains(&name.as_str())) {
            let message = format!("The sheet has no print called “{missing}”.");
            return Err(Fault::input("unknown-print", missing, message, format!("Take one of: {}.", names.join(", "))));
        }
        let mut choice = Self { only, alternates: Vec::new(), stem_prints: Vec::new() };
        choice.alternates = sheet.alternates.iter().filter(|alternate| choice.wants(&alternate.name)).collect();
        choice.stem_prints = sheet.stem_prints.iter().filter(|set| choice.wants(&set.name)).collect();
        Ok(choice)
    }

    fn wants(&self, name: &str) -> bool {
        self.only.is_empty() || self.only.iter().any(|wanted| wanted == name)
    }

    /// What of the sheet is not printed.
    fn left_out(&self, sheet: &Sheet) -> Vec<String> {
        names_of(sheet).into_iter().filter(|name| !self.wants(name)).map(str::to_owned).collect()
    }

    /// The prints that are wanted, each with where it comes out; those too of which only a part is wanted, without files.
    fn prints(&self, sheet: &Sheet, plan: &Plan) -> Vec<(Print, Port)> {
        let parents = || self.alternates.iter().map(|a| &a.of).chain(self.stem_prints.iter().map(|set| &set.of));
        let needed = |print: &&Print| self.wants(&print.name) || parents().any(|of| *of == print.name);
        let needed: Vec<&Print> = sheet.prints.iter().filter(needed).collect();
        let chosen = |print: &Print| {
            let port = plan.prints.iter().find(|port| print.name == *port.name.as_str()).cloned();
            let files = if self.wants(&print.name) { print.files.clone() } else { Vec::new() };
            Some((Print { files, ..print.clone() }, port?))
        };
        needed.into_iter().filter_map(chosen).collect()
    }

    /// Prints the alternates and stems of a print.
    fn parts(&self, work: &Work<'_>, print: &Print, port: &Port, version: &Version) -> Result<Parts, Fault> {
        let alternates = self.alternates.iter().copied().filter(|alternate| alternate.of == print.name).collect();
        let stem_prints = self.stem_prints.iter().copied().filter(|set| set.of == print.name).collect();
        let print = work.finish.sheet.print(&print.name).unwrap_or(print);
        work.print(&Wanted { print, port, alternates, stem_prints }, version)
    }
}

/// All that a sheet asks to be printed: prints, alternates, prints in stems.
pub(crate) fn names_of(sheet: &Sheet) -> Vec<&str> {
    let prints = sheet.prints.iter().map(|print| print.name.as_str());
    let alternates = sheet.alternates.iter().map(|alternate| alternate.name.as_str());
    prints.chain(alternates).chain(sheet.stem_prints.iter().map(|set| set.name.as_str())).collect()
}

/// The name of a file without its folder.
pub(crate) fn file_name_of(file: &FileRecord) -> PathBuf {
    Path::new(&file.path).file_name().map(PathBuf::from).unwrap_or_default()
}

/// Where the first render ends for each print.
fn heads_of(chosen: &[(Print, Port)]) -> Vec<usize> {
    chosen.iter().map(|(_, port)| port.solve_after.unwrap_or(port.step)).collect()
}

/// What the first render gives.
struct Rendered {
    prints: Vec<Rendition>,
    returns: Vec<crate::record::ReturnRecord>,
    findings: Vec<Problem>,
}

/// What takes a print in the first render: its files, or a 64-bit file where its ending is still to be found.
enum Taking {
    Files(Vec<Pending>),
    Spool(String, Spool),
}

impl Taking {
    fn start(finish: &Finish<'_>, index: usize, print: &Print, port: &Port) -> Result<Self, Fault> {
        if port.solve_after.is_none() {
            return Ok(Self::Files(finish.start_files(print)?));
        }
        let name = format!(".head{index}.wav");
        let (rate_hz, frames) = (finish.sheet.song.rate_hz, finish.plan.print_frames());
        let spool = Spool::create(&finish.revision.folder().join(&name), rate_hz, frames)?;
        Ok(Self::Spool(name, spool))
    }

    fn sinks(&mut self) -> Vec<Box<dyn Sink + '_>> {
        match self {
            Self::Files(files) => files.iter_mut().map(|file| Box::new(file) as Box<dyn Sink>).collect(),
            Self::Spool(_, spool) => vec![Box::new(spool)],
        }
    }

    fn finish(self, gauged: Gauged) -> Result<Rendition, Fault> {
        Ok(match self {
            Self::Files(files) => Rendition::Files(files, gauged),
            Self::Spool(name, spool) => {
                spool.finish()?;
                Rendition::Head(Head { spool: name, gauged })
            }
        })
    }
}

/// The first render: all prints, or their parts ahead of the gain that is to be found, and what each return adds.
fn render(
    finish: &Finish<'_>,
    sources: &Folder,
    chosen: &[(Print, Port)],
    probes: &[Probes],
) -> Result<Rendered, Fault> {
    let Finish { sheet, plan, kept, threads, .. } = *finish;
    let heads = heads_of(chosen);
    let mut stems = Stems::of(sheet, plan, &heads, kept);
    let start = |(index, (print, port)): (usize, &(Print, Port))| Taking::start(finish, index, print, port);
    let mut taking = chosen.iter().enumerate().map(start).collect::<Result<Vec<_>, _>>()?;
    let mut gauges: Vec<Gauge> = heads.iter().map(|_| Gauge::new(plan.rate_hz, plan.print_frames())).collect();
    let mut probed: BTreeMap<usize, ProbeMeter> =
        probes.iter().flat_map(|p| p.sums).map(|step| (step, ProbeMeter::new(plan.rate_hz))).collect();
    let mut alone: Vec<LoudnessSink> = probes.iter().map(|_| LoudnessSink::new(plan.rate_hz)).collect();
    let wanted = probes.iter().flat_map(|p| p.sums.into_iter().chain([p.alone])).chain(heads.iter().copied());
    let course = kept.map(|kept| kept.course(plan, &wanted.collect::<Vec<_>>(), &stems.asked()));
    let Course { plan: course, played, mut keeping } = course.unwrap_or_else(|| Course::whole(plan));
    let mut taken: Vec<(usize, Box<dyn Sink + '_>)> = Vec::new();
    for (head, taking) in heads.iter().zip(&mut taking) {
        taken.extend(taking.sinks().into_iter().map(|sink| (*head, sink)));
    }
    taken.extend(heads.iter().copied().zip(gauges.iter_mut().map(|gauge| Box::new(gauge) as Box<dyn Sink>)));
    taken.extend(probed.iter_mut().map(|(step, meter)| (*step, Box::new(meter) as Box<dyn Sink>)));
    taken.extend(probes.iter().zip(&mut alone).map(|(p, meter)| (p.alone, Box::new(meter) as Box<dyn Sink>)));
    taken.extend(stems.sinks());
    taken.extend(keeping.iter_mut().map(|(step, sound)| (*step, Box::new(sound) as Box<dyn Sink>)));
    let (outputs, sinks): (Vec<usize>, Vec<_>) = taken.into_iter().unzip();
    let sources = Beside::new(sources, played);
    let stream = Stream::open_for(&course, &sources, &outputs, threads)?;
    let facts = stream.run(threads, sinks, &|part| (finish.progress)("Rendering", part))?;
    let taking = taking.into_iter().zip(gauges);
    let prints = taking.map(|(taking, gauge)| taking.finish(gauge.finish())).collect::<Result<_, _>>()?;
    keeping.into_iter().for_each(|(_, sound)| sound.end());
    let (facts, silent) = stems.finish(&facts, kept);
    let figures: BTreeMap<usize, _> = probed.into_iter().map(|(step, meter)| (step, meter.finish())).collect();
    let record = |(probes, alone): (&Probes, &LoudnessSink)| {
        returns::record(probes, probes.sums.map(|step| &figures[&step]), alone.0.integrated_lufs())
    };
    let returns = probes.iter().zip(&alone).map(record).collect();
    Ok(Rendered { prints, returns, findings: findings::of_sources(&facts, &silent, plan.rate_hz) })
}

/// What is written down of a run.
fn report(
    finish: &Finish<'_>,
    versions: Vec<Version>,
    prints: Vec<FileRecord>,
    mut findings: Vec<Problem>,
    not_printed: Vec<String>,
) -> Report {
    findings.extend(prints.iter().flat_map(|file| file.findings.iter().cloned()));
    let accepted = |finding: &Problem| finish.sheet.acceptance(finding).map(|accepted| accepted.reason.clone());
    let (excused, mut findings): (Vec<_>, Vec<_>) = findings.into_iter().partition(|f| accepted(f).is_some());
    findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    let record = |finding: Problem| AcceptedRecord { reason: accepted(&finding).unwrap_or_default(), finding };
    let song = &finish.sheet.song;
    Report {
        fairprint_report: 1,
        engine: env!("CARGO_PKG_VERSION"),
        revision: finish.revision.name(),
        label: finish.occasion.label.map(str::to_owned),
        date: finish.occasion.moment.in_report(),
        title: song.title.clone(),
        artist: song.artist.clone(),
        rate_hz: song.rate_hz,
        frames: finish.plan.print_frames(),
        sections: finish.sheet.sections.iter().map(|s| (s.name.as_str().to_owned(), s.from_secs)).collect(),
        versions,
        alternates: Vec::new(),
        stems: Vec::new(),
        prints,
        sources: Vec::new(),
        returns: Vec::new(),
        verdict: gate::verdict(&findings, excused.len(), not_printed),
        findings,
        accepted: excused.into_iter().map(record).collect(),
        realtime_factor: 0.0,
    }
}

impl Made {
    /// The report, for programs and for people, and the exact sheet.
    fn write_documents(&self) -> Result<(), Fault> {
        let work = self.revision.folder();
        let json = serde_json::to_string_pretty(&self.report).unwrap_or_else(|_| "{}".to_owned());
        let documents = [
            ("report.json", json),
            ("report.html", crate::report::html(&self.report)),
            ("sheet.toml", self.sheet_text.clone()),
        ];
        for (name, text) in documents {
            fs::write(work.join(name), text).map_err(|error| machine(&work.join(name), &error))?;
        }
        Ok(())
    }
}
