//! The album: a text that names the sheets of its songs in order.

use units::Problem;

use super::fields::Fields;
use super::mend;
use super::report::Report;
use crate::keys::{self, Form, Group, Key, Takes};
use crate::model::{Album, Name};
use crate::tree::{Tree, Written};

const FORMAT_LINE: Key = Key { name: "fairprint_album", sentence: "Format of this album.", ..keys::FORMAT_LINE };
const TITLE: Key = Key { sentence: "Title of the record.", ..keys::TITLE };
const PRINT: Key = Key::text("print", Form::Name, "The print of each song that stands on the record.").required();
const SHEET: Key = Key::text("sheet", Form::Any, "The song's sheet, from the folder of the album.").required();
const SONG: Group = Group::new("song", "A song, in the order of the record.", &[SHEET]);
const ALBUM: Group = Group::new(
    "album",
    "Songs that make a record.",
    &[FORMAT_LINE, TITLE, keys::ARTIST, PRINT, Key::new("song", Takes::Tables(&SONG), SONG.sentence).required()],
);

/// Reads an album. Problems come in the order of the text; with any of them the album is withheld.
#[must_use]
pub fn read_album(text: &str) -> (Option<Album>, Vec<Problem>) {
    let report = Report::new(text);
    let (table, faults) = mend::parse(text);
    faults.iter().for_each(|fault| report.syntax(fault));
    let Some(table) = table else { return (None, report.into_problems()) };
    let first_line = 0..text.find('\n').unwrap_or(text.len());
    let root = Written { span: first_line, value: Tree::Table(table) };
    let album = Fields::open(&report, &ALBUM, &root, "album".to_owned()).and_then(|fields| read(&fields));
    let problems = report.into_problems();
    (album.filter(|_| problems.is_empty()), problems)
}

fn read(fields: &Fields<'_>) -> Option<Album> {
    fields.whole(&FORMAT_LINE);
    let songs: Vec<Name> = fields.entries("song", &SONG).into_iter().filter_map(|song| song.text(&SHEET)).collect();
    let (title, artist) = (fields.string(&TITLE), fields.string(&keys::ARTIST));
    Some(Album { title: title?, artist: artist.unwrap_or_default(), print: fields.string(&PRINT)?, songs })
}

#[cfg(test)]
mod tests {
    use super::*;

    const RECORD: &str = "fairprint_album = 1\ntitle = \"Slack Water\"\nartist = \"The Tin Orchard\"\n\
                          print = \"for approval\"\n[[song]]\nsheet = \"b/sheet.toml\"\n[[song]]\nsheet = \"a/sheet.toml\"\n";

    #[test]
    fn songs_stand_in_the_order_of_the_text() {
        let album = read_album(RECORD).0.expect("it is whole");
        let songs: Vec<&str> = album.songs.iter().map(Name::as_str).collect();
        assert_eq!((album.title.as_str(), album.print.as_str()), ("Slack Water", "for approval"));
        assert_eq!(songs, ["b/sheet.toml", "a/sheet.toml"]);
    }

    #[test]
    fn what_is_wrong_is_pointed_at() {
        for (from, to, code, line) in [
            ("print =", "prnt =", "unknown-key", 4),
            ("sheet = \"a", "sheets = \"a", "unknown-key", 8),
            ("album = 1", "album = 2", "out-of-range", 1),
            ("\"The Tin", "The Tin", "syntax", 3),
        ] {
            let (album, problems) = read_album(&RECORD.replace(from, to));
            assert!(album.is_none(), "{to}");
            let found = problems.iter().find(|problem| problem.code == code);
            assert_eq!(
                found.and_then(|problem| problem.place).map(|place| place.line),
                Some(line),
                "{to}: {problems:?}"
            );
        }
    }
}
