//! The routing ledger: which stem reaches a print by which way, how loud, and who drives each compressor.
//!
//! Every stem goes through the network as a follower: whatever a compressor or a drive does to the sum it does to the
//! stem's part of it, so that the parts sum to what is heard (see `units::Block`). That is dear, so it is done over three
//! passages of the song, chosen so that as many stems as possible sound near their loudest in one of them.
//!
//! - **Level by a way**: energy of the stem's part (K-weighted, BS.1770) where the way joins, over that of the stem's
//!   whole part there.
//! - **Drivers** of a processor that takes gain away: the share of each stem in the energy that goes in, behind the low
//!   cut of its key, weighed by how much is taken away in each window of 20 ms. Common practice, no source.

use engine::{Fault, Feed, Folder, Input, Plan, Role, Setup, Sink, Stream, Taken};
use measure::LoudnessMeter;
use measure::blend::Part;
use measure::envelope::Filter;
use serde::Serialize;
use units::{Problem, Severity, db_from_power};

use super::hear::{Heard, Wants};
use super::sides::{ImageSink, LaneImage};
use super::taps::{Taps, reached_by};

/// Passages that are heard with all stems apart, their length, and what is rendered ahead of each and not counted.
const PASSAGES: usize = 3;
const PASSAGE_S: f64 = 3.0;
const AHEAD_S: f64 = 1.0;
/// A stem is well heard in a passage that comes so near to its loudest.
const NEAR_LU: f64 = 6.0;
/// Windows in which reduction is weighed.
const WINDOW_S: f64 = 0.02;
/// A way that carries less of a stem than this, under all of it there, carries nothing.
const SILENT_DB: f64 = -80.0;
/// Below this a stem is too soft for a verdict on its ways.
const HEARD_LUFS: f64 = -60.0;
/// Drivers that are told, and the reduction from which they are.
const MOST_DRIVERS: usize = 4;
const LEAST_REDUCTION_DB: f64 = 0.5;
/// A share from which one stem counts as the only driver. Common practice, no source.
const ALONE: f64 = 0.8;

/// One stem's way to a print.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LedgerWay {
    /// The sum that it joins.
    pub into: String,
    /// The node that it comes by.
    pub by: String,
    /// Level there over the stem's whole part; none if nothing comes.
    pub level_db: Option<f64>,
}

/// One stem.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LedgerRecord {
    /// The stem.
    pub stem: String,
    /// Integrated loudness behind its chain and fader, over the whole song; none if it is silent.
    pub lufs: Option<f64>,
    /// Its loudness in the last revision's sheet, where that differs from this one.
    pub last_lufs: Option<f64>,
    /// The ways that it takes.
    pub ways: Vec<LedgerWay>,
}

/// Who drives a processor.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DriverRecord {
    /// The node and the processor.
    pub name: String,
    /// Mean of the gain that it takes away while the loudest tenth of windows lasts.
    pub reduction_db: f64,
    /// Stems and their shares, the greatest first.
    pub drivers: Vec<(String, f64)>,
    /// Stems that go in.
    pub stems: usize,
}

/// Where everything of the ledger is heard.
pub(super) struct LedgerTaps {
    stems: Vec<String>,
    /// Steps that hear each stem behind its fader.
    faders: Vec<usize>,
    /// Sums near the prints: the steps that hear each way, with the sum's and the way's name, and who reaches it.
    ways: Vec<WayTap>,
    /// Processors that take gain away: name, steps ahead and behind, corner of the key's low cut.
    takers: Vec<(String, [usize; 2], f64)>,
    /// Steps whose gain the loudness of a print decides, with the print's name.
    gains: Vec<(String, usize)>,
    /// Further steps whose images are wanted, lane by lane.
    images: Vec<usize>,
    plan: Plan,
}

/// What the ledger gives.
pub(super) struct Ledger {
    pub stems: Vec<String>,
    pub records: Vec<LedgerRecord>,
    pub drivers: Vec<DriverRecord>,
    pub images: Vec<Vec<LaneImage>>,
}

struct WayTap {
    into: String,
    by: String,
    step: usize,
    reached: Vec<bool>,
}

/// Processors that take gain away.
const TAKERS: [&str; 2] = ["compressor", "limiter"];

/// Taps on every stem's fader, and on what the passages will be heard at.
pub(super) fn ask(taps: &mut Taps<'_>, images: Vec<usize>) -> LedgerTaps {
    let whole = taps.whole;
    let stems: Vec<usize> = (0..whole.steps.len()).filter(|step| whole.steps[*step].role == Role::Stem).collect();
    let faders = stems.iter().map(|stem| fader(taps, *stem)).collect();
    let reached = reached_by(whole, &stems);
    let mut ways = Vec::new();
    for sum in sums_of_prints(whole) {
        for input in taps.inputs(sum).to_vec() {
            let from = taps.apart.ends.iter().position(|end| *end == input.from).unwrap_or_default();
            let step = taps.listen(sum, vec![input]);
            let reached = reached[from].clone();
            let [into, by] = [sum, from].map(|step| whole.steps[step].name.clone());
            ways.push(WayTap { into, by, step, reached });
        }
    }
    let takes = |place: &&engine::LinkPlace| {
        let link = &whole.steps[place.step].links[place.link];
        TAKERS.contains(&link.settings.spec().name) && !link.off && link.key.is_none()
    };
    let takers = taps.apart.links.iter().filter(takes).map(|place| {
        let link = &whole.steps[place.step].links[place.link];
        let corner = link.settings.spec().param("key_high_pass_hz").map(|(_, param)| link.settings.number(param));
        let name = format!("{}, {}", whole.steps[place.step].name, link.settings.spec().title);
        (name, [place.before, place.after], corner.unwrap_or(0.0))
    });
    let takers = takers.collect();
    let names = stems.iter().map(|stem| whole.steps[*stem].name.clone()).collect();
    let solved = whole.prints.iter().filter(|port| port.solve_after.is_some());
    let gains = solved.filter_map(|port| {
        let place = taps.apart.links.iter().find(|place| place.step == port.step && place.link == 0)?;
        Some((port.name.clone(), place.after))
    });
    let gains = gains.collect();
    LedgerTaps { stems: names, faders, ways, takers, gains, images, plan: taps.apart.plan.clone() }
}

/// Taps on every stem's fader alone: name and step.
pub(super) fn faders(taps: &mut Taps<'_>) -> Vec<(String, usize)> {
    let whole = taps.whole;
    let stems = (0..whole.steps.len()).filter(|step| whole.steps[*step].role == Role::Stem);
    stems.map(|stem| (whole.steps[stem].name.clone(), fader(taps, stem))).collect()
}

/// A step that hears a stem where it is routed to, fader and pan included.
fn fader(taps: &mut Taps<'_>, stem: usize) -> usize {
    let end = taps.apart.ends[stem];
    let of_stem = |step: &engine::Step| match &step.feed {
        Feed::Sum(inputs) => inputs.iter().find(|input| input.from == end && step.links.is_empty()).cloned(),
        Feed::File { .. } => None,
    };
    let routed = taps.apart.plan.steps.iter().find_map(of_stem);
    let step = match routed {
        Some(input) => {
            let arrives = taps.apart.plan.steps[end].leaves;
            taps.apart.plan.listen("fader", vec![Input { align_frames: 0, ..input }], arrives)
        }
        None => end,
    };
    taps.want(step, Wants::PART)
}

/// The first sum of several paths on the way from each print back to the stems.
fn sums_of_prints(plan: &Plan) -> Vec<usize> {
    let mut sums = Vec::new();
    for port in &plan.prints {
        let mut at = port.step;
        while let Feed::Sum(inputs) = &plan.steps[at].feed {
            match &inputs[..] {
                [only] => at = only.from,
                [] => break,
                _ => {
                    if !sums.contains(&at) {
                        sums.push(at);
                    }
                    break;
                }
            }
        }
    }
    sums
}

/// Energy of each lane at one step: in all, and in windows behind a low cut.
struct LaneSink {
    loudness: Vec<LoudnessMeter>,
    skip: usize,
    cut: Option<Vec<Filter>>,
    window: usize,
    sums: Vec<f64>,
    filled: usize,
    windows: Vec<Vec<f64>>,
}

impl LaneSink {
    fn new(lanes: usize, rate_hz: f64, corner_hz: Option<f64>) -> Self {
        let filter = |hz: f64| vec![Filter::high_pass(hz.max(1.0), rate_hz); lanes];
        Self {
            loudness: vec![LoudnessMeter::new(rate_hz); if corner_hz.is_some() { 0 } else { lanes }],
            skip: (AHEAD_S * rate_hz) as usize,
            cut: corner_hz.map(filter),
            window: (WINDOW_S * rate_hz) as usize,
            sums: vec![0.0; lanes],
            filled: 0,
            windows: Vec::new(),
        }
    }
}

impl Sink for &mut LaneSink {
    fn take(&mut self, taken: &Taken<'_>) -> Result<(), Fault> {
        let skip = self.skip.min(taken.lane(0).len());
        self.skip -= skip;
        for (lane, meter) in self.loudness.iter_mut().enumerate() {
            meter.push(&taken.lane(lane)[skip..]);
        }
        let Some(cut) = &mut self.cut else { return Ok(()) };
        for n in 0..taken.lane(0).len() {
            for (lane, filter) in cut.iter_mut().enumerate() {
                let [left, right] = filter.next(taken.lane(lane)[n]);
                self.sums[lane] += left * left + right * right;
            }
            self.filled += 1;
            if self.filled == self.window {
                self.windows.push(std::mem::replace(&mut self.sums, vec![0.0; cut.len()]));
                self.filled = 0;
            }
        }
        Ok(())
    }
}

/// What the passages gave.
struct Gathered {
    /// K-weighted energy of each stem by each way.
    ways: Vec<Vec<f64>>,
    /// Windows ahead of and behind each taker: energy by lane.
    takers: Vec<[Vec<Vec<f64>>; 2]>,
    /// Powers of each lane at each of the further steps.
    images: Vec<Vec<LaneImage>>,
}

impl LedgerTaps {
    /// Every stem and the step that hears it behind its fader.
    pub(super) fn faders(&self) -> impl Iterator<Item = (&str, usize)> {
        self.stems.iter().map(String::as_str).zip(self.faders.iter().copied())
    }

    /// Sets the gain ahead of a print's limiter to what its loudness needs.
    pub(super) fn set_gain(&mut self, print: &str, gain_db: f64) {
        for (_, step) in self.gains.iter().filter(|(name, _)| name == print) {
            self.plan.steps[*step].trim.levels = vec![engine::Level::at(gain_db)];
        }
    }

    /// The ledger and the drivers. `last` gives a stem's loudness in the last revision.
    pub(super) fn records(
        &self,
        heard: &Heard,
        sources: &Folder,
        threads: usize,
        last: &dyn Fn(&str) -> Option<f64>,
    ) -> Result<Ledger, Fault> {
        let parts: Vec<&Part> = self.faders.iter().map(|step| &heard.parts[step]).collect();
        let song_s = self.plan.song_frames as f64 / self.plan.rate_hz;
        let gathered = self.gather(&passages(&parts, song_s), sources, threads)?;
        let record = |(stem, part): (usize, &&Part)| LedgerRecord {
            stem: self.stems[stem].clone(),
            lufs: part.loudness.integrated_lufs(),
            last_lufs: last(&self.stems[stem]),
            ways: self.ways_of(stem, &gathered),
        };
        let records = parts.iter().enumerate().map(record).collect();
        let drivers = self.takers.iter().zip(&gathered.takers);
        let drivers = drivers.filter_map(|((name, ..), windows)| self.driver(name, windows)).collect();
        Ok(Ledger { stems: self.stems.clone(), records, drivers, images: gathered.images })
    }

    fn gather(&self, passages: &[f64], sources: &Folder, threads: usize) -> Result<Gathered, Fault> {
        let lanes = self.stems.len() + 2;
        let rate_hz = self.plan.rate_hz;
        let mut all = Gathered {
            ways: vec![vec![0.0; self.stems.len()]; self.ways.len()],
            takers: vec![Default::default(); self.takers.len()],
            images: vec![vec![LaneImage::default(); lanes]; self.images.len()],
        };
        let ways = self.ways.iter().map(|way| way.step);
        let takers = self.takers.iter().flat_map(|(_, steps, _)| *steps);
        let outputs: Vec<usize> = ways.chain(takers).chain(self.images.iter().copied()).collect();
        let followers = self.stems.iter().map(|stem| vec![stem.clone()]).collect();
        let setup = Setup { followers, ..Setup::default() };
        for from in passages {
            let frames = ((AHEAD_S + PASSAGE_S) * rate_hz) as u64;
            let plan = self.plan.passage(((from - AHEAD_S) * rate_hz) as i64, frames);
            let ways = self.ways.iter().map(|_| LaneSink::new(lanes, rate_hz, None));
            let takers = self.takers.iter().flat_map(|(.., hz)| [*hz; 2]);
            let mut kept: Vec<LaneSink> =
                ways.chain(takers.map(|hz| LaneSink::new(lanes, rate_hz, Some(hz)))).collect();
            let skip = (AHEAD_S * rate_hz) as usize;
            let mut seen: Vec<ImageSink> = self.images.iter().map(|_| ImageSink::new(lanes, rate_hz, skip)).collect();
            let sinks = kept.iter_mut().map(|sink| Box::new(sink) as Box<dyn Sink + '_>);
            let sinks = sinks.chain(seen.iter_mut().map(|sink| Box::new(sink) as Box<dyn Sink + '_>)).collect();
            Stream::open(&plan, sources, &outputs, &setup)?.run(threads, sinks, &|_| ())?;
            for (all, seen) in all.images.iter_mut().zip(&seen) {
                all.iter_mut().zip(&seen.lanes).for_each(|(all, lane)| all.add(lane));
            }
            let (ways, takers) = kept.split_at_mut(self.ways.len());
            for (energies, sink) in all.ways.iter_mut().zip(ways) {
                for (energy, meter) in energies.iter_mut().zip(&sink.loudness[1..]) {
                    *energy += meter.energy();
                }
            }
            for (windows, sinks) in all.takers.iter_mut().zip(takers.chunks_mut(2)) {
                for (windows, sink) in windows.iter_mut().zip(sinks) {
                    windows.append(&mut sink.windows);
                }
            }
        }
        Ok(all)
    }

    fn ways_of(&self, stem: usize, gathered: &Gathered) -> Vec<LedgerWay> {
        let taken = || self.ways.iter().zip(&gathered.ways).filter(|(way, _)| way.reached[stem]);
        taken()
            .map(|(way, energies)| {
                let all: f64 = taken().filter(|(other, _)| other.into == way.into).map(|(_, e)| e[stem]).sum();
                let level = (energies[stem] > 0.0).then(|| db_from_power(energies[stem] / all));
                LedgerWay { into: way.into.clone(), by: way.by.clone(), level_db: level }
            })
            .collect()
    }

    /// Who drives a processor; none if it takes next to nothing away, or if one stem alone goes in.
    fn driver(&self, name: &str, [before, after]: &[Vec<Vec<f64>>; 2]) -> Option<DriverRecord> {
        // Its make-up is what the least reduced windows show.
        let gains: Vec<(usize, f64)> = before
            .iter()
            .zip(after)
            .enumerate()
            .filter(|(_, (x, y))| x[0] > 1e-9 && y[0] > 0.0)
            .map(|(index, (x, y))| (index, db_from_power(y[0] / x[0])))
            .collect();
        let mut sorted: Vec<f64> = gains.iter().map(|(_, gain)| *gain).collect();
        sorted.sort_by(f64::total_cmp);
        let open = *sorted.get(sorted.len() * 98 / 100)?;
        let loudest = &sorted[..sorted.len().div_ceil(10)];
        let reduction_db = open - loudest.iter().sum::<f64>() / loudest.len() as f64;
        if reduction_db < LEAST_REDUCTION_DB {
            return None;
        }
        let mut shares = vec![0.0; self.stems.len()];
        for (index, gain) in &gains {
            let window = &before[*index][1..=self.stems.len()];
            let all: f64 = window.iter().sum();
            if all > 0.0 {
                shares.iter_mut().zip(window).for_each(|(share, x)| *share += (open - gain).max(0.0) * x / all);
            }
        }
        let all: f64 = shares.iter().sum();
        let mut drivers: Vec<(String, f64)> = self.stems.iter().cloned().zip(shares.iter().map(|x| x / all)).collect();
        drivers.retain(|(_, share)| *share > 0.01);
        drivers.sort_by(|a, b| b.1.total_cmp(&a.1));
        let stems = drivers.len();
        drivers.truncate(MOST_DRIVERS);
        (stems > 1).then(|| DriverRecord { name: name.to_owned(), reduction_db, drivers, stems })
    }
}

/// Starts of passages, in seconds: each the one in which most stems that were not well heard yet are.
fn passages(parts: &[&Part], song_s: f64) -> Vec<f64> {
    let cells = ((song_s / PASSAGE_S) as usize).max(1);
    let histories: Vec<Vec<f64>> = parts.iter().map(|part| loudest_of_cells(part, cells)).collect();
    let loudest: Vec<f64> = histories.iter().map(|all| all.iter().fold(f64::NEG_INFINITY, |a, b| a.max(*b))).collect();
    let mut waiting: Vec<usize> = (0..parts.len()).filter(|stem| loudest[*stem] > HEARD_LUFS).collect();
    let mut picked = Vec::new();
    while picked.len() < PASSAGES && !waiting.is_empty() {
        let well = |cell: usize, stem: usize| histories[stem][cell] >= loudest[stem] - NEAR_LU;
        let count = |cell: &usize| waiting.iter().filter(|stem| well(*cell, **stem)).count();
        let Some(best) = (0..cells).rev().max_by_key(count) else { break };
        picked.push(best as f64 * PASSAGE_S);
        waiting.retain(|stem| !well(best, *stem));
    }
    picked
}

fn loudest_of_cells(part: &Part, cells: usize) -> Vec<f64> {
    let mut all = vec![f64::NEG_INFINITY; cells];
    for point in part.loudness.history() {
        let cell = (((point.secs - 0.2) / PASSAGE_S) as usize).min(cells - 1);
        all[cell] = all[cell].max(point.momentary_lufs.unwrap_or(f64::NEG_INFINITY));
    }
    all
}

/// Code `silent-path`: a stem that sounds is sent somewhere, and nothing of it arrives (80 dB under the rest of it).
/// Code `part-jumped`: its level behind the fader is 3 LU or more away from the last revision's. Common practice, no
/// source.
pub(super) fn findings(record: &LedgerRecord) -> Vec<Problem> {
    const JUMP_LU: f64 = 3.0;
    let at = format!("stem {}", record.stem);
    let mut found = Vec::new();
    let sounds = record.lufs.is_some_and(|lufs| lufs > HEARD_LUFS);
    let heard = record.ways.iter().any(|way| way.level_db.is_some());
    for way in record.ways.iter().filter(|way| sounds && heard && way.level_db.is_none_or(|db| db < SILENT_DB)) {
        let message =
            format!("Nothing of “{}” comes by “{}” into “{}”, though it is sent there.", record.stem, way.by, way.into);
        let remedy = "Raise that send or return, or take the send out.".to_owned();
        found.push(Problem::new(Severity::Warn, "silent-path", &at, message, remedy));
    }
    if let Some((now, last)) = record.lufs.zip(record.last_lufs).filter(|(now, last)| (now - last).abs() >= JUMP_LU) {
        let message = format!("“{}” is {:+.1} LU against the latest revision.", record.stem, now - last);
        let remedy = "If it is meant, nothing; if not, look at its trim, level and chain.".to_owned();
        found.push(Problem::new(Severity::Warn, "part-jumped", &at, message, remedy));
    }
    found
}

/// Code `one-driver`: one of three stems or more has 80 % of what makes a processor take gain away. Common practice, no
/// source.
pub(super) fn driver_finding(record: &DriverRecord) -> Option<Problem> {
    let (stem, share) = record.drivers.first().filter(|(_, share)| *share >= ALONE && record.stems >= 3)?;
    let message = format!("{:.0} % of what the {} takes away is due to “{stem}” alone.", 100.0 * share, record.name);
    let remedy = "Raise the low cut of its key, or hold that stem ahead of it.".to_owned();
    Some(Problem::new(Severity::Note, "one-driver", &record.name, message, remedy))
}
