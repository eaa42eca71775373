//! Every processor there is, a line each.

use crate::{
    Entry, compressor, console, convolution, delay, dither, drive, eq, limiter, room, spread, tape, trim, width,
};

/// All processors, in the order in which lists show them.
pub static CATALOGUE: &[Entry] = &[
    Entry { spec: &trim::SPEC, build: trim::build },
    Entry { spec: &eq::SPEC, build: eq::build },
    Entry { spec: &compressor::SPEC, build: compressor::build },
    Entry { spec: &drive::SPEC, build: drive::build },
    Entry { spec: &delay::SPEC, build: delay::build },
    Entry { spec: &room::SPEC, build: room::build },
    Entry { spec: &convolution::SPEC, build: convolution::build },
    Entry { spec: &tape::SPEC, build: tape::build },
    Entry { spec: &console::SPEC, build: console::build },
    Entry { spec: &width::SPEC, build: width::build },
    Entry { spec: &spread::SPEC, build: spread::build },
    Entry { spec: &limiter::SPEC, build: limiter::build },
    Entry { spec: &dither::SPEC, build: dither::build },
];
