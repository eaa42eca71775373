//! The sheet to start from: stems grouped into buses, one straight path to the mix, two prints.

use std::collections::HashSet;
use std::fmt::Write as _;

use crate::edit::Plain;
use crate::keys;
use crate::reader::inside;

/// What is known of a song before anything is written down.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct StarterSong {
    /// Title.
    pub title: String,
    /// Artist, empty if unknown.
    pub artist: String,
    /// Sample rate; one that a sheet cannot have becomes 48000.
    pub rate_hz: u32,
    /// Tempo, if known.
    pub tempo_bpm: Option<f64>,
    /// Path of a rough mix from the sheet's folder, if there is one.
    pub rough_mix: Option<String>,
}

/// Stems that belong together.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct StarterGroup {
    /// Name of their bus.
    pub bus: String,
    /// Whether they are voices.
    pub voice: bool,
    /// Their names, and their paths from the sheet's folder.
    pub stems: Vec<(String, String)>,
}

/// Loudness of the loud print when there is no rough mix to match: common practice for streaming, no source.
const USUAL_LUFS: f64 = -14.0;

/// Level of the mix: stems that were balanced up to full scale leave the mastering engineer room. Common practice, no source.
const HEADROOM_DB: f64 = -6.0;

/// The text of a sheet for some stems: a bus for every group of two or more, the buses `band` and `voice`, `main` and
/// `mix`, an unlimited print for mastering and a limited one at -1 dBTP for approval, as loud as the rough mix. A clipper
/// takes half of what that one's limiter would: a limiter alone does not get a mix with all its dynamics as loud as a
/// finished record.
#[must_use]
pub fn starter(song: &StarterSong, groups: &[StarterGroup]) -> String {
    let mut names = Names::default();
    let kinds: [bool; 2] =
        [false, true].map(|voice| groups.iter().any(|group| group.voice == voice && !group.stems.is_empty()));
    let groups: Vec<(String, &StarterGroup)> =
        groups.iter().filter(|group| !group.stems.is_empty()).map(|group| (names.bus_of(group), group)).collect();
    let mut text = head(song);
    text.push_str("\n# The stems, by group.\n");
    for (bus, group) in &groups {
        for (name, file) in &group.stems {
            stem(&mut text, &names.stem(name), file, bus);
        }
    }
    text.push_str("\n# Their buses.\n");
    for (bus, group) in groups.iter().filter(|(bus, group)| *bus != sub_bus(group.voice)) {
        node(&mut text, bus, Some(sub_bus(group.voice)));
    }
    text.push_str("\n# Band and voice apart, so that the voice does not move the band.\n");
    for voice in [false, true].into_iter().filter(|voice| kinds[usize::from(*voice)]) {
        node(&mut text, sub_bus(voice), Some("main"));
    }
    text.push_str("\n# The main path. Parallel paths leave by `sends` and join it at the mix.\n");
    node(&mut text, "main", Some("mix"));
    node(&mut text, "mix", None);
    let _ = writeln!(text, "level_db = {HEADROOM_DB}        # room for peaks in the print for mastering");
    prints(&mut text, song.rough_mix.as_deref().filter(|path| inside(path).is_ok()).is_some());
    text
}

fn head(song: &StarterSong) -> String {
    let mut text = format!("fairprint = {}\n\n[song]\n", keys::FORMAT);
    let title = one_line(&song.title, "untitled");
    let _ = writeln!(text, "title = {}", Plain::from(title.as_str()));
    match one_line(&song.artist, "").as_str() {
        "" => text.push_str("# artist = \"\"\n"),
        artist => drop(writeln!(text, "artist = {}", Plain::from(artist))),
    }
    let rate_hz = if keys::RATES_HZ.contains(&song.rate_hz) { song.rate_hz } else { 48_000 };
    let _ = writeln!(text, "rate_hz = {rate_hz}");
    match song.tempo_bpm.filter(|tempo| (20.0..=400.0).contains(tempo)) {
        Some(tempo) => drop(writeln!(text, "tempo_bpm = {}", Plain::from(tempo))),
        None => text.push_str("# tempo_bpm = 120      # for times in bars and beats, and for delays in notes\n"),
    }
    if let Some(path) = song.rough_mix.as_deref().filter(|path| inside(path).is_ok()) {
        let _ = write!(text, "\n[[reference]]\nname = \"rough mix\"\nfile = {}\n", Plain::from(path));
    }
    text
}

fn stem(text: &mut String, name: &str, file: &str, to: &str) {
    if inside(file).is_err() {
        let _ = write!(text, "\n# Left out, for a sheet cannot name this path: {}\n", file.escape_debug());
        return;
    }
    let [name, file, to] = [name, file, to].map(|word| Plain::from(word).to_string());
    let _ = write!(text, "\n[[stem]]\nname = {name}\nfile = {file}\nto = {to}\n");
}

fn node(text: &mut String, name: &str, to: Option<&str>) {
    let _ = write!(text, "\n[[bus]]\nname = {}\n", Plain::from(name));
    if let Some(to) = to {
        let _ = writeln!(text, "to = {}", Plain::from(to));
    }
}

fn prints(text: &mut String, rough_mix: bool) {
    let loudness =
        if rough_mix { "{ match = \"rough mix\" }".to_owned() } else { format!("{{ lufs = {USUAL_LUFS} }}") };
    let _ = write!(
        text,
        r#"
# Clean and unlimited. Floating point cannot clip.
[[print]]
name = "for mastering"
kind = "mastering"
from = "mix"
files = [{{ format = "wav", bits = 32 }}]

# As loud as what it will be heard beside. A clipper takes half of what exceeds the ceiling, the limiter the rest.
[[print]]
name = "for approval"
kind = "approval"
from = "mix"
chain = [{{ limiter = {{ ceiling_dbtp = -1, clip_percent = 50 }} }}]
loudness = {loudness}
survive = ["mp3 192"]
files = [{{ format = "wav", bits = 24 }}, {{ format = "mp3", kbps = 320 }}]
"#
    );
}

const fn sub_bus(voice: bool) -> &'static str {
    if voice { "voice" } else { "band" }
}

/// A name on one line, or another if nothing is left of it.
fn one_line(name: &str, otherwise: &str) -> String {
    let words: Vec<&str> =
        name.split(|c: char| c.is_whitespace() || c.is_control()).filter(|word| !word.is_empty()).collect();
    if words.is_empty() { otherwise.to_owned() } else { words.join(" ") }
}

/// The names given so far.
struct Names {
    buses: HashSet<String>,
    stems: HashSet<String>,
}

impl Default for Names {
    fn default() -> Self {
        Self { buses: ["band", "voice", "main", "mix"].map(str::to_owned).into(), stems: HashSet::new() }
    }
}

impl Names {
    /// The bus of a group: a stem alone, or a group named like its sub-bus, goes straight to it.
    fn bus_of(&mut self, group: &StarterGroup) -> String {
        let sub = sub_bus(group.voice);
        let wanted = one_line(&group.bus, sub);
        if group.stems.len() < 2 || wanted == sub {
            return sub.to_owned();
        }
        let free = first_free(&wanted, |name| self.buses.contains(name));
        self.buses.insert(free.clone());
        free
    }

    /// A stem's name: itself if no bus or stem has it, with `stem` behind it beside a bus, or with a number.
    fn stem(&mut self, name: &str) -> String {
        let name = one_line(name, "stem");
        let wanted = if self.buses.contains(&name) { format!("{name} stem") } else { name };
        let free = first_free(&wanted, |name| self.buses.contains(name) || self.stems.contains(name));
        self.stems.insert(free.clone());
        free
    }
}

fn first_free(wanted: &str, taken: impl Fn(&str) -> bool) -> String {
    let numbered = (2..).map(|number| format!("{wanted} {number}"));
    std::iter::once(wanted.to_owned()).chain(numbered).find(|name| !taken(name)).unwrap_or_default()
}

#[cfg(test)]
mod tests;
