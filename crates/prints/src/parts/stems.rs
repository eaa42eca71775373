//! The files of a print in stems.

use std::collections::HashMap;
use std::fs;
use std::path::{Path, PathBuf};

use engine::{Fault, Sink};
use media::Writer;
use sheet::{FileSpec, Name, Print, StemPrint};
use units::{Problem, Severity, counted};

use super::lanes::Group;
use super::sinks::StemFiles;
use super::{Parts, hidden, nulls};
use crate::files;
use crate::finish::Finish;
use crate::gate;
use crate::labels;
use crate::parallel::in_parallel;
use crate::record::{FileRecord, StemsRecord};
use crate::revision::machine;
use crate::spool::media_fault;

/// A print in stems under way.
pub(super) struct StemRun<'a> {
    set: &'a StemPrint,
    of: &'a Print,
    groups: &'a [Group],
    formats: Vec<Format<'a>>,
}

/// One format of all its files.
struct Format<'a> {
    spec: FileSpec,
    paths: Vec<PathBuf>,
    /// The print's own samples in this format, to hold the sum of the files against.
    print: PathBuf,
    files: StemFiles<'a>,
}

impl<'a> StemRun<'a> {
    /// Starts all files. `lanes` are those of each group, the residue's last.
    pub fn start(
        finish: &Finish<'_>,
        of: &'a Print,
        set: &'a StemPrint,
        groups: &'a [Group],
        lanes: &'a [Vec<usize>],
    ) -> Result<Self, Fault> {
        let work = finish.revision.folder();
        let mut taken = HashMap::new();
        let mut formats = Vec::new();
        for (index, spec) in set.files.iter().enumerate() {
            let parts: Vec<Print> = names(groups).map(|group| part(of, set, group)).collect();
            let path = |part: &Print| {
                let name = labels::file_name(finish.sheet, part, finish.revision.number(), spec);
                work.join(labels::unique(name, &mut taken))
            };
            let paths: Vec<PathBuf> = parts.iter().map(path).collect();
            let writer = |part: &Print, path: &PathBuf| -> Result<Writer, Fault> {
                let metadata = labels::metadata(finish.sheet, part, &finish.revision.name(), finish.occasion);
                let frames = Some(finish.plan.print_frames());
                let format = files::format_of(spec.format);
                let writer = media::create(path, &format, finish.sheet.song.rate_hz, frames, &metadata);
                writer.map_err(|error| media_fault(&error))
            };
            let writers = parts.iter().zip(&paths).map(|(part, path)| writer(part, path)).collect::<Result<_, _>>()?;
            let print = hidden(work, &format!("{index}.{}", paths[0].file_name().unwrap_or_default().display()));
            let whole = writer(of, &print)?;
            let files = StemFiles::new(spec, finish.plan.rate_hz, lanes, writers, whole)?;
            formats.push(Format { spec: *spec, paths, print, files });
        }
        Ok(Self { set, of, groups, formats })
    }

    /// What takes the lanes of the print.
    pub fn sinks<'s>(&'s mut self) -> Vec<Box<dyn Sink + 's>> {
        self.formats.iter_mut().map(|format| Box::new(&mut format.files) as Box<dyn Sink + 's>).collect()
    }

    /// Completes the files, reads them back, and adds all that is to be told of them.
    pub fn finish(
        self,
        finish: &Finish<'_>,
        residue_share_db: Option<f64>,
        null_dbfs: Option<f64>,
        parts: &mut Parts,
    ) -> Result<(), Fault> {
        let mut files_null_dbfs = Vec::new();
        for format in self.formats {
            let beyond = format.files.beyond.clone();
            format.files.finish()?;
            let null = nulls::of_files(&format.print, &format.paths)?;
            fs::remove_file(&format.print).map_err(|error| machine(&format.print, &error))?;
            files_null_dbfs.push((labels::format_in_words(&format.spec, finish.sheet.song.rate_hz), null));
            let jobs: Vec<_> = names(self.groups).zip(&format.paths).zip(beyond).collect();
            parts.files.extend(in_parallel(finish.threads, &jobs, |((group, path), beyond)| {
                record(finish, &part(self.of, self.set, group), &format.spec, path, *beyond)
            })?);
        }
        let residue = (sheet::keys::OWN_GROUPS[1].to_owned(), Vec::new());
        parts.stems.push(StemsRecord {
            name: self.set.name.as_str().to_owned(),
            of: self.of.name.as_str().to_owned(),
            groups: self.groups.iter().cloned().chain([residue]).collect(),
            residue_share_db,
            null_dbfs,
            files_null_dbfs,
        });
        Ok(())
    }
}

/// Names of the groups, the residue's last.
fn names(groups: &[Group]) -> impl Iterator<Item = &str> {
    groups.iter().map(|(name, _)| name.as_str()).chain([sheet::keys::OWN_GROUPS[1]])
}

/// A part as a print, for names and labels.
fn part(of: &Print, set: &StemPrint, group: &str) -> Print {
    Print {
        name: Name::new(format!("{} {group}", set.name), set.name.place()),
        kind: Some("stem".to_owned()),
        pattern: set.pattern.clone().or_else(|| of.pattern.clone()),
        ..of.clone()
    }
}

fn record(finish: &Finish<'_>, part: &Print, spec: &FileSpec, path: &Path, beyond: u64) -> Result<FileRecord, Fault> {
    let (measured, read) = files::read_back(path)?;
    let sha256 = files::sha256_of(path).map_err(|error| machine(path, &error))?;
    let format = labels::format_in_words(spec, finish.sheet.song.rate_hz);
    let holds_beyond = spec.format.rounding().is_none();
    let clipped = (beyond > 0 && !holds_beyond).then(|| {
        let message = format!(
            "Above full scale, and cut off: {}; the residue's file holds what is cut.",
            counted(beyond as usize, "sample")
        );
        let remedy = "Write the stems in 32 bit float: a part may peak above the whole.".to_owned();
        Problem::new(Severity::Fail, "clipped", &format!("{}, {format}", part.name), message, remedy)
    });
    let at = format!("{}, {format}", part.name);
    let mut findings = gate::of_file(&finish.delivered(&at, spec, &read));
    // Where a part begins and ends is the song's affair; that all are equally long and carry their labels is not.
    findings.retain(|finding| !["head-cut", "tail-cut", "long-silence"].contains(&finding.code));
    findings.extend(clipped);
    Ok(FileRecord {
        name: part.name.as_str().to_owned(),
        kind: part.kind.clone(),
        format,
        path: finish.final_path(path),
        sha256,
        frames: read.frames,
        lossy: read.info.lossy,
        loudest_secs: gate::loudest_secs(&measured),
        measures: measured.measures,
        findings,
        realtime_factor: finish.realtime_factor(),
    })
}
