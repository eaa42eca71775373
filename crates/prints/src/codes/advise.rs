//! Codes of advice.

use super::{Code, PRACTICE, code};

pub(super) const CODES: &[Code] = &[
    code(
        "a-cappella-leftover",
        "An a cappella keeps an instrument that sounds, by its name, or what no kept stem makes (noise, the \
         residue of tape) lies within 60 dB of what they make.",
        PRACTICE,
    ),
    code(
        "beyond-knee",
        "A print asks for more loudness than where a decibel of gain still gives 0.7 LU; a warning from 3 LU beyond.",
        PRACTICE,
    ),
    code("codec-clips", "What a listener decodes after a codec exceeds 0 dBTP.", "EBU R 128; ITU-R BS.1770-5, Annex 2"),
    code(
        "contrast-lost",
        "The loudest and the softest section differ by 2 LU or more less in a print than in the mix, by \
         integrated loudness.",
        PRACTICE,
    ),
    code("doubled-path", "One signal reaches a sum by two paths that hold neither a processor nor a delay.", PRACTICE),
    code(
        "end-moves-balance",
        "In a section the chain of a print moves a stem by 1.5 dB or more at matched loudness, from what it does \
         to the sum in steps of 5 ms and three bands.",
        PRACTICE,
    ),
    code(
        "end-softens-attacks",
        "In a section attacks are 1.5 dB or more softer in a print than in the mix: their strongest 5 ms against \
         what follows.",
        PRACTICE,
    ),
    code(
        "far-speaker",
        "A stem that leans 6 dB to one side plays in the far speaker at -12 dB of the near one or more, and lay under \
         -20 dB before.",
        PRACTICE,
    ),
    code(
        "hollow-sum",
        "A third octave loses more than 1 dB to the phase of filters on the paths into a sum, from impulses through the plan.",
        PRACTICE,
    ),
    code("image-shift", "A return or processor moves a stem by 3 dB between left and right.", PRACTICE),
    code(
        "late-path",
        "Two paths into one sum arrive half a sample or more apart, from impulses through the plan.",
        "closed form: half a sample costs 0.6 dB at 10 kHz and 48 kHz, at equal levels",
    ),
    code(
        "late-repeat",
        "The repeat of a delay comes more than 50 ms late, where it is heard by itself.",
        "H. Haas 1951, from memory",
    ),
    code(
        "low-end-comb",
        "At the delay in use a return takes or adds more than 0.5 dB (a warning from 1 dB) in a third octave below 300 Hz, \
         from the correlation of dry and wet in each band.",
        PRACTICE,
    ),
    code("low-end-lost", "With a return a stem has 1 dB less below 250 Hz than without.", PRACTICE),
    code("missing-part", "A stem of the latest revision is not in this sheet.", PRACTICE),
    code(
        "mono-band-lost",
        "A third octave within 25 dB of the strongest loses 6 dB or more in mono, which channels of equal level \
         and a correlation of -0.5 do.",
        "closed form for the loss; for the threshold common practice, no source",
    ),
    code("mono-loss", "Behind a processor or with a return, mono loses 2 dB more of a stem.", PRACTICE),
    code("moving-path", "Two impulses at different times come by a path in different shapes.", PRACTICE),
    code(
        "one-driver",
        "One of three stems or more causes 80 % of what a compressor or limiter takes away, from runs without each stem.",
        PRACTICE,
    ),
    code("orphan-file", "An audio file lies beside the stems, and the sheet does not name it.", PRACTICE),
    code(
        "part-jumped",
        "A stem's loudness behind its fader is 3 LU or more away from the latest revision's.",
        PRACTICE,
    ),
    code(
        "return-cancels",
        "A return lowers the loudness of what it joins, and its correlation with that is below -0.2.",
        PRACTICE,
    ),
    code(
        "return-unheard",
        "A return changes loudness by less than 0.1 LU, and spectrum, crest and width by less than 0.3 dB.",
        PRACTICE,
    ),
    code("sibilant", "50 ms above 4 kHz reach 3 dB over the mean of the whole print.", PRACTICE),
    code("silent-path", "A stem that sounds is sent somewhere, and less than -80 dB of it arrives.", PRACTICE),
    code(
        "small-speaker-thin",
        "A speaker from 200 Hz to 10 kHz leaves 3 LU less of a print (a warning from 6 LU), or what lies above \
         250 Hz 15 dB less of a stem.",
        "ITU-R BS.1770-5 for the weights; for band and threshold common practice, no source",
    ),
    code(
        "turned-path",
        "A path into a sum has inverted polarity against the others, from impulses through the plan.",
        PRACTICE,
    ),
    code(
        "twins-part-early",
        "A stem or bus is needed for one of two prints and not for the other, by the plan.",
        PRACTICE,
    ),
    code(
        "vertical-low-end",
        "Below 300 Hz a disc's vertical movement, (L-R)/sqrt 2, is within 10 dB of its lateral one (a warning \
         within 3 dB).",
        "IEC 60098 for the axes, from memory; for corner and threshold common practice, no source",
    ),
];
