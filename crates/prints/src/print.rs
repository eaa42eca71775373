//! A print run: one render for all prints, then their last steps, their files, and the report.

use std::collections::{BTreeMap, HashMap};
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Instant;

use engine::{Fault, Folder, Plan, Port, Setup, Sink, Stream};
use measure::Measured;
use sheet::{Loudness, Print, Sheet};
use units::Problem;

use crate::ending::{Ended, Ending};
use crate::files::{self, Finished, Job};
use crate::findings::{self, FileFacts};
use crate::labels;
use crate::load::{self, Loaded};
use crate::record::{AcceptedRecord, FileRecord, Report, Version};
use crate::returns::{self, ProbeMeter, Probes};
use crate::revision::{Revision, machine};
use crate::spool::{MeterSink, SoundSink, Spool};

/// What to print, and where.
pub struct Order<'a> {
    /// The sheet's file.
    pub sheet: &'a Path,
    /// Names of prints; all when empty.
    pub only: &'a [String],
    /// Folder of revisions; `prints` beside the sheet when none.
    pub out: Option<&'a Path>,
    /// What to call this run.
    pub label: Option<&'a str>,
    /// Threads to share the work among.
    pub threads: usize,
    /// Told what is going on and which part of it is done.
    pub progress: &'a (dyn Fn(&str, f64) + Sync),
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

/// Prints a sheet.
///
/// # Errors
/// Nothing is left behind then.
pub fn print(order: &Order<'_>) -> Result<Printed, Stopped> {
    let started = Instant::now();
    let mut loaded = load::load(order.sheet)?;
    if !loaded.is_sound() {
        return Err(Stopped::Sheet(Box::new(loaded)));
    }
    let Some((mut plan, sources)) = load::plan(&mut loaded) else { return Err(Stopped::Sheet(Box::new(loaded))) };
    let Some(sheet) = &loaded.sheet else { return Err(Stopped::Sheet(Box::new(loaded))) };
    let chosen = chosen(sheet, &plan, order.only)?;
    let out = order.out.map_or_else(|| loaded.folder().join("prints"), Path::to_owned);
    let revision = Revision::begin(&out)?;
    let probes = returns::probe(sheet, &mut plan);
    let run = Run { order, sheet, plan: &plan, sources: &sources, folder: loaded.folder(), revision: &revision };
    let rendered = run.render(&chosen, &probes)?;
    let mut findings: Vec<Problem> = loaded.problems.clone();
    findings.extend(rendered.findings);
    let (mut versions, mut files) = (Vec::new(), Vec::new());
    for ((print, port), head) in chosen.iter().zip(rendered.heads) {
        let ended = run.end(print, port, head)?;
        findings.extend(ended.findings.iter().cloned());
        let finished = run.write_files(print, &ended)?;
        let factor = plan.print_frames() as f64 / plan.rate_hz / started.elapsed().as_secs_f64();
        files.extend(finished.into_iter().map(|file| FileRecord { realtime_factor: factor, ..file }));
        versions.push(version(print, ended));
    }
    let mut report = run.report(versions, files, findings);
    report.returns = rendered.returns;
    report.realtime_factor = plan.print_frames() as f64 / plan.rate_hz / started.elapsed().as_secs_f64();
    run.write_documents(&report, &loaded.text)?;
    let folder = revision.publish()?;
    Ok(Printed { report, folder })
}

/// The prints that are wanted, each with where it comes out.
fn chosen<'a>(sheet: &'a Sheet, plan: &Plan, only: &[String]) -> Result<Vec<(&'a Print, Port)>, Fault> {
    if let Some(missing) = only.iter().find(|name| !sheet.prints.iter().any(|print| print.name == *name.as_str())) {
        let names: Vec<&str> = sheet.prints.iter().map(|print| print.name.as_str()).collect();
        let message = format!("The sheet has no print called “{missing}”.");
        return Err(Fault::input("unknown-print", missing, message, format!("Take one of: {}.", names.join(", "))));
    }
    let wanted = |print: &&Print| only.is_empty() || only.iter().any(|name| print.name == *name.as_str());
    let port = |print: &Print| plan.prints.iter().find(|port| print.name == *port.name.as_str()).cloned();
    Ok(sheet.prints.iter().filter(wanted).filter_map(|print| Some((print, port(print)?))).collect())
}

fn version(print: &Print, ended: Ended) -> Version {
    Version {
        name: print.name.as_str().to_owned(),
        kind: print.kind.clone(),
        measures: ended.measured.measures,
        solved: ended.solved,
        history: ended.measured.loudness_history,
        outline: ended.outline,
    }
}

/// The first render: what comes out of each print's step, or ahead of the gain that is to be found.
struct Rendered {
    heads: Vec<Head>,
    returns: Vec<crate::record::ReturnRecord>,
    findings: Vec<Problem>,
}

/// A print as far as the common render takes it.
pub(crate) struct Head {
    /// Name of its 64-bit file in the work folder.
    pub spool: String,
    pub measured: Measured,
    pub outline: Vec<f32>,
}

struct Run<'a> {
    order: &'a Order<'a>,
    sheet: &'a Sheet,
    plan: &'a Plan,
    sources: &'a Folder,
    folder: &'a Path,
    revision: &'a Revision,
}

impl Run<'_> {
    fn render(&self, chosen: &[(&Print, Port)], probes: &[Probes]) -> Result<Rendered, Fault> {
        let frames = self.plan.print_frames();
        let meter = || MeterSink::new(self.plan.rate_hz, frames);
        let heads: Vec<usize> = chosen.iter().map(|(_, port)| port.solve_after.unwrap_or(port.step)).collect();
        let watched = self.watched_stems(&heads);
        let names: Vec<String> = (0..heads.len()).map(|index| format!(".head{index}.wav")).collect();
        let mut spools = Vec::new();
        for name in &names {
            spools.push(Spool::create(&self.revision.folder().join(name), self.sheet.song.rate_hz, frames)?);
        }
        let mut meters: Vec<MeterSink> = heads.iter().map(|_| meter()).collect();
        let mut probed: BTreeMap<usize, ProbeMeter> =
            probes.iter().flat_map(|p| p.steps).map(|step| (step, ProbeMeter::new(self.plan.rate_hz))).collect();
        let mut sounds: Vec<SoundSink> = watched.iter().map(|_| SoundSink::default()).collect();
        let outputs: Vec<usize> = [&heads[..], &heads[..]]
            .concat()
            .into_iter()
            .chain(probed.keys().copied())
            .chain(watched.iter().map(|(step, _)| *step))
            .collect();
        let mut sinks: Vec<Box<dyn Sink + '_>> = Vec::with_capacity(outputs.len());
        sinks.extend(spools.iter_mut().map(|spool| Box::new(spool) as Box<dyn Sink>));
        sinks.extend(meters.iter_mut().map(|meter| Box::new(meter) as Box<dyn Sink>));
        sinks.extend(probed.values_mut().map(|meter| Box::new(meter) as Box<dyn Sink>));
        sinks.extend(sounds.iter_mut().map(|sound| Box::new(sound) as Box<dyn Sink>));
        let stream = Stream::open(self.plan, self.sources, &outputs, &Setup::default())?;
        let facts = stream.run(self.order.threads, sinks, &|part| (self.order.progress)("Rendering", part))?;
        for spool in spools {
            spool.finish()?;
        }
        let silent: Vec<String> =
            watched.iter().zip(&sounds).filter(|(_, sound)| !sound.sounds).map(|((_, name), _)| name.clone()).collect();
        let figures: BTreeMap<usize, _> = probed.into_iter().map(|(step, meter)| (step, meter.finish())).collect();
        let returns = probes.iter().map(|probes| returns::record(probes, probes.steps.map(|step| &figures[&step])));
        Ok(Rendered {
            heads: names
                .into_iter()
                .zip(meters)
                .map(|(spool, meter)| {
                    let (measured, outline) = meter.finish();
                    Head { spool, measured, outline }
                })
                .collect(),
            returns: returns.collect(),
            findings: findings::of_sources(&facts, &silent, self.plan.rate_hz),
        })
    }

    /// Stems whose silence would be a fault: index of the step, and name.
    fn watched_stems(&self, heads: &[usize]) -> Vec<(usize, String)> {
        let needed = self.plan.needed_for(heads);
        let watched = |(index, step): (usize, &engine::Step)| {
            let (_, node) = self.sheet.node(&step.name)?;
            let expected = matches!(node.kind, sheet::NodeKind::Stem { expect_silence: true, .. });
            (needed[index] && step.role == engine::Role::Stem && !expected).then(|| (index, step.name.clone()))
        };
        self.plan.steps.iter().enumerate().filter_map(watched).collect()
    }

    /// The last steps of a print, where its loudness and ceiling are found.
    fn end(&self, print: &Print, port: &Port, head: Head) -> Result<Ended, Fault> {
        if port.solve_after.is_none() {
            let Head { spool, measured, outline } = head;
            return Ok(Ended { spool, measured, outline, solved: None, findings: Vec::new() });
        }
        let (target_lufs, target) = self.target(print)?;
        let name = print.name.as_str();
        let ending = Ending {
            plan: self.plan,
            port,
            work: self.revision.folder(),
            rate_hz: self.sheet.song.rate_hz,
            threads: self.order.threads,
            progress: &|part| (self.order.progress)(&format!("Finding the loudness of {name}"), part),
        };
        ending.find(print, head, target_lufs, target)
    }

    /// The loudness that a print asks for, and where it comes from.
    fn target(&self, print: &Print) -> Result<(Option<f64>, String), Fault> {
        match &print.loudness {
            None => Ok((None, String::new())),
            Some(Loudness::Lufs(lufs)) => Ok((Some(*lufs), format!("{lufs} LUFS, from the sheet"))),
            Some(Loudness::Match(name)) => {
                let Some(reference) = self.sheet.reference(name) else { return Ok((None, String::new())) };
                let (_, measured) = files::measure_file(&self.folder.join(reference.file.as_str()), &|_| ())?;
                let lufs = measured.measures.integrated_lufs;
                let silent = || {
                    let message = format!("“{name}” is silent, so that nothing can be as loud.");
                    Fault::input("silent-reference", name, message, "Name another reference.".to_owned())
                };
                Ok((Some(lufs.ok_or_else(silent)?), format!("as loud as “{name}”")))
            }
        }
    }

    /// Writes all files of a print, several at a time.
    fn write_files(&self, print: &Print, ended: &Ended) -> Result<Vec<FileRecord>, Fault> {
        let metadata = labels::metadata(self.sheet, print, &self.revision.name(), self.order.label);
        let work = self.revision.folder();
        let mut taken = HashMap::new();
        let jobs: Vec<(PathBuf, sheet::FileSpec)> = print
            .files
            .iter()
            .map(|spec| {
                let name = labels::file_name(self.sheet, print, self.revision.number(), spec);
                (work.join(labels::unique(name, &mut taken)), *spec)
            })
            .collect();
        let write = |(path, spec): &(PathBuf, sheet::FileSpec)| {
            files::write(&Job {
                plan: self.plan,
                spool: (work, &ended.spool),
                spec: *spec,
                path,
                metadata: &metadata,
                loudness: labels::loudness(&ended.measured),
            })
        };
        let (order, mut finished) = (self.order, Vec::new());
        for (index, batch) in jobs.chunks(order.threads.max(1)).enumerate() {
            let part = (index * order.threads.max(1)) as f64 / jobs.len() as f64;
            (order.progress)(&format!("Writing {}", print.name), part);
            let results: Vec<_> = std::thread::scope(|scope| {
                let handles: Vec<_> = batch.iter().map(|job| scope.spawn(|| write(job))).collect();
                handles.into_iter().map(|handle| handle.join()).collect()
            });
            for (result, (path, spec)) in results.into_iter().zip(batch) {
                let result = result.unwrap_or_else(|panic| std::panic::resume_unwind(panic));
                finished.push(self.file_record(print, spec, path, result?));
            }
        }
        (order.progress)(&format!("Writing {}", print.name), 1.0);
        fs::remove_file(work.join(&ended.spool)).map_err(|error| machine(work, &error))?;
        Ok(finished)
    }

    fn file_record(&self, print: &Print, spec: &sheet::FileSpec, path: &Path, finished: Finished) -> FileRecord {
        let format = labels::format_in_words(spec, finished.rate_hz);
        let port = self.plan.prints.iter().find(|port| print.name == *port.name.as_str());
        let findings = findings::of_file(&FileFacts {
            at: &format!("print {}, {format}", print.name),
            measured: &finished.measured,
            ceiling_dbtp: port.and_then(|port| self.plan.ceiling_dbtp(port)),
            lossy: matches!(spec.format, sheet::FileFormat::Mp3 { .. }),
            clamped_samples: finished.clamped_samples,
        });
        let path = self.revision.final_folder().join(path.file_name().unwrap_or_default());
        FileRecord {
            name: print.name.as_str().to_owned(),
            kind: print.kind.clone(),
            format,
            path: path.display().to_string(),
            sha256: finished.sha256,
            measures: finished.measured.measures,
            findings,
            realtime_factor: 0.0,
        }
    }

    fn report(&self, versions: Vec<Version>, prints: Vec<FileRecord>, mut findings: Vec<Problem>) -> Report {
        findings.extend(prints.iter().flat_map(|file| file.findings.iter().cloned()));
        let accepted = |finding: &Problem| self.sheet.acceptance(finding).map(|accepted| accepted.reason.clone());
        let (excused, mut findings): (Vec<_>, Vec<_>) = findings.into_iter().partition(|f| accepted(f).is_some());
        findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
        let record = |finding: Problem| AcceptedRecord { reason: accepted(&finding).unwrap_or_default(), finding };
        let song = &self.sheet.song;
        Report {
            fairprint_report: 1,
            engine: env!("CARGO_PKG_VERSION"),
            revision: self.revision.name(),
            label: self.order.label.map(str::to_owned),
            date: labels::now(),
            title: song.title.clone(),
            artist: song.artist.clone(),
            rate_hz: song.rate_hz,
            frames: self.plan.print_frames(),
            sections: self.sheet.sections.iter().map(|s| (s.name.as_str().to_owned(), s.from_secs)).collect(),
            versions,
            prints,
            returns: Vec::new(),
            findings,
            accepted: excused.into_iter().map(record).collect(),
            realtime_factor: 0.0,
        }
    }

    /// The report, for programs and for people, and the exact sheet.
    fn write_documents(&self, report: &Report, sheet_text: &str) -> Result<(), Fault> {
        let work = self.revision.folder();
        let json = serde_json::to_string_pretty(report).unwrap_or_else(|_| "{}".to_owned());
        let documents = [
            ("report.json", json),
            ("report.html", crate::report::html(report)),
            ("sheet.toml", sheet_text.to_owned()),
        ];
        for (name, text) in documents {
            fs::write(work.join(name), text).map_err(|error| machine(&work.join(name), &error))?;
        }
        Ok(())
    }
}
