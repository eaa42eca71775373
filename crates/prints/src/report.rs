//! The report of a print run as one page that needs nothing else: to read on a screen, by day or night, and on paper.

pub(crate) mod figures;
pub(crate) mod page;
pub(crate) mod paper;

pub use page::html;
