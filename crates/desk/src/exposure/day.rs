//! What the ears have had on a day, kept beside the sheet: `NAME.exposure.json` for `NAME.toml`.

use std::path::{Path, PathBuf};
use std::{fs, io};

use serde::{Deserialize, Serialize};

/// The layout of the file.
const LAYOUT: u32 = 1;

/// What the ears have had.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Had {
    /// Seconds that were heard.
    pub secs: f64,
    /// Parts of a day's dose.
    pub dose: f64,
    /// Energy in units of that of 0 dBA for a second.
    pub energy: f64,
}

impl Had {
    fn is_sound(self) -> bool {
        [self.secs, self.dose, self.energy].iter().all(|x| x.is_finite() && *x >= 0.0)
    }
}

/// A day, as it is kept.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Day {
    fairprint_exposure: u32,
    /// Its date: `2026-11-27`.
    day: String,
    /// What the ears had.
    #[serde(flatten)]
    pub had: Had,
}

impl Day {
    /// A day with what was heard on it.
    #[must_use]
    pub fn new(day: String, had: Had) -> Self {
        Self { fairprint_exposure: LAYOUT, day, had }
    }

    /// What was kept of a day; none of another day, or where nothing can be read.
    #[must_use]
    pub fn of(sheet: &Path, day: &str) -> Option<Self> {
        let kept: Self = serde_json::from_slice(&fs::read(path_of(sheet)).ok()?).ok()?;
        (kept.fairprint_exposure == LAYOUT && kept.day == day && kept.had.is_sound()).then_some(kept)
    }

    /// Keeps it beside the sheet, whole or not at all.
    ///
    /// # Errors
    /// The folder cannot be written.
    pub fn keep(&self, sheet: &Path) -> io::Result<()> {
        prints::load::put(&path_of(sheet), serde_json::to_string_pretty(self)?.as_bytes())
    }
}

/// The date where the ears are.
#[must_use]
pub fn today() -> String {
    jiff::ZonedDateTime::now().date().to_string()
}

fn path_of(sheet: &Path) -> PathBuf {
    sheet.with_extension("exposure.json")
}
