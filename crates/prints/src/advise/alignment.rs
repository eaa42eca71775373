//! Proof that parallel paths meet in time: an impulse and noise through the compiled plan.
//!
//! A sum is parallel where one stem reaches it by two ways or more. That stem plays an impulse, twice, and then noise,
//! all others are silent, and each way is heard alone where it arrives, in song time. All levels lie far below the
//! thresholds of compressors, so that only filters, delays and what moves by itself act. Arrival and polarity come from the
//! impulse with the path's own colour taken off ([`measure::arrival`]), and again from the noise by correlation
//! ([`measure::align()`]); two impulses that differ tell a path that moves. What the ways lose to phase where they meet is
//! stated by third octave.

use std::sync::Arc;

use engine::{Facts, Fault, Feed, Folder, Plan, Playback, Role, Setup, Sink, Sources, Stream, Taken};
use measure::{Polarity, align, arrival};
use serde::Serialize;
use units::random::{next, share};
use units::{Frame, Problem, SILENCE, Severity};

use super::taps::reached_by;

/// Frames of one impulse's window, and where in it the impulse lies. The second is shifted by a few frames.
const WINDOW: usize = 1 << 15;
const ORIGIN: usize = 1 << 12;
const SHIFT: usize = 37;
/// Heights: -80 dB of full scale for the impulse, -70 dB (RMS) for the noise.
const IMPULSE: f64 = 1e-4;
const NOISE: f64 = 3e-4;
/// Delays either way that are sought in the noise.
const MOST_DELAY_FRAMES: usize = 4096;
/// Paths further apart than this are not in time: half a sample costs 0.6 dB at 10 kHz (48 kHz, equal levels).
const APART_SAMPLES: f64 = 0.5;
/// Two impulses that differ by more than this, in power, passed something that moves.
const MOVING: f64 = 1e-4;
/// A band that loses more than this to phase is worth a word. Common practice, no source.
const HOLLOW_DB: f64 = -1.0;
/// Processors that are late on purpose.
const SPACES: [&str; 4] = ["room", "delay", "convolution", "spread"];

/// One way into a sum.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct WayRecord {
    /// The node it comes from.
    pub from: String,
    /// Whether it is late on purpose: a space, or a delay that the sheet asks for.
    pub on_purpose: bool,
    /// Arrival of the impulse against song time, in samples; none if nothing arrives.
    pub arrives_samples: Option<f64>,
    /// The same from noise, by correlation, which a filter's phase moves a little.
    pub by_noise_samples: Option<f64>,
    /// Polarity.
    pub polarity: Option<Polarity>,
    /// Whether it moves by itself: the same impulse comes out differently at another time.
    pub moves: bool,
}

/// One sum of parallel ways.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SumRecord {
    /// The bus.
    pub bus: String,
    /// The stem that played.
    pub stem: String,
    /// The ways that it takes.
    pub ways: Vec<WayRecord>,
    /// Greatest distance of two ways that are not late on purpose, in samples.
    pub apart_samples: Option<f64>,
    /// What those ways lose to phase, by third octave as `[hz, db]`: 0 is a sum in phase.
    pub phase_loss_db: Vec<(f64, f64)>,
}

impl SumRecord {
    /// The band that loses most, and how much.
    #[must_use]
    pub fn deepest(&self) -> Option<(f64, f64)> {
        self.phase_loss_db.iter().copied().min_by(|a, b| a.1.total_cmp(&b.1))
    }
}

/// Probes all parallel sums of a plan.
pub(super) fn prove(plan: &Plan, sources: &Folder, threads: usize) -> Result<Vec<SumRecord>, Fault> {
    parallel_sums(plan).into_iter().map(|sum| sum.probe(plan, sources, threads)).collect()
}

/// A sum that one stem reaches by several ways.
struct ParallelSum {
    step: usize,
    stem: usize,
    /// Places of those ways in the sum's feed.
    ways: Vec<usize>,
}

/// Every sum with parallel ways, each with the stem that takes most of them, a stem without a delay of its own first.
fn parallel_sums(plan: &Plan) -> Vec<ParallelSum> {
    let stems: Vec<usize> = (0..plan.steps.len()).filter(|step| plan.steps[*step].role == Role::Stem).collect();
    let reached = reached_by(plan, &stems);
    let mut sums = Vec::new();
    for (index, step) in plan.steps.iter().enumerate() {
        let Feed::Sum(inputs) = &step.feed else { continue };
        let ways_of = |stem: usize| -> Vec<usize> {
            (0..inputs.len()).filter(|way| !inputs[*way].law.muted && reached[inputs[*way].from][stem]).collect()
        };
        let busiest = (0..stems.len())
            .map(|stem| (stem, ways_of(stem)))
            .rev()
            .max_by_key(|(stem, ways)| (ways.len(), plan.steps[stems[*stem]].delay_frames == 0));
        if let Some((stem, ways)) = busiest.filter(|(_, ways)| ways.len() > 1) {
            sums.push(ParallelSum { step: index, stem: stems[stem], ways });
        }
    }
    sums
}

impl ParallelSum {
    fn probe(&self, whole: &Plan, sources: &Folder, threads: usize) -> Result<SumRecord, Fault> {
        let mut plan = Plan { song_frames: (2 * WINDOW + SHIFT) as u64, tail_frames: 0, ..whole.clone() };
        for (index, step) in plan.steps.iter_mut().enumerate() {
            if let Feed::File { path, starts_at } = &mut step.feed {
                *path = if index == self.stem { "probe".to_owned() } else { String::new() };
                *starts_at = 0;
            }
        }
        let taps: Vec<usize> = self.ways.iter().map(|way| plan.probe(self.step, &|other| other == *way)).collect();
        let hear = |probe: Vec<Frame>| -> Result<Vec<Vec<Frame>>, Fault> {
            let mut kept: Vec<Keep> = taps.iter().map(|_| Keep::default()).collect();
            let sinks = kept.iter_mut().map(|keep| Box::new(keep) as Box<dyn Sink + '_>).collect();
            let sources = Probe { sources, probe };
            Stream::open(&plan, &sources, &taps, &Setup::default())?.run(threads, sinks, &|_| ())?;
            Ok(kept.into_iter().map(|keep| keep.0).collect())
        };
        let (clicks, noise) = (hear(clicks())?, noise());
        let hisses = hear(noise.clone())?;
        let inputs = match &whole.steps[self.step].feed {
            Feed::Sum(inputs) => &inputs[..],
            Feed::File { .. } => &[],
        };
        let heard = self.ways.iter().zip(clicks.iter().zip(&hisses));
        let ways: Vec<WayRecord> = heard
            .map(|(way, (click, hiss))| way_record(whole, inputs[*way].from, self.stem, click, &noise, hiss))
            .collect();
        Ok(self.record(whole, ways, &clicks))
    }

    fn record(&self, plan: &Plan, ways: Vec<WayRecord>, clicks: &[Vec<Frame>]) -> SumRecord {
        let straight = || ways.iter().zip(clicks).filter(|(way, _)| !way.on_purpose && way.arrives_samples.is_some());
        let arrivals: Vec<f64> = straight().filter_map(|(way, _)| way.arrives_samples).collect();
        let ends = arrivals.iter().fold(None, |ends: Option<[f64; 2]>, at| {
            Some(ends.map_or([*at, *at], |[first, last]| [first.min(*at), last.max(*at)]))
        });
        let responses: Vec<&[Frame]> = straight().map(|(_, click)| &click[..WINDOW]).collect();
        let phase_loss_db =
            if responses.len() > 1 { arrival::phase_loss_db(&responses, plan.rate_hz) } else { Vec::new() };
        SumRecord {
            bus: plan.steps[self.step].name.clone(),
            stem: plan.steps[self.stem].name.clone(),
            apart_samples: ends.filter(|_| arrivals.len() > 1).map(|[first, last]| last - first),
            phase_loss_db,
            ways,
        }
    }
}

fn way_record(plan: &Plan, from: usize, stem: usize, click: &[Frame], noise: &[Frame], hiss: &[Frame]) -> WayRecord {
    let (first, second) = (&click[..WINDOW], &click[WINDOW + SHIFT..]);
    let found = arrival::arrival(first, ORIGIN);
    let power = |frames: &[Frame]| frames.iter().map(|x| x[0] * x[0] + x[1] * x[1]).sum::<f64>();
    let rest: Vec<Frame> = first.iter().zip(second).map(|(a, b)| [a[0] - b[0], a[1] - b[1]]).collect();
    let fit = align(noise, hiss, MOST_DELAY_FRAMES);
    WayRecord {
        from: plan.steps[from].name.clone(),
        on_purpose: late_on_purpose(plan, from, stem),
        arrives_samples: found.map(|found| rounded(found.delay_samples)),
        by_noise_samples: fit.map(|fit| rounded(fit.delay_samples)),
        polarity: found.map(|found| found.polarity),
        moves: power(&rest) > MOVING * power(first),
    }
}

fn rounded(samples: f64) -> f64 {
    (samples * 1000.0).round() / 1000.0 + 0.0
}

/// Whether something between the stem (left out) and the end of a step is late on purpose.
fn late_on_purpose(plan: &Plan, step: usize, stem: usize) -> bool {
    let mut open = vec![step];
    let mut seen = vec![false; plan.steps.len()];
    while let Some(at) = open.pop() {
        if std::mem::replace(&mut seen[at], true) || at == stem {
            continue;
        }
        let step = &plan.steps[at];
        let space = |link: &engine::PlanLink| !link.off && SPACES.contains(&link.settings.spec().name);
        // Other stems are silent: their delays do not count.
        if step.role != Role::Stem && (step.delay_frames > 0 || step.links.iter().any(space)) {
            return true;
        }
        if let Feed::Sum(inputs) = &step.feed {
            open.extend(inputs.iter().map(|input| input.from));
        }
    }
    false
}

/// The probe's two impulses, in the left channel, so that what lives in the side alone is heard too.
fn clicks() -> Vec<Frame> {
    let mut frames = vec![SILENCE; 2 * WINDOW + SHIFT];
    frames[ORIGIN] = [IMPULSE, 0.0];
    frames[WINDOW + SHIFT + ORIGIN] = [IMPULSE, 0.0];
    frames
}

/// Unrelated noise in both channels, even.
fn noise() -> Vec<Frame> {
    let mut state = 1;
    let mut next = || NOISE * 3f64.sqrt() * (2.0 * share(next(&mut state)) - 1.0);
    (0..2 * WINDOW).map(|_| [next(), next()]).collect()
}

/// Plays the probe for the file of that name, and silence for all others; impulse responses come from their files.
struct Probe<'a> {
    sources: &'a Folder,
    probe: Vec<Frame>,
}

impl Facts for Probe<'_> {
    fn frames(&self, _: &str) -> Result<u64, Fault> {
        Ok(self.probe.len() as u64)
    }

    fn audio(&self, file: &str) -> Result<Arc<[Vec<f64>]>, Fault> {
        self.sources.audio(file)
    }
}

impl Sources for Probe<'_> {
    fn open(&self, file: &str) -> Result<Box<dyn Playback>, Fault> {
        let frames = if file.is_empty() { Vec::new() } else { self.probe.clone() };
        Ok(Box::new(Playing { frames, at: 0 }))
    }
}

struct Playing {
    frames: Vec<Frame>,
    at: usize,
}

impl Playback for Playing {
    fn read(&mut self, out: &mut [Frame]) -> Result<usize, Fault> {
        let count = out.len().min(self.frames.len() - self.at);
        out[..count].copy_from_slice(&self.frames[self.at..self.at + count]);
        self.at += count;
        Ok(count)
    }
}

#[derive(Default)]
struct Keep(Vec<Frame>);

impl Sink for &mut Keep {
    fn take(&mut self, taken: &Taken<'_>) -> Result<(), Fault> {
        self.0.extend_from_slice(taken.lane(0));
        Ok(())
    }
}

/// Findings of one sum.
///
/// Codes `late-path` (two ways half a sample apart or more), `turned-path` (one is upside down against the first),
/// `moving-path` (one is never the same twice, so that the sum is not either) and `hollow-sum` (a third octave loses more
/// than a decibel to the phase of filters on the ways). All common practice, no source.
pub(super) fn findings(sum: &SumRecord) -> Vec<Problem> {
    let at = format!("bus {}", sum.bus);
    let mut found = Vec::new();
    let mut add = |severity, code, message: String, remedy: &str| {
        found.push(Problem::new(severity, code, &at, message, remedy.to_owned()));
    };
    let straight: Vec<&WayRecord> = sum.ways.iter().filter(|way| !way.on_purpose).collect();
    for way in straight.iter().filter(|way| way.moves) {
        let message =
            format!("The path by “{}” moves by itself, so that its sum in “{}” is never the same.", way.from, sum.bus);
        add(Severity::Warn, "moving-path", message, "Take wow, flutter or modulation out of the parallel path.");
    }
    let still: Vec<&&WayRecord> = straight.iter().filter(|way| !way.moves).collect();
    let arrivals = || still.iter().filter_map(|way| Some((way.arrives_samples?, *way)));
    let latest = arrivals().max_by(|a, b| a.0.total_cmp(&b.0));
    let first = arrivals().min_by(|a, b| a.0.total_cmp(&b.0));
    if let (Some((late, way)), Some((early, _))) = (latest, first)
        && late - early >= APART_SAMPLES
    {
        let message =
            format!("The path by “{}” comes {:.1} samples after the first into “{}”.", way.from, late - early, sum.bus);
        add(
            Severity::Warn,
            "late-path",
            message,
            "Delay the other path by as much, or take the processor out that is late.",
        );
    }
    if let Some(upright) = still.iter().find_map(|way| way.polarity) {
        for way in still.iter().filter(|way| way.polarity.is_some_and(|polarity| polarity != upright)) {
            let message =
                format!("The path by “{}” has inverted polarity against the others into “{}”.", way.from, sum.bus);
            add(Severity::Warn, "turned-path", message, "Invert its polarity, unless it is meant to take away.");
        }
    }
    let turned = found.iter().any(|finding| finding.code == "turned-path" || finding.code == "late-path");
    if let Some((hz, db)) = sum.deepest().filter(|(_, db)| *db < HOLLOW_DB && !turned) {
        let message = format!("Filters on the paths into “{}” take {:.1} dB at {hz} Hz by their phase.", sum.bus, -db);
        let remedy = "Use a linear-phase cut in the parallel path, or keep the path out of that band.".to_owned();
        found.push(Problem::new(Severity::Note, "hollow-sum", &at, message, remedy));
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn way(from: &str, arrives: f64) -> WayRecord {
        WayRecord {
            from: from.to_owned(),
            on_purpose: false,
            arrives_samples: Some(arrives),
            by_noise_samples: Some(arrives),
            polarity: Some(Polarity::Normal),
            moves: false,
        }
    }

    fn codes(ways: Vec<WayRecord>) -> Vec<&'static str> {
        let sum = SumRecord {
            bus: "mix".to_owned(),
            stem: "kick".to_owned(),
            ways,
            apart_samples: None,
            phase_loss_db: vec![(1000.0, -0.2)],
        };
        findings(&sum).into_iter().map(|finding| finding.code).collect()
    }

    #[test]
    fn a_path_that_is_late_without_being_meant_to_is_told() {
        assert_eq!(codes(vec![way("main", 0.0), way("crush", 0.0)]), [""; 0]);
        assert_eq!(codes(vec![way("main", 0.0), way("crush", 32.0)]), ["late-path"]);
        let meant = WayRecord { on_purpose: true, ..way("room", 1200.0) };
        assert_eq!(codes(vec![way("main", 0.0), meant]), [""; 0]);
        let turned = WayRecord { polarity: Some(Polarity::Inverted), ..way("crush", 0.0) };
        assert_eq!(codes(vec![way("main", 0.0), turned]), ["turned-path"]);
    }
}
