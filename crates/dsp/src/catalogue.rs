//! Every processor there is, a line each.

use crate::{
    Entry, compressor, console, convolution, delay, dither, drive, eq, limiter, room, spread, tape, transient, trim,
    width,
};

/// All processors, in the order in which lists show them.
pub static CATALOGUE: &[Entry] = &[
    Entry { spec: &trim::SPEC, make: trim::build },
    Entry { spec: &eq::SPEC, make: eq::build },
    Entry { spec: &compressor::SPEC, make: compressor::build },
    Entry { spec: &transient::SPEC, make: transient::build },
    Entry { spec: &drive::SPEC, make: drive::build },
    Entry { spec: &delay::SPEC, make: delay::build },
    Entry { spec: &room::SPEC, make: room::build },
    Entry { spec: &convolution::SPEC, make: convolution::build },
    Entry { spec: &tape::SPEC, make: tape::build },
    Entry { spec: &console::SPEC, make: console::build },
    Entry { spec: &width::SPEC, make: width::build },
    Entry { spec: &spread::SPEC, make: spread::build },
    Entry { spec: &limiter::SPEC, make: limiter::build },
    Entry { spec: &dither::SPEC, make: dither::build },
];
