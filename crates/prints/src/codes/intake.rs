//! Codes of what comes in.

use super::{Code, PRACTICE, code};

pub(super) const CODES: &[Code] = &[
    code("cannot-read", "The file cannot be opened, or its audio cannot be decoded to its end.", "the file's format"),
    code("channel-polarity", "The correlation of left and right over the whole file is below -0.8.", PRACTICE),
    code("clipped", "Three or more samples in a row reach the greatest value of 16-bit audio.", PRACTICE),
    code("dc", "The mean of a channel over the file is further from zero than 0.001, which is -60 dBFS.", PRACTICE),
    code(
        "dual-mono",
        "A file of two channels whose difference is nowhere above -90 dB of its peak: it holds one channel twice.",
        PRACTICE,
    ),
    code(
        "duplicate",
        "Two stems have the same hash of all samples from the first that is not zero to the last.",
        "hash after RFC 9923 (FNV-1a), a sample at a time",
    ),
    code("lengths", "Stems end more than 2 ms before the longest.", PRACTICE),
    code("lossy", "The file's format is one that discards part of the sound.", "the file's format"),
    code("no-stems", "Every file is named like a mix, by words such as rough or reference.", PRACTICE),
    code("not-a-number", "Samples are infinite or no numbers in the sense of floating point.", "IEEE 754"),
    code("one-sided", "One channel peaks below -90 dB of the other.", PRACTICE),
    code("other-rate", "The file's rate is not the one that most stems have.", PRACTICE),
    code(
        "pair-delay",
        "Two files whose names begin alike correlate with at least 0.5 at a delay of half a sample to 20 ms: the peak of \
         the cross-correlation of twelve seconds, then least squares to a fraction of a sample.",
        PRACTICE,
    ),
    code(
        "pair-polarity",
        "Two files whose names begin alike correlate with -0.5 or less at their best delay of up to 20 ms.",
        PRACTICE,
    ),
    code("silent", "No sample of the file is above -90 dBFS.", PRACTICE),
];
