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
        "head-cut",
        "The first two milliseconds have -50 dBFS (RMS) or more, and are within 10 dB of the first fifty.",
        PRACTICE,
    ),
    code("label-lost", "The title that is read back from the file is not the sheet's.", "the sheet's definition"),
    code("labels-incomplete", "The sheet gives no ISRC, writer, producer, mixer, contact or date.", PRACTICE),
    code(
        "length-differs",
        "The file, read back, is longer or shorter than its print: by more than a sample, or, where its codec is lossy, \
         by more than 2304 samples (two packets of MP3).",
        PRACTICE,
    ),
    code("long-silence", "More than five seconds at the beginning or end lie below -90 dBFS.", PRACTICE),
    code(
        "loudness-missed",
        "The integrated loudness is further than 0.05 LU from what was asked for.",
        "ITU-R BS.1770-5",
    ),
    code("no-artist", "The sheet names no artist.", PRACTICE),
    code(
        "no-dither",
        "A file of 16 bits is written with `dither = \"none\"`.",
        "S. P. Lipshitz, R. A. Wannamaker and J. Vanderkooy 1992, J. Audio Eng. Soc. 40 (from memory)",
    ),
    code(
        "not-a-number",
        "Samples of a stem are infinite or not numbers; silence was printed in their place.",
        "IEEE 754",
    ),
    code(
        "out-of-sync",
        "Four seconds around the loudest place of the first file, against the same of each other file: the delay of their \
         best least-squares fit is half a sample or more, or, where the codec is lossy, a millisecond. Told where the two \
         correlate with 0.2 or more.",
        PRACTICE,
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
    code("tail-cut", "The last ten milliseconds have -60 dBFS (RMS) or more.", PRACTICE),
];
