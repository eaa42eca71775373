//! What comes in: every file of a folder, looked at once, with findings.

mod copies;
mod damage;
mod facts;
mod groups;
mod pairs;
mod starter;
mod tuning;
mod verdicts;

use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use engine::Fault;
use measure::StemFacts;
use media::Info;
use units::{Problem, Severity};

pub use facts::audio_files;
pub(crate) use facts::is_audio;
pub use groups::{Group, group_of, is_reference};
pub use starter::{by_group, starter_text, write_starter};

/// A file that came in.
pub struct Incoming {
    /// Path from the folder, with `/` between its parts.
    pub file: String,
    /// Name without folders and ending.
    pub name: String,
    /// What its header says.
    pub info: Info,
    /// What its samples say.
    pub facts: StemFacts,
}

impl Incoming {
    /// The group it belongs to, or none for something to listen against.
    #[must_use]
    pub fn group(&self) -> Option<Group> {
        (!is_reference(&self.name)).then(|| group_of(&self.name))
    }

    /// Seconds of a frame.
    fn secs(&self, frame: u64) -> f64 {
        frame as f64 / f64::from(self.info.rate_hz)
    }
}

/// What an intake found.
pub struct Intake {
    /// The folder.
    pub folder: PathBuf,
    /// Files that can be read, in order of their names.
    pub files: Vec<Incoming>,
    /// Findings, the worst first.
    pub findings: Vec<Problem>,
    /// The rate that most stems have.
    pub rate_hz: u32,
    /// The A that the stems are tuned to together, if enough of them has pitch.
    pub a_hz: Option<f64>,
}

/// Findings that the short list holds.
const SHORT: usize = 6;

impl Intake {
    /// What to look at first: the worst, one for each file and kind, a few of them.
    #[must_use]
    pub fn short_list(&self) -> Vec<&Problem> {
        let urgent = self.findings.iter().filter(|finding| finding.severity > Severity::Note);
        urgent.take(SHORT).collect()
    }
}

/// Looks at every audio file in a folder. `progress` is told the part that is done.
///
/// # Errors
/// The folder cannot be read, or holds no audio that can.
pub fn intake(folder: &Path, threads: usize, progress: &(dyn Fn(f64) + Sync)) -> Result<Intake, Fault> {
    let facts::Found { files: paths, problems: mut findings } = facts::audio_files(folder)?;
    if paths.is_empty() && findings.is_empty() {
        let at = folder.display().to_string();
        let remedy = "Name the folder that the stems lie in.".to_owned();
        return Err(Fault::input("no-audio", &at, format!("There is no audio in {at}."), remedy));
    }
    let mut files = Vec::new();
    for looked in look_at_all(folder, &paths, threads, progress) {
        match looked {
            Ok(incoming) => files.push(incoming),
            Err(problem) => findings.push(*problem),
        }
    }
    if files.is_empty() {
        let at = folder.display().to_string();
        let first = findings.first().map(|problem| problem.message.clone()).unwrap_or_default();
        let remedy = "Export the stems again, as WAV.".to_owned();
        return Err(Fault::input("no-audio", &at, format!("No file in {at} can be read. {first}"), remedy));
    }
    let rate_hz = commonest_rate(&files);
    files.iter().for_each(|file| findings.extend(verdicts::of_file(file, rate_hz)));
    files.iter().filter(|file| file.group().is_some()).for_each(|file| findings.extend(damage::of_file(file)));
    findings.extend(verdicts::of_set(&files));
    findings.extend(tuning::findings(&files, rate_hz));
    findings.extend(pairs::findings(folder, &files, threads)?);
    findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    let a_hz = tuning::of_song(&files).map(measure::stem_facts::tuning::a_hz);
    Ok(Intake { folder: folder.to_owned(), files, findings, rate_hz, a_hz })
}

/// Looks at files on several threads; the results are in the order of the files.
fn look_at_all(
    folder: &Path,
    files: &[String],
    threads: usize,
    progress: &(dyn Fn(f64) + Sync),
) -> Vec<Result<Incoming, Box<Problem>>> {
    let next = AtomicUsize::new(0);
    let done = Mutex::new(Vec::new());
    let work = || {
        loop {
            let index = next.fetch_add(1, Ordering::Relaxed);
            let Some(file) = files.get(index) else { return };
            let looked = facts::look_at(folder, file);
            let mut done = done.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
            done.push((index, looked));
            progress(done.len() as f64 / files.len() as f64);
        }
    };
    std::thread::scope(|scope| {
        for _ in 1..threads.max(1) {
            scope.spawn(work);
        }
        work();
    });
    let mut done = done.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner);
    done.sort_by_key(|(index, _)| *index);
    done.into_iter().map(|(_, looked)| looked).collect()
}

fn commonest_rate(files: &[Incoming]) -> u32 {
    let stems = || files.iter().filter(|file| file.group().is_some());
    let count = |rate_hz: u32| stems().filter(|file| file.info.rate_hz == rate_hz).count();
    let most = stems().map(|file| file.info.rate_hz).max_by_key(|rate_hz| (count(*rate_hz), *rate_hz));
    most.filter(|rate_hz| sheet::keys::RATES_HZ.contains(rate_hz)).unwrap_or(48_000)
}
