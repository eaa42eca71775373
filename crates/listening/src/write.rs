//! Writes a page: a folder or one file, whole or not at all.

use std::fs::{self, File};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use engine::Fault;
use prints::part::Part;
use units::Problem;

use crate::audio::{self, Audio, Cut};
use crate::html::{self, Halves};
use crate::notes::{self, Notes};
use crate::revision::{Heard, Version};
use crate::song::Song;
use crate::versions::{self, Placed};

/// What page to write.
pub struct Order<'a> {
    /// The sheet.
    pub sheet: &'a Path,
    /// The revision; the latest when none.
    pub revision: Option<&'a str>,
    /// Folder of revisions; `prints` beside the sheet when none.
    pub prints: Option<&'a Path>,
    /// Names of prints and references; when empty, all prints, and the references that are the same song.
    pub only: &'a [String],
    /// How the audio is stored.
    pub audio: Audio,
    /// One file with the audio inside, instead of a folder.
    pub single: bool,
    /// Where to write; below `listening` beside the sheet when none.
    pub to: Option<&'a Path>,
    /// Told what is going on and which part of it is done.
    pub progress: &'a dyn Fn(&str, f64),
}

/// A page that was written.
#[derive(Debug)]
pub struct Written {
    /// What to open.
    pub page: PathBuf,
    /// Size of all that was written.
    pub bytes: u64,
    /// The revision.
    pub revision: String,
    /// Names of the versions, each with its loudness in LUFS and the frames, at the page's rate, by which its song lay
    /// behind the first's.
    pub versions: Vec<(String, f64, i64)>,
    /// How many notes it shows.
    pub notes: usize,
    /// What was left out, and why.
    pub findings: Vec<Problem>,
}

/// Writes a listening page.
///
/// # Errors
/// The revision, its files or the notes cannot be used, or nothing can be written; what was there before stays.
pub fn write(order: &Order<'_>) -> Result<Written, Fault> {
    let folder = prints::folder_of(order.sheet);
    let prints = prints::revisions_of(order.sheet, order.prints);
    let heard = match order.revision {
        Some(revision) => Heard::read(&prints, revision)?,
        None => Heard::latest(&prints)?,
    };
    let chosen = choose(&heard, &prints, folder, order.only)?;
    (order.progress)("Bringing the versions into line", 0.0);
    let rate_hz = order.audio.rate_for(heard.rate_hz);
    let (placed, findings) = versions::place(&heard, &chosen, rate_hz)?;
    if placed.is_empty() {
        let remedy = "Print the sheet, or name other versions with --only.".to_owned();
        return Err(Fault::input("nothing-to-hear", &heard.revision, "There is nothing to hear.".to_owned(), remedy));
    }
    let mut notes = notes::load(order.sheet, &heard.title)?;
    if !notes.notes.is_empty() && notes::learn_starts(&mut notes, &prints, &heard.revision)? {
        notes::keep_starts(order.sheet, &notes)?;
    }
    let page = Page { order, heard: &heard, placed: &placed, cut: cut(&heard, rate_hz), notes: &notes };
    let (path, bytes) = if order.single { page.write_single(folder)? } else { page.write_folder(folder)? };
    let versions = placed.iter().map(|p| (p.version.name.clone(), p.lufs, p.delay_frames)).collect();
    Ok(Written { page: path, bytes, revision: heard.revision, versions, notes: notes.notes.len(), findings })
}

fn cut(heard: &Heard, rate_hz: u32) -> Cut {
    Cut { rate_hz, frames: (heard.secs() * f64::from(rate_hz)).round() as u64 }
}

/// The prints of a revision, then the references of the sheet that it was printed from.
fn choose(heard: &Heard, prints: &Path, folder: &Path, only: &[String]) -> Result<Vec<Version>, Fault> {
    let mut all = heard.versions.clone();
    let loaded = prints::load(&prints.join(&heard.revision).join("sheet.toml"))?;
    for reference in loaded.sheet.iter().flat_map(|sheet| &sheet.references) {
        let (name, path) = (reference.name.as_str().to_owned(), folder.join(reference.file.as_str()));
        all.push(Version { name, kind: None, path, integrated_lufs: None, sha256: None });
    }
    if only.is_empty() {
        let sheet_prints = |version: &Version| {
            let named = |sheet: &sheet::Sheet| sheet.print(&version.name).is_some();
            version.sha256.is_none() || loaded.sheet.as_ref().is_none_or(named)
        };
        all.retain(sheet_prints);
        return Ok(all);
    }
    let named = |name: &String| {
        all.iter().find(|version| version.name == *name).cloned().ok_or_else(|| {
            let names: Vec<&str> = all.iter().map(|version| version.name.as_str()).collect();
            let message = format!("Revision {} has no version called “{name}”.", heard.revision);
            Fault::input("unknown-version", name, message, format!("Take one of: {}.", names.join(", ")))
        })
    };
    only.iter().map(named).collect()
}

struct Page<'a> {
    order: &'a Order<'a>,
    heard: &'a Heard,
    placed: &'a [Placed],
    cut: Cut,
    notes: &'a Notes,
}

impl Page<'_> {
    fn halves(&self) -> Result<Halves, Fault> {
        let song = Song::of(self.heard, self.placed, self.notes, self.order.audio, self.cut, self.order.single);
        html::with_song(pages::listening(), &song).ok_or_else(|| {
            let message = "This Fairprint was built without its pages.".to_owned();
            let remedy = "Install Node 20.19 or later with npm and build Fairprint again.".to_owned();
            Fault::input("no-page", "listen", message, remedy)
        })
    }

    /// Encodes all pieces of all versions.
    fn encode(&self, mut take: impl FnMut(usize, u64, &[u8]) -> io::Result<()>, to: &Path) -> Result<(), Fault> {
        let all = self.cut.pieces() * self.placed.len() as u64;
        for (index, placed) in self.placed.iter().enumerate() {
            let (path, delay) = (&placed.version.path, placed.delay_frames);
            audio::encode(path, delay, self.cut, self.order.audio, |piece, bytes| {
                let done = index as u64 * self.cut.pieces() + piece;
                (self.order.progress)("Encoding", 0.3 + 0.7 * done as f64 / all as f64);
                take(index, piece, bytes).map_err(|error| prints::disk_fault(to, &error))
            })?;
        }
        Ok(())
    }

    fn write_single(&self, folder: &Path) -> Result<(PathBuf, u64), Fault> {
        let Halves { head, tail } = self.halves()?;
        let to = match self.order.to {
            Some(to) => to.to_owned(),
            None => folder.join("listening").join(format!(
                "{} {}.html",
                prints::names::folder_name(&self.heard.title),
                self.heard.revision
            )),
        };
        let faulty = |error: io::Error| prints::disk_fault(&to, &error);
        let work = Part::beside(&to).map_err(faulty)?;
        let made = work.folder().join("page.html");
        let mut out = io::BufWriter::new(File::create(&made).map_err(faulty)?);
        out.write_all(head.as_bytes()).map_err(faulty)?;
        self.encode(|version, piece, bytes| out.write_all(html::element(version, piece, bytes).as_bytes()), &to)?;
        out.write_all(tail.as_bytes()).map_err(faulty)?;
        out.into_inner().map_err(|error| faulty(error.into_error()))?.sync_all().map_err(faulty)?;
        fs::rename(made, &to).map_err(faulty)?;
        let bytes = fs::metadata(&to).map_err(faulty)?.len();
        Ok((to, bytes))
    }

    fn write_folder(&self, folder: &Path) -> Result<(PathBuf, u64), Fault> {
        let Halves { head, tail } = self.halves()?;
        let to = self.order.to.map_or_else(|| folder.join("listening").join(&self.heard.revision), Path::to_owned);
        let faulty = |error: io::Error| prints::disk_fault(&to, &error);
        if to.exists() && !to.join("audio").is_dir() {
            let message = format!("{} is there and is no listening page.", to.display());
            let remedy = "Name a new folder with --to.".to_owned();
            return Err(Fault::input("not-a-page", &to.display().to_string(), message, remedy));
        }
        let work = Part::beside(&to).map_err(faulty)?;
        let made = work.folder().join("page");
        let audio = made.join("audio");
        fs::create_dir_all(&audio).map_err(faulty)?;
        let mut bytes = 0;
        let mut put = |path: &Path, text: String| {
            bytes += text.len() as u64;
            fs::write(path, text)
        };
        self.encode(|v, p, b| put(&audio.join(format!("{v}-{p}.js")), html::script(v, p, b)), &to)?;
        put(&made.join("index.html"), head + &tail).map_err(faulty)?;
        replace(&made, &to, &work.folder().join("before")).map_err(faulty)?;
        Ok((to.join("index.html"), bytes))
    }
}

/// Gives a finished folder its name. One that had it is moved aside first, and back if the new one cannot take its place.
fn replace(made: &Path, to: &Path, aside: &Path) -> io::Result<()> {
    let had = to.exists();
    if had {
        fs::rename(to, aside)?;
    }
    fs::rename(made, to).inspect_err(|_| {
        if had {
            // The fault that is told is the first.
            let _ = fs::rename(aside, to);
        }
    })
}
