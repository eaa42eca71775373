//! What work behind the scenes needs of a session, and what it brings back: versions that are rendered, advice.

use std::path::PathBuf;
use std::sync::Arc;

use engine::{Folder, Plan};
use sheet::Sheet;
use units::{Problem, Severity};

use super::{Session, unsaved_file};
use crate::protocol::Finding;
use crate::renderer::Rendered;
use crate::versions;

/// A version of the sheet, ready to be rendered.
pub(crate) struct Version {
    pub sheet: Sheet,
    pub plan: Plan,
    pub sources: Arc<Folder>,
    pub folder: PathBuf,
}

impl Session {
    /// A version by its name.
    ///
    /// # Errors
    /// It is not there, does not compile any more, or has another sample rate than the sheet.
    pub(crate) fn version(&self, name: &str) -> Result<Version, Box<Problem>> {
        let text = versions::text_of(&self.path, name)?;
        let (sheet, problems) = sheet::read(&text, &engine::specs());
        let first =
            |problems: Vec<Problem>| Box::new(problems.into_iter().next().unwrap_or_else(super::nothing_to_hear));
        let sheet = sheet.ok_or_else(|| first(problems))?;
        if sheet.song.rate_hz != self.sheet.song.rate_hz {
            let message = format!("The version “{name}” has another sample rate than the sheet as it is now.");
            let remedy = "Open it as a sheet of its own.".to_owned();
            return Err(Box::new(Problem::new(Severity::Fail, "version", &format!("version {name}"), message, remedy)));
        }
        let plan = engine::compile(&sheet, self.sources.as_ref()).map_err(first)?;
        Ok(Version { sheet, plan, sources: self.sources.clone(), folder: self.folder().to_owned() })
    }

    /// A version was rendered: it plays along from now on.
    pub(crate) fn take_rendered(&mut self, version: &str, prints: Vec<Rendered>) {
        self.shelf.take_version(version, prints);
        self.hear(self.hearing.clone());
    }

    /// What advice is to be given on: a file with the sheet as it is now, and its text.
    pub(crate) fn for_advice(&mut self) -> (PathBuf, String) {
        self.keep_unsaved();
        let file = if self.is_unsaved() { unsaved_file(&self.path) } else { self.path.clone() };
        (file, self.text.clone())
    }

    /// What advice has found in a text.
    pub(crate) fn advised(&mut self, text: String, findings: Vec<Finding>) {
        self.advised = Some((text, findings));
    }
}
