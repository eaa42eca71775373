//! The experiments of each processor.

pub mod card;
mod colour;
mod dynamics;
mod filters;
mod space;

/// A figure: its file, what it shows, the chart.
pub struct Figure {
    /// Name of its file.
    pub file: String,
    /// What is seen, and how it was measured.
    pub caption: &'static str,
    /// The chart.
    pub svg: String,
}

impl Figure {
    fn new(file: &str, caption: &'static str, svg: String) -> Self {
        Self { file: format!("{file}.svg"), caption, svg }
    }
}

/// The figures of a processor. A plain gain has none, nor has what lives by a file of yours.
pub fn of(name: &str) -> Vec<Figure> {
    match name {
        "eq" => filters::equaliser(),
        "width" => filters::width(),
        "compressor" => dynamics::compressor(),
        "limiter" => dynamics::limiter(),
        "transient" => dynamics::transient(),
        "drive" => colour::drive(),
        "tape" => colour::tape(),
        "console" => colour::console(),
        "dither" => colour::dither(),
        "room" => space::room(),
        "delay" => space::delay(),
        "spread" => space::spread(),
        _ => Vec::new(),
    }
}
