//! One render, heard at many places.

use std::collections::BTreeMap;

use engine::{Fault, Folder, Plan, Setup, Sink, Stream, Taken};
use measure::blend::{Part, PartMeter};
use measure::low_band::{LowBand, LowBandMeter};

/// What is wanted of a step.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Wants {
    /// Loudness, levels, envelope.
    pub part: bool,
    /// The low end itself.
    pub low: bool,
}

impl Wants {
    pub(super) const PART: Self = Self { part: true, low: false };
    pub(super) const LOW: Self = Self { part: false, low: true };
}

/// What was heard, by step.
#[derive(Default)]
pub(super) struct Heard {
    pub parts: BTreeMap<usize, Part>,
    pub lows: BTreeMap<usize, LowBand>,
}

/// The meters at one step.
struct Ear {
    part: Option<PartMeter>,
    low: Option<LowBandMeter>,
}

impl Sink for &mut Ear {
    fn take(&mut self, taken: &Taken<'_>) -> Result<(), Fault> {
        if let Some(part) = &mut self.part {
            part.push(taken.lane(0));
        }
        if let Some(low) = &mut self.low {
            low.push(taken.lane(0));
        }
        Ok(())
    }
}

/// Renders a plan and hears what is wanted.
pub(super) fn hear(
    (plan, wants): (Plan, BTreeMap<usize, Wants>),
    sources: &Folder,
    threads: usize,
    progress: &(dyn Fn(f64) + Sync),
) -> Result<Heard, Fault> {
    let outputs: Vec<usize> = wants.keys().copied().collect();
    let ear = |wants: &Wants| Ear {
        part: wants.part.then(|| PartMeter::new(plan.rate_hz)),
        low: wants.low.then(|| LowBandMeter::new(plan.rate_hz)),
    };
    let mut ears: Vec<Ear> = wants.values().map(ear).collect();
    let sinks = ears.iter_mut().map(|ear| Box::new(ear) as Box<dyn Sink + '_>).collect();
    Stream::open(&plan, sources, &outputs, &Setup::default())?.run(threads, sinks, progress)?;
    let mut heard = Heard::default();
    for (step, ear) in outputs.into_iter().zip(ears) {
        heard.parts.extend(ear.part.map(|meter| (step, meter.finish())));
        heard.lows.extend(ear.low.map(|meter| (step, meter.finish())));
    }
    Ok(heard)
}
