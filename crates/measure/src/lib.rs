//! Meters and comparisons: facts about sound, never verdicts.
//!
//! One file holds one measure, with its method, its source and its tests. Meters are streaming: they take frames in
//! pieces of any size, keep little, and give the same figures for any cut. Nothing here uses the processors that it is
//! there to judge.
//!
//! [`Meter`] measures everything about one programme in one pass.

pub mod align;
pub mod arrival;
pub mod bleed;
pub mod blend;
pub mod compare;
pub mod components;
pub mod decay;
pub mod disc;
pub mod envelope;
pub mod equal_loudness;
pub mod harmonics;
pub mod level;
pub mod loudness;
pub mod low_band;
pub mod null;
pub mod sinc;
pub mod spectrum;
pub mod stem_facts;
pub mod stereo;
pub mod summary;
pub mod tonal_balance;
pub mod true_peak;

pub use align::{Alignment, Polarity, align, whole_delay};
pub use compare::{Comparison, Ear, Heard, beside, compare};
pub use components::{Parting, parting};
pub use decay::{BandDecay, Decay};
pub use harmonics::{Harmonics, Intermodulation, harmonics, intermodulation};
pub use level::{ClipRun, Clips};
pub use loudness::{LoudnessMeter, LoudnessPoint};
pub use null::{Null, null};
pub use spectrum::Spectrum;
pub use stem_facts::{StemFacts, StemMeter};
pub use stereo::{StereoImage, StereoPower};
pub use summary::{Measured, Measures, Meter, NonFinite, measure};
pub use tonal_balance::{Standing, TonalBalance, tonal_balance};
pub use true_peak::{Peak, TruePeakMeter};

#[cfg(test)]
mod signals;
