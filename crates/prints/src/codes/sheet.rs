//! Codes of the sheet: its text, its values, its routing.

use super::{Code, PRACTICE, code};

/// Who says so, where the sheet itself does.
const SHEET: &str = "the sheet's definition";

pub(super) const CODES: &[Code] = &[
    code("bad-date", "The text is no day of the calendar as YYYY-MM-DD.", "ISO 8601"),
    code(
        "bad-isrc",
        "The text is not twelve characters: two letters, three letters or digits, seven digits.",
        "ISO 3901",
    ),
    code("bad-name", "A name is empty, has blanks around it, or holds signs that a line of text cannot.", SHEET),
    code(
        "bad-pattern",
        "A file name's pattern has a placeholder that is not known, or a bracket that is not closed.",
        SHEET,
    ),
    code("bad-time", "The text is no time: m:ss.fff, seconds, bar|beat or a section's name.", SHEET),
    code("bypassed", "A processor is taken out (`off = true`).", PRACTICE),
    code("cannot-build", "A processor refuses its settings or its file, or a source cannot be used.", SHEET),
    code("cannot-ride", "The parameter cannot move while the processor runs.", SHEET),
    code("duplicate-name", "Two entries have one name.", SHEET),
    code("empty", "A list or a text that must hold something is empty.", SHEET),
    code("hold-drive", "`hold_drive` stands at a ride of something that has no drive.", SHEET),
    code("key-loop", "A processor's key is made from what the processor itself gives.", SHEET),
    code("loop", "A bus is fed by itself, by way of others.", SHEET),
    code("misfit", "Two values exclude each other, or one means nothing beside the other.", SHEET),
    code("missing-key", "A key that must be there is not.", SHEET),
    code("muted", "A stem or bus is muted.", PRACTICE),
    code("named-twice", "One list names the same thing twice, or two groups hold the same stem.", SHEET),
    code("no-change", "An alternate changes nothing.", SHEET),
    code("no-files", "A print has no `files`.", SHEET),
    code("no-input", "Nothing is routed or sent to a bus.", PRACTICE),
    code("no-prints", "The sheet has no `[[print]]`.", SHEET),
    code("no-stems", "The sheet has no `[[stem]]`.", SHEET),
    code("no-stems-in-it", "What is named is fed by sends alone, so that no stem stands behind it.", SHEET),
    code("no-tempo", "A time in bars, or a note value, is used without a tempo.", SHEET),
    code("not-a-bus", "A name that must be a bus is something else.", SHEET),
    code("nowhere", "A stem or bus goes nowhere, and no print draws from it.", PRACTICE),
    code("one-of", "More than one of some keys is written, or none, where exactly one must be.", SHEET),
    code("out-of-range", "A number lies outside the range of its key or parameter.", SHEET),
    code(
        "outside-folder",
        "A file is named by an absolute path, or by one that leaves the folder of the sheet.",
        SHEET,
    ),
    code(
        "parted-phase",
        "The phase of the side against the middle, from the equalisers' responses where it is largest: a note from 30°, a \
         warning from 60°. Level in the far speaker: tangent of half the angle.",
        PRACTICE,
    ),
    code("ride-order", "Points of a ride do not follow each other in time.", SHEET),
    code("ride-twice", "One thing has two rides.", SHEET),
    code("same-file", "Two stems read one file.", PRACTICE),
    code("silent-key", "No stem that sounds reaches a processor's key.", PRACTICE),
    code("silent-print", "No stem that sounds reaches the bus that a print draws from.", PRACTICE),
    code("syntax", "The text is not TOML.", "TOML 1.0"),
    code("too-long", "A stem would end more than a day after the start of the song.", PRACTICE),
    code("too-many", "There are more entries, or more problems, than are read.", SHEET),
    code("twice", "A stem or bus is routed and sent to one bus, or sent to it twice.", PRACTICE),
    code("unheard", "A stem reaches no print, or only by way of a muted bus.", PRACTICE),
    code("unknown-key", "A key is not one that the sheet knows there; the nearest in spelling is told.", SHEET),
    code("unknown-name", "A name is not that of anything in the sheet.", SHEET),
    code("unknown-processor", "A chain names a processor that there is not.", SHEET),
    code("unknown-start", "There is no starting point of that name.", SHEET),
    code("unknown-target", "A ride names nothing that its stem or bus has.", SHEET),
    code("unknown-word", "A word is not one of those that the key takes.", SHEET),
    code("wrong-type", "A value is of another kind than the key takes: text for a number, and the like.", SHEET),
];
