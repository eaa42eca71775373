//! Codes of the listening page and of the notes that come back.

use super::{Code, PRACTICE, code};

pub(super) const CODES: &[Code] = &[
    code(
        "another-song",
        "A reference correlates with the first print by less than 0.3 at every delay up to 10 s: the page leaves it out.",
        PRACTICE,
    ),
    code("other-title", "A file of notes names another title than the latest revision.", PRACTICE),
    code("past-the-end", "A note lies more than 1 s past the end of the revision that it is about.", PRACTICE),
    code("silent-version", "A version has no integrated loudness: the page leaves it out.", "ITU-R BS.1770-5"),
    code("unknown-approval", "An approval names a SHA-256 that no print of its revision has.", PRACTICE),
];
