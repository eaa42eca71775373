//! The reference: a page for each processor, from its definition, and figures of what it does.
//!
//! Figures are drawn from the *running* processor, never from its formulas: a signal goes in, and what comes out is
//! measured. So a figure that disagrees with the words beside it tells of a fault.
//!
//! - `bench`: settings by name, signals in, signals out;
//! - `plot`: a chart as SVG;
//! - `figures`: the experiments, by what they look at;
//! - `page`: words and figures of one processor; the codes of findings.

mod bench;
mod figures;
mod page;
mod plot;

pub use figures::card::{figure_of, has_figure};

/// What every file of the reference holds, so that it is known from a file that somebody wrote.
pub const MARK: &str = "<!-- Made by `fairprint reference`. Change the definitions, not this file. -->";

/// A file of the reference.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct File {
    /// Its name in the folder.
    pub name: String,
    /// Its text.
    pub text: String,
}

/// All files: an index, the sheet's keys, the codes of findings, and for each processor a page and its figures.
#[must_use]
pub fn files() -> Vec<File> {
    page::files()
}
