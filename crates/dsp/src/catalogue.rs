//! Every processor there is, a line each.

use crate::{Entry, drive, eq, trim, width};

/// All processors, in the order in which lists show them.
pub static CATALOGUE: &[Entry] = &[
    Entry { spec: &trim::SPEC, build: trim::build },
    Entry { spec: &eq::SPEC, build: eq::build },
    Entry { spec: &drive::SPEC, build: drive::build },
    Entry { spec: &width::SPEC, build: width::build },
];
