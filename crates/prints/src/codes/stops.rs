//! Codes of what ends a command.

use super::{Code, code};

/// Who says so, where the program itself does.
const PROGRAM: &str = "the program's own rule";
/// Who says so, where the machine does.
const MACHINE: &str = "the machine";

pub(super) const CODES: &[Code] = &[
    code("blind-test", "A blind test cannot begin, or its answer cannot count, as things stand at the desk.", PROGRAM),
    code("cannot-build", "A processor refuses its settings or its file.", PROGRAM),
    code("cannot-read", "A file or folder cannot be read.", MACHINE),
    code("cannot-write", "A file or folder cannot be written.", MACHINE),
    code("changed-outside", "The sheet was changed elsewhere just before it was to be saved.", PROGRAM),
    code("checksum", "A file of a received folder is not what its list of checksums says.", "FIPS 180-4"),
    code("damaged-revision", "A revision's report or sheet cannot be read.", PROGRAM),
    code("demo", "The demo song cannot be made where it was asked for.", PROGRAM),
    code("edit", "A change of the sheet does not fit what stands in it.", PROGRAM),
    code("exists", "A file of the reference exists and was not written by this program.", PROGRAM),
    code("fallen-silent", "What plays at the desk has come to a fault of the program's own.", PROGRAM),
    code("faulty-blind-tests", "The file of blind tests beside the sheet is no such file.", PROGRAM),
    code("file-exists", "A file or folder that was asked for exists; nothing is overwritten.", PROGRAM),
    code("message", "The desk was sent a message that it does not understand.", PROGRAM),
    code("no-address", "The desk cannot have the address that it was asked to have.", MACHINE),
    code("no-audio", "A folder holds no audio, or none that can be read.", PROGRAM),
    code("no-common-print", "Two revisions that are to be compared have no print in common.", PROGRAM),
    code("no-page", "The program was built without its pages.", PROGRAM),
    code("no-print", "A sheet without a print was opened at the desk: there is nothing to hear.", PROGRAM),
    code("no-random-numbers", "The machine has no random numbers to draw what X is in a blind test.", MACHINE),
    code("no-reference", "A print is to stand against references, and none is named.", PROGRAM),
    code("no-responses", "Measured responses that a starting point needs are not here.", PROGRAM),
    code("no-revision", "The folder of revisions holds none.", PROGRAM),
    code("not-a-page", "A folder that a page is to be written to is there and is no listening page.", PROGRAM),
    code("not-finished", "A revision is to be handed over while a finding stands in the way.", PROGRAM),
    code("not-notes", "A file is no file of notes, or larger or longer than notes can be.", PROGRAM),
    code("not-text", "The sheet is not text in UTF-8.", "RFC 3629"),
    code("nothing-plays", "A sound level meter was read while the desk played nothing.", PROGRAM),
    code("nothing-to-hear", "All versions of a page are silent.", PROGRAM),
    code("on-a-desk", "The sheet lies on another desk already.", PROGRAM),
    code("print-changed", "The SHA-256 of a print is not the one in its report.", PROGRAM),
    code("printing", "A print run is under way at the desk; there is one at a time.", PROGRAM),
    code("rate-fixed", "The sample rate was changed while the desk was open.", PROGRAM),
    code("sheet-elsewhere", "A sheet is to be written to another folder than that of its stems.", PROGRAM),
    code("silent-reference", "A print is to be as loud as a reference that is silent.", PROGRAM),
    code("source-changed", "A recording was written to or removed while a print was made from it.", PROGRAM),
    code("start", "A starting point does not fit the sheet.", PROGRAM),
    code("stopped", "Work was told to stop before it was done.", PROGRAM),
    code("unclear-comparison", "The call names too much or too little to compare.", PROGRAM),
    code("unknown-name", "What is to be listened to is not in the sheet.", PROGRAM),
    code("unknown-note", "No note has an id that starts so, or more than one has.", PROGRAM),
    code("unknown-part", "What a print is to be compared without is not in the sheet.", PROGRAM),
    code("unknown-print", "The sheet, or the revision, has no print of that name.", PROGRAM),
    code("unknown-processor", "A chain has no processor of that name and number.", PROGRAM),
    code("unknown-reference", "A word is neither a file nor a reference of the sheet.", PROGRAM),
    code("unknown-revision", "The folder of revisions has none of that name.", PROGRAM),
    code("unknown-version", "The revision has no print, and its sheet no reference, of that name.", PROGRAM),
    code("version", "A version of the sheet cannot be kept or taken up under its name.", PROGRAM),
];
