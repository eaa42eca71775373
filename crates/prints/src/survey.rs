//! What is known of a sheet's sound before it is printed: the loudness of every part over time, and how each print ends.
//!
//! A survey renders all that a print run renders, and writes no file that stays. What a codec makes of a print is left
//! out: its ceiling is the sheet's.

use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

use engine::{Fault, Folder, Plan, Port, Setup, Sink, Stream, Taken};
use measure::{LoudnessMeter, LoudnessPoint};
use serde::Serialize;
use sheet::{Print, Sheet};

use crate::ending::Ending;
use crate::files;
use crate::finish::{Head, target};
use crate::spool::{Gauge, Gauged, LoudnessSink, Spool};

/// The sound of something that can be heard as a whole.
#[derive(Clone, Debug, Serialize)]
pub struct Programme {
    /// Its name.
    pub name: String,
    /// Integrated loudness; none for silence.
    pub integrated_lufs: Option<f64>,
    /// Loudness range.
    pub loudness_range_lu: Option<f64>,
    /// True peak; none for silence.
    pub true_peak_dbtp: Option<f64>,
    /// Momentary and short-term loudness ten times a second.
    pub history: Vec<LoudnessPoint>,
    /// For a print whose loudness was to be reached: the gain ahead of its last part, and the ceiling.
    pub ending: Option<(f64, Option<f64>)>,
}

/// A stem or bus over time.
#[derive(Clone, Debug, Serialize)]
pub struct Part {
    /// Its name.
    pub name: String,
    /// Momentary and short-term loudness behind its chain, ahead of its level, ten times a second.
    pub history: Vec<LoudnessPoint>,
}

/// What was found.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Survey {
    /// Prints, then references, in the order of the sheet.
    pub programmes: Vec<Programme>,
    /// Stems and buses that any print needs.
    pub parts: Vec<Part>,
}

/// How a survey is made.
pub struct Course<'a> {
    /// Threads to share the work among.
    pub threads: usize,
    /// Set by anyone to end it early, with a fault.
    pub stop: &'a AtomicBool,
    /// Told the part that is done.
    pub progress: &'a (dyn Fn(f64) + Sync),
}

/// Surveys a sheet by its plan.
///
/// # Errors
/// A file cannot be read, the machine is out of room, or the survey was stopped.
pub fn survey(
    sheet: &Sheet,
    plan: &Plan,
    (folder, sources): (&Path, &Folder),
    course: &Course<'_>,
) -> Result<Survey, Fault> {
    let work = tempfile::tempdir().map_err(|error| crate::revision::machine(&std::env::temp_dir(), &error))?;
    let ports: Vec<(&Print, &Port)> =
        plan.prints.iter().filter_map(|port| Some((sheet.print(&port.name)?, port))).collect();
    let (heads, parts) = render(plan, sources, &ports, work.path(), course)?;
    let mut programmes = Vec::new();
    for ((print, port), head) in ports.into_iter().zip(heads) {
        programmes.push(ended(sheet, plan, (print, port), head, (folder, work.path()), course)?);
    }
    for reference in &sheet.references {
        let gauged = gauge_of(&folder.join(reference.file.as_str()), course)?;
        programmes.push(Programme::of(reference.name.as_str(), &gauged, None));
    }
    (course.progress)(1.0);
    Ok(Survey { programmes, parts })
}

impl Programme {
    fn of(name: &str, gauged: &Gauged, ending: Option<(f64, Option<f64>)>) -> Self {
        Self {
            name: name.to_owned(),
            integrated_lufs: gauged.loudness.integrated_lufs(),
            loudness_range_lu: gauged.loudness.loudness_range_lu(),
            true_peak_dbtp: gauged.true_peak_dbtp,
            history: gauged.loudness.history(),
            ending,
        }
    }
}

/// One render: each print as far as the gain that is to be found, and the loudness of every node.
fn render(
    plan: &Plan,
    sources: &Folder,
    ports: &[(&Print, &Port)],
    work: &Path,
    course: &Course<'_>,
) -> Result<(Vec<Head>, Vec<Part>), Fault> {
    if ports.is_empty() {
        return Ok(Default::default());
    }
    let frames = plan.print_frames();
    let ends: Vec<usize> = ports.iter().map(|(_, port)| port.solve_after.unwrap_or(port.step)).collect();
    let needed = plan.needed_for(&ends);
    let is_node = |step: &engine::Step| matches!(step.role, engine::Role::Stem | engine::Role::Bus);
    let nodes: Vec<usize> = (0..plan.steps.len()).filter(|step| needed[*step] && is_node(&plan.steps[*step])).collect();
    let names: Vec<String> = (0..ends.len()).map(|index| format!("head{index}.wav")).collect();
    let mut spools = Vec::new();
    for name in &names {
        spools.push(Spool::create(&work.join(name), plan.rate_hz as u32, frames)?);
    }
    let mut gauges: Vec<Gauge> = ends.iter().map(|_| Gauge::new(plan.rate_hz, frames)).collect();
    let mut meters: Vec<LoudnessSink> = nodes.iter().map(|_| LoudnessSink::new(plan.rate_hz)).collect();
    let mut sinks: Vec<Box<dyn Sink + '_>> = vec![Box::new(Stop(course.stop))];
    let outputs = ends.first().into_iter().chain(&ends).chain(&ends).chain(&nodes).copied().collect::<Vec<_>>();
    sinks.extend(spools.iter_mut().map(|spool| Box::new(spool) as Box<dyn Sink>));
    sinks.extend(gauges.iter_mut().map(|gauge| Box::new(gauge) as Box<dyn Sink>));
    sinks.extend(meters.iter_mut().map(|meter| Box::new(meter) as Box<dyn Sink>));
    let stream = Stream::open(plan, sources, &outputs, &Setup::default())?;
    stream.run(course.threads, sinks, &|part| (course.progress)(0.7 * part))?;
    for spool in spools {
        spool.finish()?;
    }
    let heads = names.into_iter().zip(gauges).map(|(spool, gauge)| Head { spool, gauged: gauge.finish() }).collect();
    let part = |(step, meter): (&usize, LoudnessSink)| Part {
        name: plan.steps[*step].name.clone(),
        history: meter.0.history(),
    };
    Ok((heads, nodes.iter().zip(meters).map(part).collect()))
}

/// A print to its end: as it is, or with the gain that its loudness needs.
fn ended(
    sheet: &Sheet,
    plan: &Plan,
    (print, port): (&Print, &Port),
    head: Head,
    (folder, work): (&Path, &Path),
    course: &Course<'_>,
) -> Result<Programme, Fault> {
    if port.solve_after.is_none() {
        return Ok(Programme::of(&port.name, &head.gauged, None));
    }
    check(course.stop)?;
    let (target_lufs, words) = target(sheet, folder, print)?;
    let ending = Ending {
        plan,
        port,
        work,
        rate_hz: sheet.song.rate_hz,
        threads: course.threads,
        progress: &|_| (),
        kept: None,
    };
    let print = Print { survive: Vec::new(), ..print.clone() };
    let ((), ended) = ending.find(&print, &head, target_lufs, words, &|_| Ok(()))?;
    let found = ended.solved.map(|solved| (solved.gain_db, solved.ceiling_dbtp));
    Ok(Programme::of(&port.name, &ended.gauged, found))
}

fn gauge_of(path: &Path, course: &Course<'_>) -> Result<Gauged, Fault> {
    check(course.stop)?;
    let mut gauge: Option<Gauge> = None;
    files::read_through(path, &mut |info, frames| {
        gauge.get_or_insert_with(|| Gauge::new(f64::from(info.rate_hz), info.frames)).push(frames);
    })?;
    let silent = || Gauged { loudness: LoudnessMeter::new(48_000.0), true_peak_dbtp: None, outline: Vec::new() };
    Ok(gauge.map_or_else(silent, Gauge::finish))
}

/// Ends a render when it is told to.
pub(crate) struct Stop<'a>(pub(crate) &'a AtomicBool);

impl Sink for Stop<'_> {
    fn take(&mut self, _: &Taken<'_>) -> Result<(), Fault> {
        check(self.0)
    }
}

/// A fault once it was set.
pub(crate) fn check(stop: &AtomicBool) -> Result<(), Fault> {
    if stop.load(Ordering::Relaxed) {
        let message = "It was stopped.".to_owned();
        return Err(Fault::input("stopped", "song", message, "Start it again.".to_owned()));
    }
    Ok(())
}
