//! Versions of the sheet by name: keeping one, saying how it differs, going back to it.

use sheet::difference;
use units::Problem;

use super::Session;
use crate::protocol::Differs;
use crate::versions;

impl Session {
    /// Keeps the sheet as it is now under a name.
    ///
    /// # Errors
    /// The name is taken or no name, or the folder cannot be written.
    pub fn keep_version(&mut self, name: &str) -> Result<(), Box<Problem>> {
        let kept = versions::keep(&self.path, name, &self.text);
        self.versions = versions::of(&self.path);
        kept
    }

    /// What has changed since a version was kept, in words.
    ///
    /// # Errors
    /// It is not there, or does not read as a sheet.
    pub fn since_version(&self, name: &str) -> Result<Differs, Box<Problem>> {
        let text = versions::text_of(&self.path, name)?;
        let (sheet, problems) = sheet::read(&text, &engine::specs());
        let sheet =
            sheet.ok_or_else(|| Box::new(problems.into_iter().next().unwrap_or_else(super::nothing_to_hear)))?;
        let changes = difference(&sheet, &self.sheet).into_iter().map(|change| (change.at, change.what)).collect();
        Ok(Differs { name: name.to_owned(), changes })
    }

    /// Goes back to a version; undoing takes that back.
    ///
    /// # Errors
    /// It is not there, or does not compile any more.
    pub fn take_version(&mut self, name: &str) -> Result<(), Box<Problem>> {
        self.change_to(versions::text_of(&self.path, name)?, &format!("going back to “{name}”"), false)
    }
}
