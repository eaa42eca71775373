//! Codes of what comes in.

use super::{Code, PRACTICE, code};

pub(super) const CODES: &[Code] = &[
    code("cannot-read", "The file cannot be opened, or its audio cannot be decoded to its end.", "the file's format"),
    code("channel-polarity", "The correlation of left and right over the whole file is below -0.8.", PRACTICE),
    code(
        "click",
        "In one millisecond the third difference is six times what it is within 50 ms on either side, for less than \
         0.3 ms; the wave goes on where it was, and no note begins there (6 dB more power after it).",
        PRACTICE,
    ),
    code("clipped", "Three or more samples in a row reach the greatest value of 16-bit audio.", PRACTICE),
    code(
        "clipped-lowered",
        "Five tops or more of three samples within a thousandth of the file's largest sample, below full scale, and eight \
         times as many samples in that thousandth as in the one below. A sine has 2.4 times as many (arcs of the cosine).",
        PRACTICE,
    ),
    code("cut-end", "The last ten milliseconds have -60 dBFS (RMS) or more.", PRACTICE),
    code(
        "cut-start",
        "The first two milliseconds have -50 dBFS (RMS) or more, and are within 10 dB of the first fifty: nothing grows.",
        PRACTICE,
    ),
    code("dc", "The mean of a channel over the file is further from zero than 0.001, which is -60 dBFS.", PRACTICE),
    code(
        "drum-delay",
        "A drum and a microphone above the kit: the peak of their generalized correlation over the sixteen loudest \
         stretches of the drum, where a third of its power coheres, half a sample to 20 ms from zero.",
        "method: C. H. Knapp and G. C. Carter 1976, IEEE Trans. ASSP-24, with the weights of Hannan and Thomson",
    ),
    code(
        "drum-polarity",
        "The peak of that correlation is negative.",
        "method: C. H. Knapp and G. C. Carter 1976, IEEE Trans. ASSP-24, with the weights of Hannan and Thomson",
    ),
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
    code(
        "duplicate-take",
        "The outlines of two stems (RMS in twentieths of a second) correlate with 0.98, and four seconds of their samples \
         with 0.999 at their best delay and gain: what differs lies 27 dB below.",
        PRACTICE,
    ),
    code(
        "hard-edit",
        "As a click, but the wave goes on elsewhere; or sound of -55 dBFS and more stops within a sample, and 20 ms of \
         zeros follow.",
        PRACTICE,
    ),
    code(
        "hum",
        "Lines within a per cent of 50 or 60 Hz or their multiples to the sixth, in spectra of two seconds: in the softest \
         tenth of all that sound they stand 12 dB out of what is 2 to 5 Hz beside them, and stay within 6 dB. A warning \
         from -75 dBFS.",
        "frequencies of mains: EN 50160; limits: common practice, no source",
    ),
    code("lengths", "Stems end more than 2 ms before the longest.", PRACTICE),
    code("lossy", "The file's format is one that discards part of the sound.", "the file's format"),
    code(
        "lossy-source",
        "The mean spectrum falls by 30 dB within 600 Hz, somewhere from 9 to 20.8 kHz, and stays down.",
        "common practice, no source; LAME's low-pass filters lie at 20.5 kHz and below (from memory)",
    ),
    code("no-stems", "Every file is named like a mix, by words such as rough or reference.", PRACTICE),
    code("not-a-number", "Samples are infinite or not numbers.", "IEEE 754"),
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
    code(
        "rate-label",
        "The file is as long as most stems only at another rate than its label says, within 0.02 %, and its tuning does not \
         speak against it.",
        "closed form: 1200 log2 of the ratio of rates, in cents",
    ),
    code("silent", "No sample of the file is above -90 dBFS.", PRACTICE),
    code(
        "tuned-apart",
        "A stem's tuning lies 15 cents or more from that of at least two others; its own partials agree to 0.45.",
        PRACTICE,
    ),
    code(
        "tuning",
        "Partials from 90 to 900 Hz against equal temperament, averaged on a circle of a hundred cents and weighed by \
         amplitude: the stems together lie 5 cents or more from A = 440 Hz.",
        "ISO 16 (A = 440 Hz)",
    ),
];
