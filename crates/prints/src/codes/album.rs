//! Codes of a record.

use super::{Code, PRACTICE, code};

pub(super) const CODES: &[Code] = &[
    code(
        "record-labels",
        "A song names another artist or album than the record, has the recording code of another song, or another rate or \
         format than the first.",
        "ISO 3901 for recording codes; common practice, no source, for the rest",
    ),
    code(
        "song-missing",
        "A song could not be printed, or has no revision or print that the album asks for.",
        "the album",
    ),
    code(
        "stands-apart",
        "Loudness, range, peaks over loudness, level below 250 Hz or above 4 kHz against that between, or correlation lies \
         farther from the median of the other songs than 1.5 LU, 4 LU, 3 dB, 3 dB, 3 dB or 0.3. From three songs on.",
        PRACTICE,
    ),
];
