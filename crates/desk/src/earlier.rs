//! What the song was before: the prints of past revisions, and of versions that were kept, heard beside it as it is now.
//!
//! The newest revision is at hand: its files play along, so that switching to them is in step. Another one comes to hand
//! when it is chosen, and stays there until two others have been. Versions come to hand once they are rendered.

use std::fs;
use std::path::{Path, PathBuf};

use listening::Heard;

use crate::protocol;

/// Revisions at hand, the newest among them, and versions.
const AT_HAND: usize = 3;

/// A print of a past revision, or of a version.
#[derive(Clone, Debug, PartialEq)]
pub struct Earlier {
    /// What it is called among the programmes: `for approval of r002`, `for approval of version “dry voice”`.
    pub programme: String,
    /// The print.
    pub print: String,
    /// Its file, from the sheet's folder.
    pub file: String,
    /// Its loudness, as the report has it.
    pub integrated_lufs: Option<f64>,
    /// The frame of the song as it is now that it starts at.
    pub starts_at: i64,
}

/// A past revision, or a version.
#[derive(Clone)]
struct Revision {
    name: String,
    label: Option<String>,
    /// Whether it is a version of the sheet: its name is that.
    is_version: bool,
    prints: Vec<Earlier>,
    /// Whether it is known where the song starts in it.
    aligned: bool,
}

/// All past revisions of a sheet, and the versions that can be heard.
pub struct Shelf {
    /// The sheet's folder, and that of its revisions.
    root: PathBuf,
    folder: PathBuf,
    /// Names of the revisions' folders as they were seen last.
    seen: Vec<String>,
    /// Newest first.
    revisions: Vec<Revision>,
    /// Names of those at hand beside the newest, the one that was chosen last first.
    chosen: Vec<String>,
    /// Versions, the one that was rendered last first.
    versions: Vec<Revision>,
}

impl Shelf {
    /// What was printed of a sheet.
    #[must_use]
    pub fn of(sheet: &Path) -> Self {
        let folder = prints::revisions_of(sheet, None);
        let root = prints::folder_of(sheet).to_owned();
        let (seen, revisions, chosen, versions) = Default::default();
        let mut shelf = Self { root, folder, seen, revisions, chosen, versions };
        shelf.look();
        shelf
    }

    /// Takes up a version that was rendered: its prints, each with its file and its loudness.
    pub fn take_version(&mut self, version: &str, prints: Vec<(String, PathBuf, Option<f64>)>) {
        let print = |(print, file, integrated_lufs): (String, PathBuf, Option<f64>)| Earlier {
            programme: format!("{print} of version “{version}”"),
            print,
            file: file.to_string_lossy().into_owned(),
            integrated_lufs,
            starts_at: 0,
        };
        let prints = prints.into_iter().map(print).collect();
        let found = Revision { name: version.to_owned(), label: None, is_version: true, prints, aligned: false };
        self.versions.retain(|other| other.name != version);
        self.versions.insert(0, found);
        self.versions.truncate(AT_HAND);
    }

    /// Looks whether revisions or files have come or gone. Tells whether they have.
    pub fn look(&mut self) -> bool {
        let root = &self.root;
        let missing = |print: &&Earlier| !root.join(&print.file).is_file();
        let gone: Vec<String> = self.at_hand().filter(missing).map(|print| print.programme.clone()).collect();
        for revision in self.revisions.iter_mut().chain(&mut self.versions) {
            revision.prints.retain(|print| !gone.contains(&print.programme));
        }
        let entries = fs::read_dir(&self.folder).into_iter().flatten().flatten();
        let names = entries.map(|entry| entry.file_name().to_string_lossy().into_owned());
        let mut names: Vec<String> = names.filter(|name| prints::history::is_revision(name)).collect();
        names.sort();
        if names == self.seen {
            return !gone.is_empty();
        }
        self.seen = names;
        // None yet, or none that can be read: there is nothing to hear.
        let heard = Heard::all(&self.folder).unwrap_or_default();
        let before = std::mem::take(&mut self.revisions);
        let known = |name: &str| before.iter().find(|revision| revision.name == name).cloned();
        let of = |heard: Heard| known(&heard.revision).unwrap_or_else(|| revision(heard, &self.root));
        self.revisions = heard.into_iter().rev().map(of).collect();
        true
    }

    /// The revisions and versions at hand.
    fn near(&self) -> impl Iterator<Item = &Revision> {
        let chosen = |(index, revision): &(usize, &Revision)| *index == 0 || self.chosen.contains(&revision.name);
        let revisions = self.revisions.iter().enumerate().filter(chosen);
        revisions.map(|(_, revision)| revision).chain(&self.versions)
    }

    /// The prints that play along.
    pub fn at_hand(&self) -> impl Iterator<Item = &Earlier> {
        self.near().flat_map(|revision| &revision.prints)
    }

    /// Brings a print to hand. Tells whether it is there.
    pub fn choose(&mut self, programme: &str) -> bool {
        let holds = |revision: &Revision| revision.prints.iter().any(|print| print.programme == programme);
        let Some(index) = self.revisions.iter().position(holds) else { return false };
        let name = self.revisions[index].name.clone();
        if index > 0 && self.chosen.first() != Some(&name) {
            self.chosen.retain(|other| *other != name);
            self.chosen.insert(0, name);
            self.chosen.truncate(AT_HAND - 1);
        }
        true
    }

    /// A print at hand of a revision of which it is not known where the song starts in it.
    #[must_use]
    pub fn unaligned(&self) -> Option<Earlier> {
        self.near().filter(|revision| !revision.aligned).find_map(|revision| revision.prints.first().cloned())
    }

    /// The song lies so many frames later in the revision of a print than it does now.
    pub fn align(&mut self, programme: &str, late_frames: i64) {
        let holds = |revision: &&mut Revision| revision.prints.iter().any(|print| print.programme == programme);
        if let Some(revision) = self.revisions.iter_mut().chain(&mut self.versions).find(holds) {
            revision.aligned = true;
            revision.prints.iter_mut().for_each(|print| print.starts_at -= late_frames);
        }
    }

    /// Everything on it, as the page shows it.
    #[must_use]
    pub fn all(&self) -> Vec<protocol::Earlier> {
        let shown = |(revision, print): (&Revision, &Earlier)| protocol::Earlier {
            name: print.programme.clone(),
            print: print.print.clone(),
            revision: revision.name.clone(),
            label: revision.label.clone(),
            is_version: revision.is_version,
        };
        let all = self.revisions.iter().chain(&self.versions);
        all.flat_map(|revision| revision.prints.iter().map(move |print| (revision, print))).map(shown).collect()
    }
}

/// The prints of a revision whose files are there.
fn revision(heard: Heard, root: &Path) -> Revision {
    let print = |version: listening::Version| {
        version.path.is_file().then(|| Earlier {
            programme: format!("{} of {}", version.name, heard.revision),
            print: version.name,
            file: version.path.strip_prefix(root).unwrap_or(&version.path).to_string_lossy().into_owned(),
            integrated_lufs: version.integrated_lufs,
            starts_at: 0,
        })
    };
    let prints = heard.versions.into_iter().filter_map(print).collect();
    Revision { name: heard.revision.clone(), label: heard.label, is_version: false, prints, aligned: false }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A folder with a sheet and revisions, each with two prints; files hold nothing.
    fn sheet(folder: &Path, revisions: &[&str]) -> PathBuf {
        for name in revisions {
            let at = folder.join("prints").join(name);
            fs::create_dir_all(&at).expect("a folder");
            let file = |print: &str, lufs: f64| {
                fs::write(at.join(format!("{print}.wav")), "").expect("written");
                serde_json::json!({ "name": print, "kind": null, "format": "WAV", "lossy": false, "path": format!("{print}.wav"), "sha256": "",
                    "measures": { "integrated_lufs": lufs, "loudness_range_lu": null, "true_peak_dbtp": null } })
            };
            let report = serde_json::json!({ "engine": "0.1.0", "label": null, "date": "2026-11-27", "title": "Lantern Weather",
                "artist": "The Tin Orchard", "rate_hz": 48000, "frames": 0, "sections": [],
                "prints": [file("for mastering", -20.0), file("for approval", -9.5)] });
            fs::write(at.join("report.json"), report.to_string()).expect("written");
        }
        folder.join("sheet.toml")
    }

    fn at_hand(shelf: &Shelf) -> Vec<&str> {
        shelf.at_hand().map(|print| print.programme.as_str()).collect()
    }

    #[test]
    fn the_newest_is_at_hand_and_two_others_that_were_chosen_last() {
        let folder = tempfile::tempdir().expect("a folder");
        let sheet = sheet(folder.path(), &["r001", "r002", "r003", "r010"]);
        let mut shelf = Shelf::of(&sheet);
        assert_eq!(at_hand(&shelf), ["for mastering of r010", "for approval of r010"]);
        assert_eq!(shelf.all().len(), 8);
        assert!(!shelf.choose("for approval of r099"));
        for revision in ["r001", "r002", "r003"] {
            assert!(shelf.choose(&format!("for approval of {revision}")));
        }
        let near: Vec<&str> = at_hand(&shelf).into_iter().filter(|name| name.starts_with("for approval")).collect();
        assert_eq!(near, ["for approval of r010", "for approval of r003", "for approval of r002"]);
        let found = shelf.at_hand().next().expect("one");
        assert_eq!((found.file.as_str(), found.integrated_lufs), ("prints/r010/for mastering.wav", Some(-20.0)));
    }

    #[test]
    fn what_comes_and_goes_is_seen_and_what_is_known_of_the_others_is_kept() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = sheet(folder.path(), &["r001"]);
        let mut shelf = Shelf::of(&path);
        assert!(!shelf.look());
        let first = shelf.unaligned().expect("nobody has looked yet").programme;
        shelf.align(&first, 100);
        assert!(shelf.unaligned().is_none() && shelf.at_hand().all(|print| print.starts_at == -100));
        sheet(folder.path(), &["r002"]);
        assert!(shelf.look() && shelf.choose("for mastering of r001"));
        assert_eq!(shelf.at_hand().map(|print| print.starts_at).collect::<Vec<_>>(), [0, 0, -100, -100]);
        fs::remove_file(folder.path().join("prints/r002/for approval.wav")).expect("it goes");
        assert!(shelf.look());
        assert_eq!(at_hand(&shelf), ["for mastering of r002", "for mastering of r001", "for approval of r001"]);
        fs::remove_dir_all(folder.path().join("prints")).expect("all go");
        assert!(shelf.look() && at_hand(&shelf).is_empty());
    }
}
