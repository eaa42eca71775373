//! The sheet under the hands: its text, what undoes what, what is heard of it. No sound, no network, no clock.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use engine::{Folder, Plan};
use prints::survey::Survey;
use sheet::{Edit, Sheet};
use units::{Problem, Severity};

use crate::earlier::Shelf;
use crate::listeners;
use crate::past::Past;
use crate::protocol::{self, Ear, Finding, Hearing, Through};
use crate::versions;

mod errands;
mod heard;
mod named;
mod shown;

pub(crate) use errands::Version;

/// The level of listening that a session starts with: far below that of a loud print.
const FIRST_MONITOR_DB: f64 = -18.0;
/// The range of the level of listening.
const MONITOR_DB: [f64; 2] = [-60.0, 0.0];

/// A sheet that is worked on.
pub struct Session {
    path: PathBuf,
    /// The text as the file has it, as far as is known.
    saved: String,
    text: String,
    /// The text as it was kept beside the sheet last.
    kept: String,
    sheet: Sheet,
    problems: Vec<Problem>,
    plan: Plan,
    sources: Arc<Folder>,
    past: Past,
    notes: Vec<protocol::Note>,
    shelf: Shelf,
    /// What the last print run found.
    reported: Vec<Finding>,
    versions: Vec<protocol::Version>,
    /// The text that advice was given on, and what was found.
    advised: Option<(String, Vec<Finding>)>,
    hearing: Hearing,
    ear: Ear,
    survey: Option<Survey>,
    changed_outside: bool,
    /// The machine's sound device that plays, if the page does not.
    device: Option<String>,
    /// Where the text lies that an earlier session did not save, until it is taken up or a save says that it is not.
    unsaved_before: Option<PathBuf>,
}

/// A text that reads as a sheet and compiles.
struct Sound {
    sheet: Sheet,
    problems: Vec<Problem>,
    plan: Plan,
    sources: Arc<Folder>,
}

impl Session {
    /// Opens a sheet.
    ///
    /// # Errors
    /// What is wrong with the file, or everything that is wrong with the sheet.
    pub fn open(path: &Path) -> Result<Self, Vec<Problem>> {
        let loaded = prints::load(path).map_err(|fault| vec![fault.into_problem()])?;
        let sound = sound(&loaded.text, loaded.folder(), None)?;
        let first = sound.sheet.prints.first().map(|print| print.name.as_str().to_owned());
        let programme = first.ok_or_else(|| vec![nothing_to_hear()])?;
        let hearing =
            Hearing { programme, matched: true, through: Through::Nothing, span_s: None, monitor_db: FIRST_MONITOR_DB };
        let unsaved = unsaved_file(path);
        let unsaved_before = fs::read_to_string(&unsaved).is_ok_and(|text| text != loaded.text).then_some(unsaved);
        let mut session = Self {
            path: path.to_owned(),
            saved: loaded.text.clone(),
            kept: loaded.text.clone(),
            text: loaded.text,
            sheet: sound.sheet,
            problems: sound.problems,
            plan: sound.plan,
            sources: sound.sources,
            past: Past::default(),
            notes: listeners::of(path),
            shelf: Shelf::of(path),
            reported: reported(path),
            versions: versions::of(path),
            advised: None,
            hearing,
            ear: Ear::default(),
            survey: None,
            changed_outside: false,
            device: None,
            unsaved_before,
        };
        session.settle();
        Ok(session)
    }

    /// Folder of the sheet.
    #[must_use]
    pub fn folder(&self) -> &Path {
        prints::folder_of(&self.path)
    }

    /// The sheet's file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// What a survey of the sheet as it is now needs.
    #[must_use]
    pub fn for_survey(&self) -> (Sheet, Arc<Folder>) {
        (self.sheet.clone(), self.sources.clone())
    }

    /// What weighing a part needs: the sheet, its recordings, the plan with what the sheet mutes silent, and the print
    /// that is heard.
    #[must_use]
    pub fn for_weighing(&self) -> (Sheet, Arc<Folder>, Plan, String) {
        let plan = self.scene_of(&Ear::default()).plan;
        (self.sheet.clone(), self.sources.clone(), plan, self.hearing.programme.clone())
    }

    /// Makes changes one after the other: all, or none.
    ///
    /// # Errors
    /// The first change that cannot be made, or what the sheet would have wrong with it then.
    pub fn edit(&mut self, edits: &[Edit], words: &str, goes_on: bool) -> Result<(), Box<Problem>> {
        let mut text = self.text.clone();
        for edit in edits {
            text = edit.apply(&text)?;
        }
        self.change_to(text, words, goes_on)?;
        for edit in edits {
            if let Edit::Rename { from, to } = edit {
                self.renamed(from, to);
            }
        }
        Ok(())
    }

    /// Takes the last change back. Tells whether there was one.
    ///
    /// # Errors
    /// The sheet as it was does not compile any more, for instance because a file is gone.
    pub fn undo(&mut self) -> Result<bool, Box<Problem>> {
        let Some(text) = self.past.before(&self.text) else { return Ok(false) };
        self.take_text(text)?;
        self.past.went_back();
        Ok(true)
    }

    /// Makes the change again that was taken back last.
    ///
    /// # Errors
    /// As for [`Self::undo`].
    pub fn redo(&mut self) -> Result<bool, Box<Problem>> {
        let Some(text) = self.past.after(&self.text) else { return Ok(false) };
        self.take_text(text)?;
        self.past.went_on();
        Ok(true)
    }

    /// Writes the sheet in one step and keeps the file that was there beside it.
    ///
    /// # Errors
    /// Somebody else has changed the file and nobody here knows it yet, or the folder cannot be written.
    pub fn save(&mut self) -> Result<(), Box<Problem>> {
        if let Ok(there) = fs::read(&self.path) {
            let is_known = [&self.saved, &self.text].iter().any(|text| text.as_bytes() == there);
            if !is_known && !std::mem::replace(&mut self.changed_outside, true) {
                return Err(changed_outside(&self.path));
            }
            let _ = prints::load::put(&beside(&self.path, "before"), &there);
        }
        prints::load::save(&self.path, &self.text).map_err(|fault| Box::new(fault.into_problem()))?;
        self.saved.clone_from(&self.text);
        (self.changed_outside, self.unsaved_before) = (false, None);
        let _ = fs::remove_file(unsaved_file(&self.path));
        Ok(())
    }

    /// Keeps what is not saved in a file beside the sheet, so that no crash loses it, for as long as there is any.
    pub fn keep_unsaved(&mut self) {
        if self.text == self.kept {
            return;
        }
        let (unsaved, left) = (unsaved_file(&self.path), beside(&self.path, "left"));
        let is_left = self.unsaved_before.as_ref() == Some(&unsaved);
        if self.is_unsaved() {
            // What an earlier session left makes room for what this one has; both can be taken up.
            if is_left && fs::rename(&unsaved, &left).is_ok() {
                self.unsaved_before = Some(left);
            }
            // A folder that cannot be written is told of when the sheet is saved.
            let _ = prints::load::put(&unsaved, self.text.as_bytes());
        } else if !is_left {
            // All of it was undone: nobody is to be asked for it when the sheet is opened again.
            let _ = fs::remove_file(&unsaved);
        }
        self.kept.clone_from(&self.text);
    }

    /// Whether something was changed since the sheet was saved.
    #[must_use]
    pub fn is_unsaved(&self) -> bool {
        self.text != self.saved
    }

    /// Looks at the file: takes it if somebody else has changed it and nothing here is unsaved. Tells whether the view
    /// has changed.
    pub fn look_outside(&mut self) -> bool {
        let Ok(there) = fs::read_to_string(&self.path) else { return false };
        if there == self.saved || there == self.text {
            return false;
        }
        if self.is_unsaved() {
            return !std::mem::replace(&mut self.changed_outside, true);
        }
        self.take_from_outside(there).is_ok()
    }

    /// Looks at what listeners have written. Tells whether there is something new.
    pub fn look_at_notes(&mut self) -> bool {
        let found = listeners::of(&self.path);
        let is_new = found != self.notes;
        self.notes = found;
        is_new
    }

    /// Looks at what the last print run has found.
    pub fn look_at_report(&mut self) {
        self.reported = reported(&self.path);
    }

    /// Takes the file as it is now.
    ///
    /// # Errors
    /// It cannot be read, or does not compile.
    pub fn reload(&mut self) -> Result<(), Box<Problem>> {
        let there = prints::load(&self.path).map_err(|fault| Box::new(fault.into_problem()))?;
        self.take_from_outside(there.text)
    }

    /// Takes up what an earlier session did not save.
    ///
    /// # Errors
    /// It is not there, or does not compile.
    pub fn recover(&mut self) -> Result<(), Box<Problem>> {
        let left = self.unsaved_before.clone().unwrap_or_else(|| unsaved_file(&self.path));
        let kept = fs::read_to_string(left).map_err(|error| {
            let message = format!("The unsaved changes cannot be read: {error}.");
            Box::new(Problem::new(Severity::Fail, "cannot-read", "sheet", message, "Go on without them.".to_owned()))
        })?;
        self.change_to(kept, "taking up unsaved changes", false)?;
        self.unsaved_before = None;
        Ok(())
    }

    /// The settings of a processor: its node or print, and its place in the chain. With the song's tempo.
    #[must_use]
    pub fn settings(&self, owner: &str, place: usize) -> Option<(units::Settings, f64)> {
        let node = self.sheet.node(owner).map(|(_, node)| &node.chain);
        let chain = node.or_else(|| self.sheet.print(owner).map(|print| &print.chain))?;
        Some((chain.get(place)?.settings.clone(), self.sheet.song.pulse_bpm()))
    }

    /// Takes what a survey has found.
    pub fn surveyed(&mut self, survey: Survey) {
        self.survey = Some(survey);
        self.settle();
    }

    /// The last survey.
    #[must_use]
    pub fn survey(&self) -> Option<&Survey> {
        self.survey.as_ref()
    }

    /// Takes a text, so that it can be taken back.
    fn change_to(&mut self, text: String, words: &str, goes_on: bool) -> Result<(), Box<Problem>> {
        let before = self.text.clone();
        self.take_text(text)?;
        self.past.keep(&before, &self.text, words, goes_on);
        Ok(())
    }

    fn take_from_outside(&mut self, text: String) -> Result<(), Box<Problem>> {
        self.take_text(text)?;
        self.saved.clone_from(&self.text);
        self.past = Past::default();
        self.changed_outside = false;
        Ok(())
    }

    fn take_text(&mut self, text: String) -> Result<(), Box<Problem>> {
        let sound = sound(&text, self.folder(), Some((&self.sources, self.sheet.song.rate_hz)));
        let sound = sound.map_err(|problems| Box::new(problems.into_iter().next().unwrap_or_else(nothing_to_hear)))?;
        if sound.sheet.prints.is_empty() {
            return Err(Box::new(nothing_to_hear()));
        }
        if sound.sheet.song.rate_hz != self.sheet.song.rate_hz {
            let message = "The sample rate cannot change while the desk is open.".to_owned();
            let remedy = "Change it in the file, and open the desk again.".to_owned();
            return Err(Box::new(Problem::new(Severity::Fail, "rate-fixed", "song", message, remedy)));
        }
        (self.text, self.sheet, self.problems) = (text, sound.sheet, sound.problems);
        (self.plan, self.sources) = (sound.plan, sound.sources);
        self.settle();
        self.hear(self.hearing.clone());
        self.listen(self.ear.clone());
        Ok(())
    }

    /// Sets the gains that the last survey found for the ends of prints.
    fn settle(&mut self) {
        if let Some(survey) = &self.survey {
            settle(&mut self.plan, survey);
        }
    }

    fn renamed(&mut self, from: &str, to: &str) {
        let ear = &mut self.ear;
        let names = ear.alone.iter_mut().chain(&mut ear.silent).chain(ear.without.iter_mut().map(|(name, _)| name));
        names.filter(|name| *name == from).for_each(|name| to.clone_into(name));
    }
}

/// Sets the gains that a survey found for the ends of prints.
pub(crate) fn settle(plan: &mut Plan, survey: &Survey) {
    for port in plan.prints.clone() {
        let found = survey.programmes.iter().find(|programme| programme.name == port.name);
        if let Some((gain_db, ceiling_dbtp)) = found.and_then(|programme| programme.ending) {
            plan.settle(&port, gain_db, ceiling_dbtp);
        }
    }
}

/// Reads and compiles a text. What the sheet mutes is compiled too, so that muting moves nothing.
fn sound(text: &str, folder: &Path, known: Option<(&Arc<Folder>, u32)>) -> Result<Sound, Vec<Problem>> {
    let (sheet, mut problems) = sheet::read(text, &engine::specs());
    let sheet = sheet.filter(|_| problems.iter().all(|problem| problem.severity != Severity::Fail));
    let Some(sheet) = sheet else { return Err(problems) };
    let sources = match known {
        Some((sources, rate_hz)) if rate_hz == sheet.song.rate_hz => sources.clone(),
        _ => Arc::new(Folder::new(folder, sheet.song.rate_hz)),
    };
    let mut open = sheet.clone();
    open.nodes.iter_mut().for_each(|node| node.mute = false);
    let plan = engine::compile(&open, sources.as_ref()).or_else(|_| engine::compile(&sheet, sources.as_ref()))?;
    let mut found = prints::findings::of_plan(&plan);
    sheet::accept(&sheet, &mut found);
    problems.extend(found);
    Ok(Sound { sheet, problems, plan, sources })
}

/// What the newest revision of a sheet reports and its sheet does not accept; nothing if none was printed.
fn reported(path: &Path) -> Vec<Finding> {
    let Ok((past, report)) = prints::history::find(&prints::revisions_of(path, None), None) else { return Vec::new() };
    report.findings.iter().map(|finding| Finding::reported(&past.name, finding)).collect()
}

fn changed_outside(path: &Path) -> Box<Problem> {
    let message = format!("{} was changed elsewhere a moment ago; nothing was saved.", path.display());
    let remedy = "Take up the file as it is, or save once more to put this sheet in its place.".to_owned();
    Box::new(Problem::new(Severity::Fail, "changed-outside", "sheet", message, remedy))
}

fn nothing_to_hear() -> Problem {
    let message = "The sheet has no print, so that there is nothing to hear.".to_owned();
    Problem::new(Severity::Fail, "no-print", "sheet", message, "Give it a [[print]].".to_owned())
}

/// A hidden file beside a sheet.
pub(crate) fn beside(path: &Path, ending: &str) -> PathBuf {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    prints::folder_of(path).join(format!(".{name}.{ending}"))
}

fn unsaved_file(path: &Path) -> PathBuf {
    beside(path, "unsaved")
}

#[cfg(test)]
mod tests;
