//! Renders versions of the sheet behind the scenes, so that they play along with the sheet as it is now.
//!
//! A version is surveyed like the sheet itself, since the ends of its prints need gains of their own; then it is played by
//! what plays the sheet, into files that are gone when the desk closes.

use std::fs;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use engine::Fault;
use media::{FileFormat, Metadata, WavSample};
use prints::survey::{Course, Survey, survey};
use tempfile::TempDir;
use units::Problem;

use crate::protocol::{Finding, Told};
use crate::server::{Shared, earlier};
use crate::session::Version;
use crate::take::{Scene, Take};
use crate::wish::Wish;

/// The newest wish counts.
const REST: Duration = Duration::from_millis(50);
/// The part of the work that the survey is.
const SURVEY: f64 = 0.6;

/// A print of a version that can be heard: its name, its file, its loudness.
pub(crate) type Rendered = (String, PathBuf, Option<f64>);

/// The renderer: one thread in [`Renderer::work`].
pub(crate) struct Renderer {
    wish: Wish<String>,
    /// Where the files are.
    folder: Mutex<Option<TempDir>>,
}

impl Default for Renderer {
    fn default() -> Self {
        Self { wish: Wish::new(REST), folder: Mutex::default() }
    }
}

impl Renderer {
    /// This version is to be heard.
    pub(crate) fn render(&self, version: String) {
        self.wish.want(version);
    }

    /// Nothing more is wanted.
    pub(crate) fn end(&self) {
        self.wish.end();
    }

    /// Renders whenever it is told to, until the end; then its files go.
    pub(crate) fn work(&self, shared: &Arc<Shared>) {
        while let Some(name) = self.wish.wait() {
            match self.one(shared, &name) {
                Ok(prints) => {
                    shared.session().take_rendered(&name, prints);
                    shared.play_scene();
                    shared.tell_view();
                    earlier::align(shared);
                }
                Err(_) if self.wish.is_void() => {}
                Err(problem) => shared.tell(&Told::Refused { finding: Finding::of(&problem) }),
            }
            shared.tell(&progress(&name, 1.0));
        }
        *self.folder.lock().unwrap_or_else(PoisonError::into_inner) = None;
    }

    fn one(&self, shared: &Shared, name: &str) -> Result<Vec<Rendered>, Box<Problem>> {
        let problem = |fault: Fault| Box::new(fault.into_problem());
        let version = shared.session().version(name)?;
        let folder = self.place(name).map_err(problem)?;
        let tell = |part: f64| shared.tell(&progress(name, part));
        let course = Course { threads: 1, stop: self.wish.stop(), progress: &|part| tell(SURVEY * part) };
        let places = (version.folder.as_path(), version.sources.as_ref());
        let found = survey(&version.sheet, &version.plan, places, &course).map_err(problem)?;
        let prints = self.write(version, &found, &folder, &|part| tell(SURVEY + (1.0 - SURVEY) * part));
        prints.map_err(problem)
    }

    /// A new folder for a version.
    fn place(&self, name: &str) -> Result<PathBuf, Fault> {
        let machine = |error| prints::disk_fault(&std::env::temp_dir(), &error);
        let mut kept = self.folder.lock().unwrap_or_else(PoisonError::into_inner);
        if kept.is_none() {
            *kept = Some(tempfile::tempdir().map_err(machine)?);
        }
        let folder = kept.iter().map(|folder| folder.path().join(name)).next().unwrap_or_default();
        fs::create_dir_all(&folder).map_err(machine)?;
        Ok(folder)
    }

    /// Plays all prints of a version into files.
    fn write(
        &self,
        version: Version,
        found: &Survey,
        folder: &std::path::Path,
        tell: &dyn Fn(f64),
    ) -> Result<Vec<Rendered>, Fault> {
        let Version { mut plan, sources, .. } = version;
        crate::session::settle(&mut plan, found);
        let ports = plan.prints.clone();
        let (rate_hz, frames) = (plan.rate_hz as u32, plan.print_frames());
        let outputs = ports.iter().map(|port| port.step).collect();
        let scene = Arc::new(Scene { plan, outputs, nodes: Vec::new(), links: Vec::new(), sources });
        let format = FileFormat::Wav(WavSample::Float32);
        let path = |index: usize| folder.join(format!("{index}.wav"));
        let create = |index| media::create(&path(index), &format, rate_hz, Some(frames), &Metadata::default());
        let mut writers =
            (0..ports.len()).map(create).collect::<Result<Vec<_>, _>>().map_err(|e| prints::media_fault(&e))?;
        let mut take = Take::open(&scene, 0)?;
        let mut told = 0;
        while take.at() < frames as i64 && !self.wish.is_void() {
            let left = usize::try_from(frames as i64 - take.at()).unwrap_or(0);
            take.advance(&mut |_, _| ())?;
            for (output, writer) in writers.iter_mut().enumerate() {
                let piece = take.piece(output);
                writer.write(&piece[..left.min(piece.len())]).map_err(|error| prints::media_fault(&error))?;
            }
            let percent = 100 * take.at() / frames.max(1) as i64;
            if percent > told {
                told = percent;
                tell(percent as f64 / 100.0);
            }
        }
        if self.wish.is_void() {
            let remedy = "Ask for it again.".to_owned();
            return Err(Fault::input("stopped", "version", "It was stopped.".to_owned(), remedy));
        }
        for writer in writers {
            writer.finish_without_sync().map_err(|error| prints::media_fault(&error))?;
        }
        let loudness = |name: &str| {
            let programme = found.programmes.iter().find(|programme| programme.name == name);
            programme.and_then(|programme| programme.integrated_lufs)
        };
        let rendered = |(index, port): (usize, &engine::Port)| (port.name.clone(), path(index), loudness(&port.name));
        Ok(ports.iter().enumerate().map(rendered).collect())
    }
}

fn progress(name: &str, part: f64) -> Told {
    Told::Progress { what: format!("Rendering the version {name}"), part }
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::AtomicBool;

    use units::Frame;

    use super::*;
    use crate::protocol::{Ear, Through};
    use crate::server::{Setup, open};
    use crate::testing::Song;

    #[test]
    fn a_version_is_heard_in_step_with_the_sheet_as_it_is_now_and_matched() {
        let song = Song::new();
        let setup = Setup { sheet: song.sheet(), port: 0, threads: 1, device: None };
        let desk = open(&setup).unwrap_or_else(|_| panic!("it opens"));
        let shared = desk.shared();
        shared.session().keep_version("dry voice").expect("it is kept");
        let path = ["stem", "a", "level_db"].map(Into::into).to_vec();
        let edit = sheet::Edit::Set { path, value: (-12.0).into() };
        shared.session().edit(&[edit], "level of a", false).expect("it can be set");
        let rendered = shared.renderer.one(shared, "dry voice").expect("it renders");
        assert_eq!(
            rendered.iter().map(|(print, ..)| print.as_str()).collect::<Vec<_>>(),
            ["for mastering", "for approval"]
        );
        assert!(shared.renderer.one(shared, "wet voice").is_err(), "there is no such version");
        shared.session().take_rendered("dry voice", rendered);
        assert!(shared.session().undo().expect("it compiles"), "the sheet is what it was when the version was kept");
        let session = shared.session();
        let names = ["for mastering", "for mastering of version “dry voice”"];
        let ways = names.map(|name| (session.output(name).expect("it is there"), Through::Nothing));
        let scene = Arc::new(session.scene_of(&Ear::default()));
        let heard = crate::passage::render(&scene, &ways, (60_000, 96_000), &AtomicBool::new(false));
        let heard = heard.expect("it renders").expect("all of it");
        let apart = |a: &[Frame], b: &[Frame]| a.iter().zip(b).map(|(a, b)| (a[0] - b[0]).abs()).fold(0.0, f64::max);
        // 32-bit floats of a signal below 0.25 are within 2^-27 (IEEE 754).
        assert!(apart(&heard[0], &heard[1]) < 1.5e-8, "in step to the sample: {}", apart(&heard[0], &heard[1]));
        let view = session.view();
        assert!(view.earlier.iter().any(|earlier| earlier.is_version && earlier.revision == "dry voice"));
    }
}
