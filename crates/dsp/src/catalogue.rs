//! Every processor there is, a line each.

use crate::Entry;

/// All processors, in the order in which lists show them.
pub static CATALOGUE: &[Entry] = &[];
