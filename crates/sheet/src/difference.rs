//! What changed between two sheets, in words: for the history of a song.
//!
//! Things are known by their names; a thing with another name is another thing. Processors of a chain are paired in order
//! with those of the same kind.

use std::fmt::Debug;

use serde::Serialize;
use units::{Param, Settings, Value, format_time, in_words, typeset};

use crate::keys;
use crate::model::{Link, Node, NodeKind, Print, Ride, Sheet};
use crate::sentences::send_sentence;

/// One thing that changed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Change {
    /// Where: `crush`, `print for approval`, `song`.
    pub at: String,
    /// What, in words: `level −11 dB → −9 dB`.
    pub what: String,
}

/// What changed from one sheet to another, in the order of the later one.
#[must_use]
pub fn difference(before: &Sheet, after: &Sheet) -> Vec<Change> {
    let mut found = Found(Vec::new());
    found.song(before, after);
    found.lists(before, after);
    for (was, node) in paired(&before.nodes, &after.nodes, |node| &node.name) {
        match (was, node) {
            (Some(was), Some(node)) => found.node(was, node),
            (None, Some(node)) => found.add(&node.name, if node.is_stem() { "a new stem" } else { "a new bus" }),
            (Some(was), None) => found.add(&was.name, "taken away"),
            (None, None) => {}
        }
    }
    for (was, print) in paired(&before.prints, &after.prints, |print| &print.name) {
        match (was, print) {
            (Some(was), Some(print)) => found.print(was, print),
            (None, Some(print)) => found.add(&at_print(&print.name), "a new print"),
            (Some(was), None) => found.add(&at_print(&was.name), "taken away"),
            (None, None) => {}
        }
    }
    found.0
}

/// Things of two lists by name: those of the second in their order, then those that only the first has.
fn paired<'a, T>(before: &'a [T], after: &'a [T], name: impl Fn(&T) -> &str) -> Vec<(Option<&'a T>, Option<&'a T>)> {
    let in_list = |list: &'a [T], thing: &T| list.iter().find(|other| name(other) == name(thing));
    let mut pairs: Vec<_> = after.iter().map(|thing| (in_list(before, thing), Some(thing))).collect();
    pairs.extend(before.iter().filter(|thing| in_list(after, thing).is_none()).map(|thing| (Some(thing), None)));
    pairs
}

fn at_print(name: &str) -> String {
    format!("print {name}")
}

struct Found(Vec<Change>);

impl Found {
    fn add(&mut self, at: &str, what: impl Into<String>) {
        self.0.push(Change { at: at.to_owned(), what: what.into() });
    }

    /// A value that moved, with its name.
    fn moved(&mut self, at: &str, name: &str, [before, after]: [String; 2]) {
        if before != after {
            self.add(at, format!("{name} {} → {}", typeset(&before), typeset(&after)));
        }
    }

    fn number(&mut self, at: &str, key: &keys::Key, [before, after]: [f64; 2]) {
        if let keys::Takes::Param(kind) = key.takes {
            let param = Param { name: key.name, kind, sentence: key.sentence };
            self.moved(at, &plain_name(key.name), [before, after].map(|x| in_words(&param, &Value::Number(x))));
        }
    }

    fn song(&mut self, before: &Sheet, after: &Sheet) {
        let (was, is) = (&before.song, &after.song);
        let text = |text: &Option<String>| text.clone().unwrap_or_else(|| "none".to_owned());
        let tempo = |bpm: Option<f64>| bpm.map_or_else(|| "none".to_owned(), |bpm| format!("{bpm} bpm"));
        self.moved("song", "title", [was.title.clone(), is.title.clone()]);
        self.moved("song", "artist", [was.artist.clone(), is.artist.clone()]);
        self.moved("song", "sample rate", [was.rate_hz, is.rate_hz].map(|hz| format!("{hz} Hz")));
        self.moved("song", "tempo", [was.tempo_bpm, is.tempo_bpm].map(tempo));
        self.moved("song", "ISRC", [text(&was.isrc), text(&is.isrc)]);
        self.moved("song", "key", [text(&was.key), text(&is.key)]);
        let console = |sheet: &Sheet| {
            sheet.console.as_ref().map_or_else(|| "none".to_owned(), |link| link.settings.whole_sentence())
        };
        self.moved("song", "console", [console(before), console(after)]);
    }

    fn lists(&mut self, before: &Sheet, after: &Sheet) {
        let section = |section: &crate::Section| (section.name.as_str().to_owned(), format_time(section.from_secs));
        let reference =
            |reference: &crate::Reference| (reference.name.as_str().to_owned(), reference.file.as_str().to_owned());
        self.named("section", [&before.sections, &after.sections], section);
        self.named("reference", [&before.references, &after.references], reference);
        self.whole("alternates", &before.alternates, &after.alternates);
        self.whole("stem prints", &before.stem_prints, &after.stem_prints);
        self.whole("accepted findings", &before.accepted, &after.accepted);
    }

    fn named<T>(&mut self, kind: &str, [before, after]: [&[T]; 2], facts: impl Fn(&T) -> (String, String)) {
        let list = |list: &[T]| list.iter().map(&facts).collect::<Vec<_>>();
        let (before, after) = (list(before), list(after));
        for (was, is) in paired(&before, &after, |(name, _)| name) {
            match (was, is) {
                (Some((_, was)), Some((name, is))) => {
                    self.moved(&format!("{kind} {name}"), "moved from", [was.clone(), is.clone()])
                }
                (None, Some((name, _))) => self.add(&format!("{kind} {name}"), "new"),
                (Some((name, _)), None) => self.add(&format!("{kind} {name}"), "taken away"),
                (None, None) => {}
            }
        }
    }

    /// A list of which only is said that it changed. Places in the text do not count.
    fn whole<T: Debug>(&mut self, kind: &str, before: &[T], after: &[T]) {
        if without_places(before) != without_places(after) {
            self.add(kind, "changed");
        }
    }

    fn node(&mut self, was: &Node, is: &Node) {
        let at = is.name.as_str();
        if let (NodeKind::Stem { file: a, from_secs: x, .. }, NodeKind::Stem { file: b, from_secs: y, .. }) =
            (&was.kind, &is.kind)
        {
            self.moved(at, "file", [a, b].map(|file| file.as_str().to_owned()));
            self.moved(at, "starts at", [*x, *y].map(format_time));
        }
        let to = |node: &Node| node.to.as_ref().map_or_else(|| "nowhere".to_owned(), |to| to.as_str().to_owned());
        self.moved(at, "goes to", [to(was), to(is)]);
        self.number(at, &keys::LEVEL, [was.level_db, is.level_db]);
        self.number(at, &keys::PAN, [was.pan_percent, is.pan_percent]);
        self.number(at, &keys::TRIM, [was.trim_db, is.trim_db]);
        self.number(at, &keys::DELAY, [was.delay_ms, is.delay_ms]);
        self.moved(
            at,
            "polarity",
            [was.inverted, is.inverted].map(|inverted| if inverted { "inverted" } else { "normal" }.to_owned()),
        );
        if was.mute != is.mute {
            self.add(at, if is.mute { "muted" } else { "no longer muted" });
        }
        for (before, after) in paired(&was.sends, &is.sends, |send| &send.to) {
            match (before, after) {
                (Some(before), Some(after)) => {
                    let words = [before, after].map(send_sentence);
                    self.moved(at, &format!("send to {}", after.to), words);
                }
                (None, Some(after)) => self.add(at, format!("a new send to {}", after.to)),
                (Some(before), None) => self.add(at, format!("no send to {} any more", before.to)),
                (None, None) => {}
            }
        }
        self.chain(at, &was.chain, &is.chain);
        let rides = |rides: &[Ride]| {
            rides.iter().map(|ride| (ride.what, ride.points.clone(), ride.hold_drive)).collect::<Vec<_>>()
        };
        if rides(&was.rides) != rides(&is.rides) {
            self.add(at, "rides changed");
        }
    }

    fn print(&mut self, was: &Print, is: &Print) {
        let at = at_print(&is.name);
        self.moved(&at, "draws from", [&was.from, &is.from].map(|from| from.as_str().to_owned()));
        let loudness = |print: &Print| match &print.loudness {
            None => "as it comes".to_owned(),
            Some(crate::Loudness::Lufs(lufs)) => format!("{lufs} LUFS"),
            Some(crate::Loudness::Match(name)) => format!("that of {name}"),
        };
        self.moved(&at, "loudness", [loudness(was), loudness(is)]);
        self.chain(&at, &was.chain, &is.chain);
        self.whole(&format!("{at}, files"), &was.files, &is.files);
        self.whole(&format!("{at}, codecs to survive"), &was.survive, &is.survive);
    }

    fn chain(&mut self, at: &str, was: &[Link], is: &[Link]) {
        let mut left: Vec<&Link> = was.iter().collect();
        let mut order = Vec::new();
        for link in is {
            let title = link.settings.spec().title;
            match left.iter().position(|other| other.settings.spec() == link.settings.spec()) {
                Some(index) => {
                    let before = left.remove(index);
                    order.push(was.iter().position(|other| std::ptr::eq(other, before)));
                    self.link(at, before, link);
                }
                None => self.add(at, format!("a new {title}: {}", typeset(&link.settings.whole_sentence()))),
            }
        }
        for link in left {
            self.add(at, format!("no {} any more", link.settings.spec().title));
        }
        if !order.is_sorted() {
            self.add(at, "processors in another order");
        }
    }

    fn link(&mut self, at: &str, was: &Link, is: &Link) {
        let spec = is.settings.spec();
        if was.off != is.off {
            self.add(at, format!("{} {}", spec.title, if is.off { "taken out" } else { "put back in" }));
        }
        let key = |link: &Link| link.key.as_ref().map_or_else(|| "itself".to_owned(), |key| key.as_str().to_owned());
        self.moved(at, &format!("{} listens to", spec.title), [key(was), key(is)]);
        self.values(at, spec.title, spec.params, [was.settings.values(), is.settings.values()]);
        let Some(rows) = spec.rows else { return };
        let [before, after] = [&was.settings, &is.settings].map(Settings::row_count);
        for row in 0..before.min(after) {
            let title = format!("{}, {} {}", spec.title, rows.singular, row + 1);
            self.values(at, &title, rows.params, [was.settings.row_values(row), is.settings.row_values(row)]);
        }
        self.moved(
            at,
            &format!("number of {} of the {}", rows.name, spec.title),
            [before, after].map(|n| n.to_string()),
        );
    }

    fn values(&mut self, at: &str, title: &str, params: &[Param], [before, after]: [&[Value]; 2]) {
        for (param, (before, after)) in params.iter().zip(before.iter().zip(after)) {
            let name = format!("{title}: {}", plain_name(param.name));
            self.moved(at, &name, [before, after].map(|value| in_words(param, value)));
        }
    }
}

/// Data as text, without the places where it was written.
fn without_places<T: Debug>(things: &[T]) -> String {
    let text = format!("{things:?}");
    let mut kept = String::with_capacity(text.len());
    let mut rest = text.as_str();
    while let Some(at) = rest.find("place: Place {") {
        kept.push_str(&rest[..at]);
        rest = rest[at..].split_once('}').map_or("", |(_, behind)| behind);
    }
    kept + rest
}

/// A parameter's name without its unit: `look_ahead_ms` is the look ahead.
#[must_use]
pub fn plain_name(name: &str) -> String {
    const UNITS: &[&str] = &["_db_per_octave", "_dbtp", "_dbfs", "_db", "_hz", "_ms", "_s", "_m", "_percent", "_bpm"];
    let plain = UNITS.iter().find_map(|unit| name.strip_suffix(unit)).unwrap_or(name);
    match name {
        "hz" => "frequency".to_owned(),
        "ips" => "speed".to_owned(),
        _ => plain.replace('_', " "),
    }
}

#[cfg(test)]
mod tests;
