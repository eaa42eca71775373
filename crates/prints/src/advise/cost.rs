//! What loudness costs: the end of a print at many gains.
//!
//! What comes out ahead of a print's limiter is kept, and its end is rendered again from there, a decibel at a time.
//! A long song is stood for by cells (see [`super::cells`]); one render of the whole at the gain that the print asks for
//! proves it, and what it reads apart from the cells stands in the record. That render is the print as it will be: whatever
//! else is asked about it is asked there.
//!
//! - **Reduction**: power out over power in, in windows of 10 ms with the gain taken off; the most, and what 5 % of the
//!   windows exceed. The clipper's is its declared share of the highest peak's excess.
//! - **Distortion**: what is left of the output when the input, at a gain that moves in straight lines from window to
//!   window, is taken away, over the output. An estimate: it holds clipping and gain that moves faster than 50 Hz.
//! - **Codec**: true peak of what a listener decodes after a round trip.
//! - **Knee**: the loudness from which a decibel more gain gives less than 0.7 LU.
//!
//! Reduction, distortion and knee are common practice, no source.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use engine::{Fault, Folder, Plan, Port, Setup, Sink, Stream, Taken};
use measure::{LoudnessMeter, TruePeakMeter};
use media::codec;
use serde::Serialize;
use sheet::{Loudness, Print};
use units::{Frame, Problem, Severity, db_from_gain, db_from_power, gain_from_db};

use super::cells::{cells, read_spans, write_spool};
use super::codecs::{self, CodecRecord, Trip};
use super::hear::{self, Heard, Hearing, Wants, spool_name};
use super::taps::Taps;
use crate::files::{self, codec_of};
use crate::revision::machine;
use crate::solve::GAIN_RANGE_DB;
use crate::spool::media_fault;

/// Loudness that is looked at, from softest to loudest.
const RANGE_LUFS: [f64; 2] = [-16.0, -6.0];
/// Gains that are tried at most, a decibel apart.
const MOST_GAINS: usize = 16;
/// Windows in which gain is followed.
const WINDOW_S: f64 = 0.01;
/// Windows softer than this are left out.
const SOFTEST_DB: f64 = -50.0;
/// Loudness gained from a decibel of gain, at the knee.
const KNEE: f64 = 0.7;
/// Under this, more gain gives no more loudness, and the curve ends.
const EXHAUSTED: f64 = 0.1;
/// Codec that is tried where the print names none: `mp3 192`.
const USUAL_KBPS: u32 = 192;
/// How far beyond its knee a print is worth a warning, in LU. Common practice, no source.
const FAR_BEYOND_LU: f64 = 3.0;

/// Loudness to which players turn programmes down. -14 and -16 LUFS: AES TD1008 (2021), loudest track of an album, and
/// track; -23: EBU R 128; -11 and -19: louder and quieter modes, common practice, no source.
pub const TARGETS_LUFS: [f64; 5] = [-11.0, -14.0, -16.0, -19.0, -23.0];

/// A print at one gain.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CostPoint {
    /// Gain ahead of the limiter.
    pub gain_db: f64,
    /// Integrated loudness.
    pub lufs: f64,
    /// True peak.
    pub true_peak_dbtp: f64,
    /// True peak less loudness.
    pub plr_db: f64,
    /// The limiter's strongest reduction.
    pub reduction_most_db: f64,
    /// Reduction that 5 % of all windows exceed.
    pub reduction_loud_db: f64,
    /// The clipper's share of the highest peak.
    pub clipper_most_db: f64,
    /// Distortion.
    pub distortion_percent: f64,
    /// True peak after the codec.
    pub codec_dbtp: f64,
    /// True peak once a player has turned it down to each of [`TARGETS_LUFS`].
    pub normalised_dbtp: Vec<f64>,
}

/// The cost of loudness of one print.
#[derive(Clone, Debug, Serialize)]
pub struct CostRecord {
    /// The print.
    pub print: String,
    /// Seconds that were rendered, and seconds that they stand for.
    pub secs: [f64; 2],
    /// Loudness of the whole less that of the cells, at one gain; none where the whole was rendered.
    pub whole_less_cells_lu: Option<f64>,
    /// Ceiling of the limiter.
    pub ceiling_dbtp: Option<f64>,
    /// The codec.
    pub codec: String,
    /// The print at each gain.
    pub points: Vec<CostPoint>,
    /// Loudness at the knee; none if it lies beyond what was looked at.
    pub knee_lufs: Option<f64>,
    /// Loudness that the print asks for.
    pub target_lufs: Option<f64>,
    /// Names and loudness of references.
    pub references: Vec<(String, f64)>,
    /// [`TARGETS_LUFS`].
    pub players_lufs: Vec<f64>,
    /// The print after codecs of several rates, at the loudness that it asks for.
    pub codecs: Vec<CodecRecord>,
}

impl CostRecord {
    /// A figure at a loudness, by straight lines between points.
    #[must_use]
    pub fn at(&self, lufs: f64, of: impl Fn(&CostPoint) -> f64) -> Option<f64> {
        between(&self.points, lufs, of)
    }
}

fn between(points: &[CostPoint], lufs: f64, of: impl Fn(&CostPoint) -> f64) -> Option<f64> {
    let next = points.windows(2).find(|pair| (pair[0].lufs..=pair[1].lufs).contains(&lufs))?;
    let part = (lufs - next[0].lufs) / (next[1].lufs - next[0].lufs).max(1e-9);
    Some(of(&next[0]) + part * (of(&next[1]) - of(&next[0])))
}

/// The gain for a loudness; out of reach, the one that comes nearest.
fn gain_for(points: &[CostPoint], lufs: f64) -> f64 {
    let near = |point: &&CostPoint| (point.lufs - lufs).abs();
    let nearest = || points.iter().min_by(|a, b| near(a).total_cmp(&near(b))).map_or(0.0, |point| point.gain_db);
    between(points, lufs, |point| point.gain_db).unwrap_or_else(nearest)
}

/// What is heard ahead of a print's end.
pub(super) struct HeadTap<'a> {
    print: &'a Print,
    port: &'a Port,
    head: usize,
}

/// Taps ahead of the end of every print whose loudness is to be found.
pub(super) fn ask<'a>(taps: &mut Taps<'a>) -> Vec<HeadTap<'a>> {
    let (sheet, whole) = (taps.sheet, taps.whole);
    let heads = whole.prints.iter().filter_map(|port| {
        let print = sheet.prints.iter().find(|print| print.name == *port.name.as_str())?;
        whole.ceiling_dbtp(port)?;
        Some((print, port, port.solve_after?))
    });
    heads
        .map(|(print, port, step)| {
            let end = taps.apart.ends[step];
            HeadTap { print, port, head: taps.want(end, Wants::SPOOL) }
        })
        .collect()
}

/// Names and loudness of the sheet's references.
pub(super) fn references(sheet: &sheet::Sheet, folder: &Path) -> Result<Vec<(String, f64)>, Fault> {
    let measured = sheet.references.iter().map(|reference| {
        let (_, measured) = files::measure_file(&folder.join(reference.file.as_str()), &|_| ())?;
        Ok((reference.name.as_str().to_owned(), measured.measures.integrated_lufs))
    });
    let all: Vec<(String, Option<f64>)> = measured.collect::<Result<_, Fault>>()?;
    Ok(all.into_iter().filter_map(|(name, lufs)| Some((name, lufs?))).collect())
}

impl HeadTap<'_> {
    /// Findings of the print.
    pub(super) fn findings(&self, record: &CostRecord) -> Vec<Problem> {
        finding(record).into_iter().chain(codecs::finding(self.print, &record.codecs, record.ceiling_dbtp)).collect()
    }

    /// The first codec that the print is to survive, or the usual one.
    fn codec(&self) -> codec::CodecChoice {
        self.print.survive.first().map_or(codec::CodecChoice::Mp3(files::kbps_of(USUAL_KBPS)), codec_of)
    }

    /// Writes what a codec adds to the whole print and takes from it, at its own level: the first codec of `survive`, or
    /// the usual one.
    pub(super) fn write_residual(&self, bench: &Bench<'_>, record: &CostRecord, path: &Path) -> Result<(), Fault> {
        let rate_hz = bench.plan.rate_hz as u32;
        let frames = read_spans(&bench.work.join(spool_name(self.head)), &[[0.0, record.secs[1]]], bench.plan.rate_hz)?;
        let choice = self.codec();
        let file = spool_name(self.head);
        let run = Run { bench, tap: self, file: &file, sound: &frames, choice };
        let gain_db = record.target_lufs.and_then(|lufs| record.at(lufs, |point| point.gain_db)).unwrap_or(0.0);
        let print = run.end(&file, frames.len() as u64, gain_db, bench.threads)?.frames;
        let heard = codec::round_trip(&print, rate_hz, choice, bench.work).map_err(|error| media_fault(&error))?;
        let rest = codecs::residual(&print, &heard);
        let format = media::FileFormat::Wav(media::WavSample::Float32);
        let written = media::write_all(path, &format, rate_hz, &rest, &media::Metadata::default());
        written.map(|_| ()).map_err(|error| media_fault(&error))
    }
}

/// Where the renders happen.
pub(super) struct Bench<'a> {
    pub plan: &'a Plan,
    pub work: &'a Path,
    pub threads: usize,
    pub stop: &'a AtomicBool,
    pub progress: &'a (dyn Fn(f64) + Sync),
    /// Frames at which sections start.
    pub cuts: &'a [u64],
    /// What is wanted of the whole print at the gain that it asks for.
    pub wants: Wants,
}

/// A whole print at the gain that it asks for.
pub(super) struct WholePrint {
    pub heard: Heard,
    /// The folder that its signal lies in, if that was wanted.
    pub work: PathBuf,
}

/// The step of a print's end in a plan of its own.
pub(super) const END_STEP: usize = 1;

impl HeadTap<'_> {
    /// The print's name.
    pub(super) fn name(&self) -> &str {
        &self.print.name
    }

    /// The record of the print, and the whole of it; none if it is silent.
    pub(super) fn record(
        &self,
        bench: &Bench<'_>,
        heard: &Heard,
        references: &[(String, f64)],
    ) -> Result<Option<(CostRecord, WholePrint)>, Fault> {
        let loudness = &heard.parts[&self.head].loudness;
        let rate_hz = bench.plan.rate_hz;
        let whole_s = bench.plan.print_frames() as f64 / rate_hz;
        let spans = cells(loudness, whole_s);
        let sound = read_spans(&bench.work.join(spool_name(self.head)), &spans, rate_hz)?;
        let file = format!("cells of {}", spool_name(self.head));
        write_spool(&bench.work.join(&file), &sound, rate_hz as u32)?;
        let mut meter = LoudnessMeter::new(rate_hz);
        meter.push(&sound);
        let Some(start_db) = meter.gain_db_for(RANGE_LUFS[0]) else { return Ok(None) };
        let run = Run { bench, tap: self, file: &file, sound: &sound, choice: self.codec() };
        let points = run.points(start_db.ceil().max(GAIN_RANGE_DB[0]))?;
        let target_lufs = match &self.print.loudness {
            Some(Loudness::Lufs(lufs)) => Some(*lufs),
            Some(Loudness::Match(name)) => references.iter().find(|(other, _)| name == other.as_str()).map(|r| r.1),
            None => None,
        };
        let gain_db = target_lufs.map_or(0.0, |lufs| gain_for(&points, lufs));
        let ended = run.end(&file, sound.len() as u64, gain_db, bench.threads)?;
        let codecs = run.codecs(&ended, &spans)?;
        let whole = run.whole(gain_db)?;
        let lufs = [&whole.heard.parts[&END_STEP].loudness, &ended.loudness].map(LoudnessMeter::integrated_lufs);
        let whole_less_cells_lu = lufs[0].zip(lufs[1]).filter(|_| spans.len() > 1).map(|(whole, cells)| whole - cells);
        let record = CostRecord {
            print: self.print.name.as_str().to_owned(),
            secs: [sound.len() as f64 / rate_hz, whole_s],
            whole_less_cells_lu,
            ceiling_dbtp: bench.plan.ceiling_dbtp(self.port),
            codec: run.choice.to_string(),
            knee_lufs: knee(&points),
            points,
            target_lufs,
            references: references.to_vec(),
            players_lufs: TARGETS_LUFS.to_vec(),
            codecs,
        };
        Ok(Some((record, whole)))
    }

    fn clip_share(&self, plan: &Plan) -> f64 {
        let limiter = plan.steps[self.port.step].links.iter().rfind(|link| link.settings.spec().name == "limiter");
        let share = limiter.and_then(|link| {
            let (_, param) = link.settings.spec().param("clip_percent")?;
            Some(link.settings.number(param) / 100.0)
        });
        share.unwrap_or(0.0)
    }
}

/// Where the loudness gained from a decibel falls under [`KNEE`].
fn knee(points: &[CostPoint]) -> Option<f64> {
    let slope = |pair: &[CostPoint]| (pair[1].lufs - pair[0].lufs) / (pair[1].gain_db - pair[0].gain_db);
    points.windows(2).find(|pair| slope(pair) < KNEE).map(|pair| pair[0].lufs)
}

/// All renders of one print.
struct Run<'a> {
    bench: &'a Bench<'a>,
    tap: &'a HeadTap<'a>,
    file: &'a str,
    sound: &'a [Frame],
    choice: codec::CodecChoice,
}

/// What one render gives.
struct Ended {
    loudness: LoudnessMeter,
    frames: Vec<Frame>,
}

impl Sink for &mut Ended {
    fn take(&mut self, taken: &Taken<'_>) -> Result<(), Fault> {
        self.loudness.push(taken.lane(0));
        self.frames.extend_from_slice(taken.lane(0));
        Ok(())
    }
}

impl Run<'_> {
    /// Points from the softest gain up, as many threads at once as there are.
    fn points(&self, start_db: f64) -> Result<Vec<CostPoint>, Fault> {
        let (next, done) = (AtomicUsize::new(0), Mutex::new(Vec::<(usize, Result<CostPoint, Fault>)>::new()));
        let lock = || done.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        let work = || {
            loop {
                let index = next.fetch_add(1, Ordering::Relaxed);
                let enough =
                    |point: &Result<CostPoint, Fault>| point.as_ref().map_or(true, |p| p.lufs >= RANGE_LUFS[1]);
                let beyond = index >= MOST_GAINS || start_db + index as f64 > GAIN_RANGE_DB[1];
                if beyond || lock().iter().any(|(_, point)| enough(point)) {
                    return;
                }
                let point = self.point(start_db + index as f64);
                lock().push((index, point));
                (self.bench.progress)((index + 1) as f64 / MOST_GAINS as f64);
            }
        };
        std::thread::scope(|scope| {
            for _ in 1..self.bench.threads {
                scope.spawn(work);
            }
            work();
        });
        let mut all = done.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner);
        all.sort_by_key(|(index, _)| *index);
        let mut points: Vec<CostPoint> = all.into_iter().map(|(_, point)| point).collect::<Result<_, _>>()?;
        // The threads may have gone further than one; what stands must not hang on their number.
        if let Some(last) = points.iter().position(|point| point.lufs >= RANGE_LUFS[1]) {
            points.truncate(last + 1);
        }
        if let Some(last) = points.windows(2).position(|pair| pair[1].lufs - pair[0].lufs < EXHAUSTED) {
            points.truncate(last + 2);
        }
        Ok(points)
    }

    fn point(&self, gain_db: f64) -> Result<CostPoint, Fault> {
        let bench = self.bench;
        let ended = self.end(self.file, self.sound.len() as u64, gain_db, 1)?;
        let rate_hz = bench.plan.rate_hz;
        let lufs = ended.loudness.integrated_lufs().unwrap_or(f64::NEG_INFINITY);
        let true_peak_dbtp = true_peak_dbtp(&ended.frames);
        let heard = codec::round_trip(&ended.frames, rate_hz as u32, self.choice, bench.work)
            .map_err(|error| media_fault(&error))?;
        let (reductions, distortion) = follow(self.sound, &ended.frames, gain_from_db(gain_db), rate_hz);
        let peak = self.sound.iter().flatten().fold(0.0f64, |most, x| most.max(x.abs()));
        let excess = db_from_gain(peak) + gain_db - bench.plan.ceiling_dbtp(self.tap.port).unwrap_or(0.0);
        Ok(CostPoint {
            gain_db,
            lufs,
            true_peak_dbtp,
            plr_db: true_peak_dbtp - lufs,
            reduction_most_db: reductions.last().copied().unwrap_or(0.0),
            reduction_loud_db: reductions.get(reductions.len() * 95 / 100).copied().unwrap_or(0.0),
            clipper_most_db: excess.max(0.0) * self.tap.clip_share(bench.plan),
            distortion_percent: 100.0 * distortion,
            codec_dbtp: self::true_peak_dbtp(&heard),
            normalised_dbtp: TARGETS_LUFS.map(|target| true_peak_dbtp + (target - lufs).min(0.0)).to_vec(),
        })
    }

    /// The print through codecs.
    fn codecs(&self, ended: &Ended, spans: &[[f64; 2]]) -> Result<Vec<CodecRecord>, Fault> {
        let bench = self.bench;
        let trip = Trip {
            frames: &ended.frames,
            spans,
            rate_hz: bench.plan.rate_hz,
            ceiling_dbtp: bench.plan.ceiling_dbtp(self.tap.port).unwrap_or(0.0),
            work: bench.work,
            threads: bench.threads,
        };
        trip.all()
    }

    /// Renders the end of the print from a file at a gain.
    fn end(&self, file: &str, frames: u64, gain_db: f64, threads: usize) -> Result<Ended, Fault> {
        let bench = self.bench;
        let plan = Plan { song_frames: frames, tail_frames: 0, ..bench.plan.clone() };
        let plan = plan.ending(self.tap.port, file, gain_db, None);
        let sources = Folder::new(bench.work, bench.plan.rate_hz as u32);
        let mut ended = Ended { loudness: LoudnessMeter::new(plan.rate_hz), frames: Vec::new() };
        let stream = Stream::open(&plan, &sources, &[END_STEP], &Setup::default())?;
        stream.run(threads, vec![Box::new(&mut ended)], &|_| ())?;
        Ok(ended)
    }

    /// Hears the whole print at a gain.
    fn whole(&self, gain_db: f64) -> Result<WholePrint, Fault> {
        let bench = self.bench;
        let work = bench.work.join(format!("print {}", self.tap.head));
        fs::create_dir(&work).map_err(|error| machine(&work, &error))?;
        let plan = bench.plan.ending(self.tap.port, &spool_name(self.tap.head), gain_db, None);
        let wants = BTreeMap::from([(END_STEP, bench.wants)]);
        let hearing = Hearing { plan, wants, cuts: bench.cuts.to_vec() };
        let sources = Folder::new(bench.work, bench.plan.rate_hz as u32);
        Ok(WholePrint { heard: hear::hear(hearing, &sources, &work, (bench.threads, bench.stop), &|_| ())?, work })
    }
}

pub(super) fn true_peak_dbtp(frames: &[Frame]) -> f64 {
    let mut meter = TruePeakMeter::new();
    meter.push(frames);
    let [left, right] = meter.finish();
    db_from_gain(left.value.max(right.value))
}

/// Reduction in each window, in order of size, and the share of the output that a moving gain does not explain.
fn follow(input: &[Frame], output: &[Frame], gain: f64, rate_hz: f64) -> (Vec<f64>, f64) {
    let window = (WINDOW_S * rate_hz) as usize;
    let product = |a: &Frame, b: &Frame| a[0] * b[0] + a[1] * b[1];
    let (mut reductions, mut gains) = (Vec::new(), Vec::new());
    for (x, y) in input.chunks(window).zip(output.chunks(window)) {
        let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
        for (x, y) in x.iter().zip(y) {
            xx += product(x, x);
            xy += product(x, y);
            yy += product(y, y);
        }
        let heard = db_from_power(gain * gain * xx / (2 * window) as f64) > SOFTEST_DB;
        if heard {
            reductions.push((db_from_power(gain * gain * xx) - db_from_power(yy)).max(0.0));
        }
        gains.push(if xx > 0.0 { xy / xx } else { gain });
    }
    reductions.sort_by(f64::total_cmp);
    let (mut rest, mut all) = (0.0, 0.0);
    for (n, (x, y)) in input.iter().zip(output).enumerate() {
        // From the middle of one window to the middle of the next.
        let place = (n as f64 + 0.5) / window as f64 - 0.5;
        let index = place.max(0.0) as usize;
        let (from, to) = (gains[index], gains[(index + 1).min(gains.len() - 1)]);
        let now = from + (to - from) * (place - index as f64).clamp(0.0, 1.0);
        let left = [y[0] - now * x[0], y[1] - now * x[1]];
        rest += product(&left, &left);
        all += product(y, y);
    }
    (reductions, if all > 0.0 { (rest / all).sqrt() } else { 0.0 })
}

/// Code `beyond-knee`: a print asks for more loudness than its limiter gives at 0.7 LU a decibel; a warning from 3 LU
/// beyond. Common practice, no source.
fn finding(record: &CostRecord) -> Option<Problem> {
    let (knee, target) = record.knee_lufs.zip(record.target_lufs)?;
    let beyond = target - knee;
    if beyond <= 0.0 {
        return None;
    }
    let severity = if beyond > FAR_BEYOND_LU { Severity::Warn } else { Severity::Note };
    let cost = |of: fn(&CostPoint) -> f64| record.at(target, of).zip(record.at(knee, of));
    let mut message = format!("{target:.1} LUFS lies {beyond:.1} LU beyond the knee of its limiter, {knee:.1} LUFS");
    if let Some((there, here)) = cost(|point| point.distortion_percent) {
        message += &format!(": distortion goes from {here:.1} to {there:.1} %");
    }
    if let Some((there, here)) = cost(|point| point.plr_db) {
        message += &format!(", PLR from {here:.1} to {there:.1} dB");
    }
    let remedy = "Take less, or make density ahead of the limiter: compression, drive, a soft clip.".to_owned();
    Some(Problem::new(severity, "beyond-knee", &format!("print {}", record.print), message + ".", remedy))
}

#[cfg(test)]
mod tests;
