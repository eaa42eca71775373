//! One render, heard at many places.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::atomic::AtomicBool;

use engine::{Fault, Folder, Plan, Setup, Sink, Stream, Taken};
use measure::Spectrum;
use measure::blend::{Part, PartMeter};
use measure::disc::{Disc, DiscMeter};
use measure::level::LevelMeter;
use measure::low_band::{LowBand, LowBandMeter};
use measure::spectrum::SpectrumMeter;
use units::Frame;

use crate::spool::Spool;
use crate::survey::Stop;

/// What is wanted of a step.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Wants {
    /// Loudness, levels, envelope.
    pub part: bool,
    /// The low end itself.
    pub low: bool,
    /// The signal itself, in a 64-bit file in the work folder: see [`spool_name`].
    pub spool: bool,
    /// Sample levels and stereo image of each section.
    pub levels: bool,
    /// The spectrum, and what a disc would make of the low end.
    pub spectrum: bool,
}

impl Wants {
    const NOTHING: Self = Self { part: false, low: false, spool: false, levels: false, spectrum: false };
    pub(super) const PART: Self = Self { part: true, ..Self::NOTHING };
    pub(super) const LOW: Self = Self { low: true, ..Self::NOTHING };
    pub(super) const SPOOL: Self = Self { spool: true, ..Self::PART };
    /// What there is to be known of a sum, section by section.
    pub(super) const SECTIONS: Self = Self { levels: true, ..Self::PART };
    /// All that there is to be known of a print.
    pub(super) const PRINT: Self = Self { spectrum: true, ..Self::SECTIONS };
}

/// A plan, what is wanted of its steps, and the frames at which sections start.
pub(super) struct Hearing {
    pub plan: Plan,
    pub wants: BTreeMap<usize, Wants>,
    pub cuts: Vec<u64>,
}

/// What was heard, by step.
#[derive(Default)]
pub(super) struct Heard {
    pub parts: BTreeMap<usize, Part>,
    pub lows: BTreeMap<usize, LowBand>,
    pub levels: BTreeMap<usize, Vec<LevelMeter>>,
    pub spectra: BTreeMap<usize, (Spectrum, Disc)>,
}

/// The meters at one step.
struct Ear {
    part: Option<PartMeter>,
    low: Option<LowBandMeter>,
    spool: Option<Spool>,
    levels: Option<SectionMeter>,
    spectrum: Option<(SpectrumMeter, DiscMeter)>,
}

/// A meter of levels for each section; what lies ahead of the first is not heard.
struct SectionMeter {
    cuts: Vec<u64>,
    meters: Vec<LevelMeter>,
    at: u64,
}

impl SectionMeter {
    fn new(cuts: &[u64], rate_hz: f64) -> Self {
        Self { cuts: cuts.to_vec(), meters: vec![LevelMeter::new(rate_hz); cuts.len()], at: 0 }
    }

    fn push(&mut self, mut frames: &[Frame]) {
        while !frames.is_empty() {
            let section = self.cuts.partition_point(|cut| *cut <= self.at);
            let left = self.cuts.get(section).map_or(usize::MAX, |next| (next - self.at) as usize);
            let (now, then) = frames.split_at(left.min(frames.len()));
            if let Some(meter) = section.checked_sub(1).and_then(|section| self.meters.get_mut(section)) {
                meter.push(now);
            }
            self.at += now.len() as u64;
            frames = then;
        }
    }
}

impl Sink for &mut Ear {
    fn take(&mut self, taken: &Taken<'_>) -> Result<(), Fault> {
        if let Some(part) = &mut self.part {
            part.push(taken.lane(0));
        }
        if let Some(low) = &mut self.low {
            low.push(taken.lane(0));
        }
        if let Some(levels) = &mut self.levels {
            levels.push(taken.lane(0));
        }
        if let Some((spectrum, disc)) = &mut self.spectrum {
            spectrum.push(taken.lane(0));
            disc.push(taken.lane(0));
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

/// Renders a plan and hears what is wanted; files go to the folder `work`. `stop` ends it early, with a fault.
pub(super) fn hear(
    Hearing { plan, wants, cuts }: Hearing,
    sources: &Folder,
    work: &Path,
    (threads, stop): (usize, &AtomicBool),
    progress: &(dyn Fn(f64) + Sync),
) -> Result<Heard, Fault> {
    let outputs: Vec<usize> = wants.keys().copied().collect();
    let spool = |step: usize| Spool::create(&work.join(spool_name(step)), plan.rate_hz as u32, plan.print_frames());
    let ear = |(step, wants): (&usize, &Wants)| -> Result<Ear, Fault> {
        Ok(Ear {
            part: wants.part.then(|| PartMeter::new(plan.rate_hz)),
            low: wants.low.then(|| LowBandMeter::new(plan.rate_hz)),
            spool: wants.spool.then(|| spool(*step)).transpose()?,
            levels: wants.levels.then(|| SectionMeter::new(&cuts, plan.rate_hz)),
            spectrum: wants.spectrum.then(|| (SpectrumMeter::new(plan.rate_hz), DiscMeter::new(plan.rate_hz))),
        })
    };
    let mut ears: Vec<Ear> = wants.iter().map(ear).collect::<Result<_, _>>()?;
    let heeding = outputs.first().map(|_| Box::new(Stop(stop)) as Box<dyn Sink + '_>);
    let sinks = heeding.into_iter().chain(ears.iter_mut().map(|ear| Box::new(ear) as Box<dyn Sink + '_>)).collect();
    let taken: Vec<usize> = outputs.first().into_iter().chain(&outputs).copied().collect();
    Stream::open(&plan, sources, &taken, &Setup::default())?.run(threads, sinks, progress)?;
    let mut heard = Heard::default();
    for (step, ear) in outputs.into_iter().zip(ears) {
        heard.parts.extend(ear.part.map(|meter| (step, meter.finish())));
        heard.lows.extend(ear.low.map(|meter| (step, meter.finish())));
        heard.levels.extend(ear.levels.map(|meter| (step, meter.meters)));
        heard.spectra.extend(ear.spectrum.map(|(spectrum, disc)| (step, (spectrum.finish(), disc.finish()))));
        ear.spool.map_or(Ok(()), Spool::finish)?;
    }
    Ok(heard)
}
