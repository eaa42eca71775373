//! Codes of what is printed.

use super::{Code, PRACTICE, code};

pub(super) const CODES: &[Code] = &[
    code(
        "clipped",
        "Samples of a file in whole numbers exceeded full scale while it was written, and were cut off.",
        PRACTICE,
    ),
    code(
        "codec-over",
        "What a listener decodes after a codec of `survive` is above the print's ceiling, and no lower ceiling mends it.",
        "EBU R 128 (true peak after the codec); true peak after ITU-R BS.1770-5, Annex 2, at sixteen times the rate",
    ),
    code("correlation", "The correlation of left and right over the whole file is below zero.", PRACTICE),
    code("dc", "The mean of a channel over the file is further from zero than 0.001, which is -60 dBFS.", PRACTICE),
    code(
        "loudness-missed",
        "The integrated loudness is further than 0.05 LU from what was asked for.",
        "ITU-R BS.1770-5",
    ),
    code(
        "not-a-number",
        "Samples of a stem are infinite or no numbers; silence was printed in their place.",
        "IEEE 754",
    ),
    code(
        "over-ceiling",
        "The true peak of a file, read back, is more than 0.02 dB above the print's ceiling. A warning where the codec is \
         lossy, since its decoder moves peaks.",
        "ITU-R BS.1770-5, Annex 2, at sixteen times the rate",
    ),
    code("over-full-scale", "The true peak of a print without a limiter is above 0 dBTP.", "ITU-R BS.1770-5, Annex 2"),
    code("silent-print", "The file has no level at all.", PRACTICE),
    code(
        "silent-stem",
        "A stem that a print needs gives nothing but silence, and the sheet does not expect that.",
        PRACTICE,
    ),
];
