//! Codes of what ends a command.

use super::{Code, code};

/// Who says so, where the program itself does.
const PROGRAM: &str = "the program's own rule";
/// Who says so, where the machine does.
const MACHINE: &str = "the machine";

pub(super) const CODES: &[Code] = &[
    code("cannot-build", "A processor refuses its settings or its file.", PROGRAM),
    code("cannot-read", "A file or folder cannot be read.", MACHINE),
    code("cannot-write", "A file or folder cannot be written.", MACHINE),
    code("demo", "The demo song cannot be made where it was asked for.", PROGRAM),
    code("edit", "A change of the sheet does not fit what stands in it.", PROGRAM),
    code("exists", "A file of the reference exists and was not written by this program.", PROGRAM),
    code("file-exists", "A file that was asked for exists; audio is never overwritten.", PROGRAM),
    code("no-audio", "A folder holds no audio, or none that can be read.", PROGRAM),
    code("no-responses", "Measured responses that a starting point needs are not here.", PROGRAM),
    code("not-text", "The sheet is not text in UTF-8.", "RFC 3629"),
    code("sheet-elsewhere", "A sheet is to be written to another folder than that of its stems.", PROGRAM),
    code("silent-reference", "A print is to be as loud as a reference that is silent.", PROGRAM),
    code("start", "A starting point does not fit the sheet.", PROGRAM),
    code("unknown-name", "What is to be listened to is not in the sheet.", PROGRAM),
    code("unknown-print", "The sheet has no print of that name.", PROGRAM),
];
