//! The demo song as a folder: stems, rough mix, sheet.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use units::Frame;

/// Rate of the files.
pub const RATE_HZ: u32 = 48_000;

/// The sheet of the demo song.
pub const SHEET: &str = "";
