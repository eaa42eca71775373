//! One render, heard at many places.

use std::collections::BTreeMap;
use std::path::Path;

use engine::{Fault, Folder, Plan, Setup, Sink, Stream, Taken};
use measure::blend::{Part, PartMeter};
use measure::low_band::{LowBand, LowBandMeter};

use crate::spool::Spool;

/// What is wanted of a step.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Wants {
    /// Loudness, levels, envelope.
    pub part: bool,
    /// The low end itself.
    pub low: bool,
    /// The signal itself, in a 64-bit file in the work folder: see [`spool_name`].
    pub spool: bool,
}

impl Wants {
    pub(super) const PART: Self = Self { part: true, low: false, spool: false };
    pub(super) const LOW: Self = Self { part: false, low: true, spool: false };
    pub(super) const SPOOL: Self = Self { part: true, low: false, spool: true };
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
    spool: Option<Spool>,
}

impl Sink for &mut Ear {
    fn take(&mut self, taken: &Taken<'_>) -> Result<(), Fault> {
        if let Some(part) = &mut self.part {
            part.push(taken.lane(0));
        }
        if let Some(low) = &mut self.low {
            low.push(taken.lane(0));
        }
        if let Some(mut spool) = self.spool.as_mut() {
            spool.take(taken)?;
        }
        Ok(())
    }
}

/// Name of the file that holds a step's signal.
pub(super) fn spool_name(step: usize) -> String {
    format!("step{step}.wav")
}

/// Renders a plan and hears what is wanted; files go to the folder `work`.
pub(super) fn hear(
    (plan, wants): (Plan, BTreeMap<usize, Wants>),
    sources: &Folder,
    work: &Path,
    threads: usize,
    progress: &(dyn Fn(f64) + Sync),
) -> Result<Heard, Fault> {
    let outputs: Vec<usize> = wants.keys().copied().collect();
    let spool = |step: usize| Spool::create(&work.join(spool_name(step)), plan.rate_hz as u32, plan.print_frames());
    let ear = |(step, wants): (&usize, &Wants)| -> Result<Ear, Fault> {
        Ok(Ear {
            part: wants.part.then(|| PartMeter::new(plan.rate_hz)),
            low: wants.low.then(|| LowBandMeter::new(plan.rate_hz)),
            spool: wants.spool.then(|| spool(*step)).transpose()?,
        })
    };
    let mut ears: Vec<Ear> = wants.iter().map(ear).collect::<Result<_, _>>()?;
    let sinks = ears.iter_mut().map(|ear| Box::new(ear) as Box<dyn Sink + '_>).collect();
    Stream::open(&plan, sources, &outputs, &Setup::default())?.run(threads, sinks, progress)?;
    let mut heard = Heard::default();
    for (step, ear) in outputs.into_iter().zip(ears) {
        heard.parts.extend(ear.part.map(|meter| (step, meter.finish())));
        heard.lows.extend(ear.low.map(|meter| (step, meter.finish())));
        ear.spool.map_or(Ok(()), Spool::finish)?;
    }
    Ok(heard)
}
