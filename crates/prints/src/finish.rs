//! From the common render to finished files: the ending of a print where one is to be found, labels, reading back.

use std::collections::HashMap;
use std::path::Path;
use std::time::Instant;

use engine::{Fault, Plan, Port};
use measure::LoudnessMeter;
use sheet::{Loudness, Print, Sheet};
use units::Problem;

use crate::ending::{Ending, Make};
use crate::files::{self, Finished, Pending};
use crate::findings::{self, FileFacts};
use crate::gate::{self, Delivered, ReadBack};
use crate::kept::Kept;
use crate::labels::{self, Occasion};
use crate::parallel::in_parallel;
use crate::record::{FileRecord, SolvedRecord, Version};
use crate::revision::Revision;
use crate::spool::Gauged;

/// What the common render leaves of a print.
pub(crate) enum Rendition {
    /// A print whose ending is still to be found.
    Head(Head),
    /// All of it, in files that wait to be completed.
    Files(Vec<Pending>, Gauged),
}

/// A print as far as the common render takes it.
pub(crate) struct Head {
    /// Name of its 64-bit file in the work folder.
    pub spool: String,
    pub gauged: Gauged,
}

/// What is known of a print that has its ending.
pub(crate) struct Ended {
    pub gauged: Gauged,
    pub solved: Option<SolvedRecord>,
    /// What the sheet promises of its true peak.
    pub ceiling_dbtp: Option<f64>,
    pub findings: Vec<Problem>,
}

/// What all prints of a run share.
pub(crate) struct Finish<'a> {
    pub plan: &'a Plan,
    pub sheet: &'a Sheet,
    /// Folder of the sheet.
    pub folder: &'a Path,
    pub revision: &'a Revision,
    pub occasion: Occasion<'a>,
    pub threads: usize,
    pub started: Instant,
    pub progress: &'a (dyn Fn(&str, f64) + Sync),
    pub kept: Option<&'a Kept>,
}

/// A finished print: its record, its files' records, and what was found.
pub(crate) type Done = (Version, Vec<FileRecord>, Vec<Problem>);

impl Finish<'_> {
    /// Completes a print: finds its ending where there is one to find, and completes its files.
    pub(crate) fn print(&self, print: &Print, port: &Port, rendition: Rendition) -> Result<Done, Fault> {
        let (files, ended) = match rendition {
            Rendition::Files(files, gauged) => (files, self.as_it_is(port, gauged)),
            Rendition::Head(head) => self.end(print, port, &head, &|spool| self.fill_files(print, spool))?,
        };
        let files = self.complete(print, files, &ended)?;
        let Ended { gauged, solved, findings, .. } = ended;
        let version = Version {
            name: print.name.as_str().to_owned(),
            kind: print.kind.clone(),
            measures: files.first().map(|file| file.measures.clone()).unwrap_or_default(),
            solved,
            history: gauged.loudness.history(),
            outline: gauged.outline,
        };
        Ok((version, files, findings))
    }

    /// The last steps of a print, where its loudness and ceiling are found, and what `make` makes of it then.
    pub(crate) fn end<T: Send>(
        &self,
        print: &Print,
        port: &Port,
        head: &Head,
        make: Make<'_, T>,
    ) -> Result<(T, Ended), Fault> {
        if port.solve_after.is_none() {
            let made = make(&self.revision.folder().join(&head.spool))?;
            return Ok((made, self.as_it_is(port, head.gauged.clone())));
        }
        let (target_lufs, target) = target(self.sheet, self.folder, print)?;
        let name = print.name.as_str();
        let ending = Ending {
            plan: self.plan,
            port,
            work: self.revision.folder(),
            rate_hz: self.sheet.song.rate_hz,
            threads: self.threads,
            progress: &|part| (self.progress)(&format!("Finding the loudness of {name}"), part),
            kept: self.kept,
        };
        ending.find(print, head, target_lufs, target, make)
    }

    /// A print that has no ending to be found.
    fn as_it_is(&self, port: &Port, gauged: Gauged) -> Ended {
        Ended { gauged, solved: None, ceiling_dbtp: self.plan.ceiling_dbtp(port), findings: Vec::new() }
    }

    /// Starts all files of a print.
    pub(crate) fn start_files(&self, print: &Print) -> Result<Vec<Pending>, Fault> {
        let metadata = labels::metadata(self.sheet, print, &self.revision.name(), self.occasion);
        let sound = (self.sheet.song.rate_hz, self.plan.print_frames());
        let mut taken = HashMap::new();
        let start = |spec: &sheet::FileSpec| {
            let name = labels::file_name(self.sheet, print, self.revision.number(), spec);
            let path = self.revision.folder().join(labels::unique(name, &mut taken));
            Pending::start(*spec, path, &metadata, sound)
        };
        print.files.iter().map(start).collect()
    }

    /// Starts all files of a print and fills them from its 64-bit file.
    fn fill_files(&self, print: &Print, spool: &Path) -> Result<Vec<Pending>, Fault> {
        in_parallel(self.threads, self.start_files(print)?, |mut file| {
            file.push_all(spool)?;
            Ok(file)
        })
    }

    /// Completes files that have taken all of a print.
    pub(crate) fn complete(&self, print: &Print, files: Vec<Pending>, ended: &Ended) -> Result<Vec<FileRecord>, Fault> {
        let what = format!("Writing {}", print.name);
        (self.progress)(&what, 0.0);
        let records = in_parallel(self.threads, files, |file| {
            let (spec, path) = (file.spec, file.path.clone());
            let finished = file.finish(labels::loudness(&ended.gauged))?;
            Ok(self.file_record(print, ended.ceiling_dbtp, &spec, &path, finished))
        })?;
        (self.progress)(&what, 1.0);
        Ok(records)
    }

    fn file_record(
        &self,
        print: &Print,
        ceiling_dbtp: Option<f64>,
        spec: &sheet::FileSpec,
        path: &Path,
        finished: Finished,
    ) -> FileRecord {
        let format = labels::format_in_words(spec, finished.read.info.rate_hz);
        let at = format!("print {}, {format}", print.name);
        let mut findings = findings::of_file(&FileFacts {
            at: &at,
            measured: &finished.measured,
            ceiling_dbtp,
            lossy: spec.format.codec().is_some(),
            clamped_samples: finished.clamped_samples,
        });
        findings.extend(gate::of_file(&self.delivered(&at, spec, &finished.read)));
        FileRecord {
            name: print.name.as_str().to_owned(),
            kind: print.kind.clone(),
            format,
            path: self.final_path(path),
            sha256: finished.sha256,
            frames: finished.read.frames,
            lossy: finished.read.info.lossy,
            loudest_secs: gate::loudest_secs(&finished.measured),
            measures: finished.measured.measures,
            findings,
            realtime_factor: self.realtime_factor(),
        }
    }

    /// What the gate needs to know of a file.
    pub(crate) fn delivered<'f>(&'f self, at: &'f str, spec: &'f sheet::FileSpec, read: &'f ReadBack) -> Delivered<'f> {
        let print = (self.plan.print_frames(), self.sheet.song.rate_hz);
        Delivered { at, spec, print, read, title: &self.sheet.song.title }
    }

    /// Where a file of the work folder will be.
    pub(crate) fn final_path(&self, path: &Path) -> String {
        self.revision.final_folder().join(path.file_name().unwrap_or_default()).display().to_string()
    }

    pub(crate) fn realtime_factor(&self) -> f64 {
        self.plan.print_frames() as f64 / self.plan.rate_hz / self.started.elapsed().as_secs_f64()
    }
}

/// The loudness that a print asks for, and where it comes from.
pub(crate) fn target(sheet: &Sheet, folder: &Path, print: &Print) -> Result<(Option<f64>, String), Fault> {
    match &print.loudness {
        None => Ok((None, String::new())),
        Some(Loudness::Lufs(lufs)) => Ok((Some(*lufs), "as loud as the sheet asks".to_owned())),
        Some(Loudness::Match(name)) => {
            let Some(reference) = sheet.reference(name) else { return Ok((None, String::new())) };
            let lufs = loudness_of(&folder.join(reference.file.as_str()))?;
            let silent = || {
                let message = format!("“{name}” is silent, so that nothing can be as loud.");
                Fault::input("silent-reference", name, message, "Name another reference.".to_owned())
            };
            Ok((Some(lufs.ok_or_else(silent)?), format!("as loud as “{name}”")))
        }
    }
}

/// Integrated loudness of a file; none for silence.
fn loudness_of(path: &Path) -> Result<Option<f64>, Fault> {
    let mut meter: Option<LoudnessMeter> = None;
    files::read_through(path, &mut |info, frames| {
        let rate_hz = f64::from(info.rate_hz);
        let new = || if info.channels == 1 { LoudnessMeter::mono(rate_hz) } else { LoudnessMeter::new(rate_hz) };
        meter.get_or_insert_with(new).push(frames);
    })?;
    Ok(meter.and_then(|meter| meter.integrated_lufs()))
}
