//! The report of a print run as one page that needs nothing else: to read on a screen, by day or night, and on paper.

mod figures;
mod page;

pub use page::html;
