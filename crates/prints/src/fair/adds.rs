//! What a stem, a bus or the chain of a print adds to the song, and each processor in it: a passage of a print with it and
//! without, at the gain and ceiling that were found for the print as it is.
//!
//! All versions are variants in one plan and one render ([`engine::Changes`]), so that only what hangs on a part is
//! computed again. What changes is stated as [`Change`] states it: bands at matched loudness. A processor is heard in its
//! place too, ahead of it and behind it.

use std::sync::atomic::AtomicBool;

use engine::{Apart, Changes, Fault, Feed, Folder, Input, LinkPlace, Plan, Port, Setup, Sink, Stream, Taken};
use measure::blend::{Part, PartMeter};
use sheet::Sheet;

use crate::advise::Change;
use crate::survey::Stop;

/// What is rendered ahead of the passage and not counted, so that spaces and dynamics have their history.
const AHEAD_S: f64 = 2.0;
/// No more of a passage than this is heard.
const LONGEST_S: f64 = 30.0;
/// And no less: momentary loudness needs 0.4 s (ITU-R BS.1770).
const SHORTEST_S: f64 = 1.0;

/// What to weigh.
pub struct Weighing<'a> {
    /// The sheet.
    pub sheet: &'a Sheet,
    /// Its plan, with what was found for the ends of its prints ([`Plan::settle`]), and muted what the sheet mutes.
    pub plan: &'a Plan,
    /// Where the recordings are.
    pub sources: &'a Folder,
    /// The print to hear it in, if it gets there; else the first that it reaches.
    pub print: &'a str,
    /// Name of a stem, bus or print.
    pub part: &'a str,
    /// The passage.
    pub span_s: (f64, f64),
    /// Threads to share the work among.
    pub threads: usize,
    /// Set by anyone to end it early, with a fault.
    pub stop: &'a AtomicBool,
}

/// What a part adds to a print over a passage.
#[derive(Clone, Debug, PartialEq)]
pub struct Adds {
    /// The print.
    pub print: String,
    /// What was heard of the passage.
    pub span_s: (f64, f64),
    /// The print with the part against the print without it; a print has its chain for a part.
    pub whole: Change,
    /// The bus that it joins, and its loudness there over that of all else.
    pub over_rest: Option<(String, f64)>,
    /// Each processor of its chain, in order; none for one that is taken out.
    pub processors: Vec<Option<Added>>,
}

/// What a processor adds.
#[derive(Clone, Debug, PartialEq)]
pub struct Added {
    /// Behind it against ahead of it.
    pub in_place: Change,
    /// The print with it against the print without it.
    pub in_print: Change,
}

/// Weighs a part. None if there is nothing by that name, or if it reaches no print.
///
/// # Errors
/// A file cannot be read, or it was stopped.
pub fn adds(weighing: &Weighing<'_>) -> Result<Option<Adds>, Fault> {
    let Some(scale) = Scale::new(weighing) else { return Ok(None) };
    let rate_hz = weighing.plan.rate_hz;
    let frame = |secs: f64| (secs * rate_hz).round() as i64;
    let (from_s, to_s) = weighing.span_s;
    let from_s = from_s.clamp(0.0, weighing.plan.song_frames as f64 / rate_hz);
    let to_s = to_s.clamp(from_s + SHORTEST_S, from_s + LONGEST_S);
    let ahead = frame(AHEAD_S);
    let plan = scale.apart.plan.passage(frame(from_s) - ahead, (ahead + frame(to_s - from_s)).unsigned_abs());
    let outputs = scale.outputs();
    let ear = |_: &usize| Ear { skip: ahead.unsigned_abs() as usize, meter: PartMeter::new(rate_hz) };
    let mut ears: Vec<Ear> = outputs.iter().map(ear).collect();
    let mut sinks: Vec<Box<dyn Sink + '_>> = vec![Box::new(Stop(weighing.stop))];
    sinks.extend(ears.iter_mut().map(|ear| Box::new(ear) as Box<dyn Sink>));
    let heard: Vec<usize> = outputs.first().into_iter().chain(&outputs).copied().collect();
    let stream = Stream::open(&plan, weighing.sources, &heard, &Setup::default())?;
    stream.run(weighing.threads, sinks, &|_| ())?;
    let parts: Vec<Part> = ears.into_iter().map(|ear| ear.meter.finish()).collect();
    let of = |step: usize| outputs.iter().position(|output| *output == step).map(|place| &parts[place]);
    let change = |[before, after]: [usize; 2]| {
        of(before).zip(of(after)).map(|(before, after)| Change::between(before, after)).unwrap_or_default()
    };
    let lufs = |step: usize| of(step).and_then(|part| part.loudness.integrated_lufs());
    let over_rest = scale.joins.as_ref().and_then(|(sum, [own, rest])| Some((sum.clone(), lufs(*own)? - lufs(*rest)?)));
    let added = |tap: &Option<Tap>| {
        tap.as_ref()
            .map(|tap| Added { in_place: change([tap.before, tap.after]), in_print: change([tap.without, scale.with]) })
    };
    Ok(Some(Adds {
        print: scale.print.clone(),
        span_s: (from_s, to_s),
        whole: change([scale.without, scale.with]),
        over_rest,
        processors: scale.taps.iter().map(added).collect(),
    }))
}

/// Where everything is heard.
struct Scale {
    apart: Apart,
    print: String,
    with: usize,
    without: usize,
    joins: Option<(String, [usize; 2])>,
    taps: Vec<Option<Tap>>,
}

/// Where a processor is heard.
struct Tap {
    before: usize,
    after: usize,
    /// The end of the print without it.
    without: usize,
}

impl Scale {
    fn new(weighing: &Weighing<'_>) -> Option<Self> {
        let Weighing { plan, part, .. } = *weighing;
        let mut apart = plan.apart();
        let links = links_of(plan, &apart, part);
        let is_print = plan.prints.iter().any(|port| port.name == part);
        let gone = if is_print {
            let own = plan
                .prints
                .iter()
                .filter(|port| port.name == part)
                .flat_map(|port| [Some(port.step), port.solve_after]);
            let own: Vec<usize> = own.flatten().collect();
            let bypassed = apart.links.iter().filter(|place| own.contains(&place.step)).map(|place| place.after);
            Changes { bypassed: bypassed.collect(), ..Changes::default() }
        } else {
            Changes { muted: vec![part.to_owned()], ..Changes::default() }
        };
        let mut ports: Vec<Port> = apart.plan.prints.clone();
        ports.retain(|port| !is_print || port.name == part);
        ports.sort_by_key(|port| port.name != weighing.print);
        let (port, without) = ports.into_iter().find_map(|port| {
            let without = apart.plan.variant(&port, "without", &gone).step;
            (without != port.step).then_some((port, without))
        })?;
        let taps = links.into_iter().map(|place| {
            if plan.steps[place.step].links[place.link].off {
                return None;
            }
            let bypassed = Changes { bypassed: vec![place.after], ..Changes::default() };
            let without = apart.plan.variant(&port, "without", &bypassed).step;
            Some(Tap { before: place.before, after: place.after, without })
        });
        let taps = taps.collect();
        let joins = joins(weighing, &mut apart);
        Some(Self { apart, print: port.name, with: port.step, without, joins, taps })
    }

    fn outputs(&self) -> Vec<usize> {
        let taps = self.taps.iter().flatten().flat_map(|tap| [tap.before, tap.after, tap.without]);
        let joins = self.joins.iter().flat_map(|(_, steps)| *steps);
        let mut all: Vec<usize> = [self.with, self.without].into_iter().chain(joins).chain(taps).collect();
        all.sort_unstable();
        all.dedup();
        all
    }
}

/// The processors of a node or print, in the order of its chain. The gain that a print's loudness decides is none of them.
fn links_of(plan: &Plan, apart: &Apart, part: &str) -> Vec<LinkPlace> {
    let port = plan.prints.iter().find(|port| port.name == part);
    let own = |place: &&LinkPlace| match port {
        Some(port) if port.solve_after.is_some() && place.step == port.step => place.link > 0,
        Some(port) => place.step == port.step || Some(place.step) == port.solve_after,
        None => plan.step_of(part) == Some(place.step),
    };
    apart.links.iter().filter(own).copied().collect()
}

/// The bus that a node joins, with a step that hears it alone there, and one that hears all else.
fn joins(weighing: &Weighing<'_>, apart: &mut Apart) -> Option<(String, [usize; 2])> {
    let Weighing { sheet, plan, part, .. } = *weighing;
    let to = sheet.node(part)?.1.to.as_ref()?;
    let (from, sum) = (plan.step_of(part)?, plan.step_of(to)?);
    let (end, head, arrives) = (apart.ends[from], apart.heads[sum], plan.steps[sum].arrives);
    let Feed::Sum(inputs) = &apart.plan.steps[head].feed else { return None };
    let (own, rest): (Vec<Input>, Vec<Input>) = inputs.iter().cloned().partition(|input| input.from == end);
    if own.is_empty() || rest.is_empty() {
        return None;
    }
    let steps = [own, rest].map(|inputs| apart.plan.listen("part of a sum", inputs, arrives));
    Some((to.as_str().to_owned(), steps))
}

/// A meter that leaves out what is ahead of the passage.
struct Ear {
    skip: usize,
    meter: PartMeter,
}

impl Sink for &mut Ear {
    fn take(&mut self, taken: &Taken<'_>) -> Result<(), Fault> {
        let frames = taken.lane(0);
        let skipped = self.skip.min(frames.len());
        self.skip -= skipped;
        self.meter.push(&frames[skipped..]);
        Ok(())
    }
}
