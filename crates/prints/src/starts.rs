//! What a starting point does to a song: heard with and without it, at the level it suggests, in figures and a sentence.
//!
//! Both are measured where it acts: an insert at its stem or bus, a return at the sum that it comes back to, an ending
//! as the print it makes, at the loudness it asks for. Changes of the spectrum are at matched loudness (ITU-R BS.1770).
//! How dense a programme is, is told by its percentile levels over 50 ms: what is exceeded for a tenth of the time
//! against what is exceeded for nine tenths (the exceedance levels of ISO 1996-1, without their weightings).
//! Behind the song's last frame only tails are heard; how long they ring above the last second's level less 40 dB is
//! how long a stop rings (the interrupted noise of ISO 3382-1, with the song for noise).

use std::sync::Arc;

use engine::{Facts, Fault, Playback, Setup, Sink, Sources, Stream, Taken};
use measure::level::LevelMeter;
use measure::spectrum::SpectrumMeter;
use measure::{LoudnessMeter, Spectrum};
use serde::Serialize;
use sheet::{Loudness, Sheet, Spot, Start};
use units::{Frame, db_from_power, gain_from_db};

use crate::solve::Search;

/// Bands of the spectrum: what they are called, and their edges in Hz.
const BANDS: [(&str, [f64; 2]); 5] = [
    ("the lows below 120 Hz", [20.0, 120.0]),
    ("120 to 500 Hz", [120.0, 500.0]),
    ("500 Hz to 2 kHz", [500.0, 2000.0]),
    ("2 to 6 kHz", [2000.0, 6000.0]),
    ("the top above 6 kHz", [6000.0, 20_000.0]),
];
/// How far a tail may fall until it no longer counts.
const RING_DB: f64 = -40.0;
/// Changes of the ring below this are not worth a word.
const WORTH_SECS: f64 = 0.08;
/// Changes below this, in dB or LU, are not worth a word.
const WORTH_DB: f64 = 0.2;
/// The same for the width of a band.
const WORTH_WIDTH_DB: f64 = 0.4;
/// The same for the correlation.
const WORTH_CORRELATION: f64 = 0.02;
/// Length of the windows that percentiles are taken over.
const WINDOW_MS: f64 = 50.0;
/// A band this far below the whole has no width to speak of.
const EMPTY_DB: f64 = -40.0;
/// Windows in the last second.
const LAST_WINDOWS: usize = 20;
/// Windows below this power (-70 dB) count as silence, as in BS.1770's absolute gate.
const SILENT: f64 = 1e-7;

/// What one listens to.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Listen {
    /// A stem or bus behind its chain.
    Node(String),
    /// A print at its loudness.
    Print(String),
}

impl Listen {
    /// The name of the stem, bus or print.
    #[must_use]
    pub fn name(&self) -> &str {
        match self {
            Self::Node(name) | Self::Print(name) => name,
        }
    }
}

/// Where a starting point is heard: ahead of it, and with it in `after`.
#[must_use]
pub fn places(start: &Start, at: &str, after: &Sheet) -> [Listen; 2] {
    let node = |name: &str| Listen::Node(name.to_owned());
    match &start.spot {
        Spot::Insert => [node(at), node(at)],
        Spot::Return { .. } => {
            // The bus was written behind all others.
            let to = after.buses().last().and_then(|bus| bus.to.as_deref()).unwrap_or(at);
            [node(to), node(to)]
        }
        Spot::Ending { .. } => {
            let print = after.prints.last().map_or("", |print| print.name.as_str());
            [node(at), Listen::Print(print.to_owned())]
        }
    }
}

/// What was heard.
pub struct Heard {
    loudness: LoudnessMeter,
    level: LevelMeter,
    spectrum: Spectrum,
    /// Power of each window of the song, the least first.
    windows: Vec<f64>,
    /// How long it rings once the song has ended.
    rings_secs: f64,
}

/// What a starting point changes. None where one of the two was silent.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Effect {
    /// Change of the integrated loudness.
    pub adds_lu: Option<f64>,
    /// Change of each band, by its name, at matched loudness.
    pub adds_bands_db: Vec<(&'static str, Option<f64>)>,
    /// Change of the crest factor.
    pub adds_crest_db: Option<f64>,
    /// Change of what is quiet against what is loud.
    pub adds_quiet_db: Option<f64>,
    /// How much longer a stop rings.
    pub adds_ring_secs: f64,
    /// Change of the width, side over mid.
    pub adds_width_db: Option<f64>,
    /// Change of the width of each band.
    pub adds_band_widths_db: Vec<(&'static str, Option<f64>)>,
    /// Correlation without it and with it.
    pub correlation: [Option<f64>; 2],
}

/// Renders a sheet and listens.
///
/// # Errors
/// A file that cannot be used, a processor that cannot be built, a place that is not there.
pub fn hear(sheet: &Sheet, listen: &Listen, sources: &dyn Sources, threads: usize) -> Result<Heard, Fault> {
    let plan = engine::compile(sheet, sources).map_err(|problems| {
        let first = problems.into_iter().next();
        first.map_or_else(|| missing(listen), |problem| Fault::Input(Box::new(problem)))
    })?;
    let port = match listen {
        Listen::Node(name) => {
            let step = plan.steps.iter().position(|step| step.name == *name).ok_or_else(|| missing(listen))?;
            return measured(&plan, step, sources, threads);
        }
        Listen::Print(name) => plan.prints.iter().find(|port| port.name == *name).ok_or_else(|| missing(listen))?,
    };
    let print = sheet.prints.iter().find(|print| print.name == *port.name.as_str());
    let Some((Some(head), Some(Loudness::Lufs(lufs)))) = print.map(|print| (port.solve_after, print.loudness.as_ref()))
    else {
        return measured(&plan, port.step, sources, threads);
    };
    let held = Held { frames: frames(&plan, head, sources, threads)?.into() };
    let mut free = LoudnessMeter::new(plan.rate_hz);
    free.push(&held.frames);
    let free_lufs = free.integrated_lufs().ok_or_else(|| missing(listen))?;
    let mut last = None;
    let mut render = |gain_db: f64| {
        let heard = measured(&plan.ending(port, HEAD, gain_db, plan.ceiling_dbtp(port)), 1, &held, threads)?;
        let reached = heard.loudness.integrated_lufs();
        last = Some(heard);
        Ok(reached)
    };
    Search::new(free_lufs).gain_for(*lufs, plan.ceiling_dbtp(port).unwrap_or(0.0), &mut render)?;
    last.ok_or_else(|| missing(listen))
}

fn missing(listen: &Listen) -> Fault {
    let name = listen.name();
    Fault::input("unknown-name", name, format!("There is no “{name}” to listen to."), "Name another.".to_owned())
}

fn measured(plan: &engine::Plan, step: usize, sources: &dyn Sources, threads: usize) -> Result<Heard, Fault> {
    let mut ear = Ear::new(plan.rate_hz, plan.song_frames);
    let stream = Stream::open(plan, sources, &[step], &Setup::default())?;
    stream.run(threads, vec![Box::new(&mut ear)], &|_| ())?;
    Ok(ear.finish())
}

fn frames(plan: &engine::Plan, step: usize, sources: &dyn Sources, threads: usize) -> Result<Vec<Frame>, Fault> {
    let mut kept = Kept(Vec::with_capacity(plan.print_frames() as usize));
    let stream = Stream::open(plan, sources, &[step], &Setup::default())?;
    stream.run(threads, vec![Box::new(&mut kept)], &|_| ())?;
    Ok(kept.0)
}

struct Ear {
    /// Frames of the song still to come.
    left: u64,
    loudness: LoudnessMeter,
    level: LevelMeter,
    spectrum: SpectrumMeter,
    windows: Windows,
    tail: Windows,
}

impl Ear {
    fn new(rate_hz: f64, frames: u64) -> Self {
        Self {
            left: frames,
            loudness: LoudnessMeter::new(rate_hz),
            level: LevelMeter::new(rate_hz),
            spectrum: SpectrumMeter::new(rate_hz),
            windows: Windows::new(rate_hz),
            tail: Windows::new(rate_hz),
        }
    }

    fn push(&mut self, frames: &[Frame]) {
        let (song, tail) = frames.split_at(frames.len().min(self.left as usize));
        self.left -= song.len() as u64;
        self.loudness.push(song);
        self.level.push(song);
        self.spectrum.push(song);
        self.windows.push(song);
        self.tail.push(tail);
    }

    fn finish(mut self) -> Heard {
        self.level.end();
        let mut windows = self.windows.powers;
        let last = &windows[windows.len().saturating_sub(LAST_WINDOWS)..];
        let floor = power_from_db(RING_DB) * last.iter().sum::<f64>() / last.len().max(1) as f64;
        let ringing = self.tail.powers.iter().rposition(|power| *power > floor.max(SILENT));
        windows.retain(|power| *power > SILENT);
        windows.sort_by(f64::total_cmp);
        Heard {
            loudness: self.loudness,
            level: self.level,
            spectrum: self.spectrum.finish(),
            windows,
            rings_secs: ringing.map_or(0.0, |last| (last + 1) as f64 * WINDOW_MS * 1e-3),
        }
    }
}

/// Power of the programme in windows, one after the other.
struct Windows {
    powers: Vec<f64>,
    frames: usize,
    sum: f64,
    summed: usize,
}

impl Windows {
    fn new(rate_hz: f64) -> Self {
        Self { powers: Vec::new(), frames: units::frames_from_ms(WINDOW_MS, rate_hz), sum: 0.0, summed: 0 }
    }

    fn push(&mut self, frames: &[Frame]) {
        for [left, right] in frames {
            self.sum += left * left + right * right;
            self.summed += 1;
            if self.summed == self.frames {
                self.powers.push(self.sum / (2 * self.frames) as f64);
                (self.sum, self.summed) = (0.0, 0);
            }
        }
    }
}

impl Sink for &mut Ear {
    fn take(&mut self, taken: &Taken<'_>) -> Result<(), Fault> {
        self.push(taken.lane(0));
        Ok(())
    }
}

struct Kept(Vec<Frame>);

impl Sink for &mut Kept {
    fn take(&mut self, taken: &Taken<'_>) -> Result<(), Fault> {
        self.0.extend_from_slice(taken.lane(0));
        Ok(())
    }
}

/// What the head of a print is called where it is the only source.
const HEAD: &str = "head";

/// The head of a print in memory.
struct Held {
    frames: Arc<[Frame]>,
}

impl Facts for Held {
    fn frames(&self, _: &str) -> Result<u64, Fault> {
        Ok(self.frames.len() as u64)
    }

    fn audio(&self, file: &str) -> Result<Arc<[Vec<f64>]>, Fault> {
        Err(Fault::input("no-responses", file, format!("{file} is not here."), String::new()))
    }
}

impl Sources for Held {
    fn open(&self, _: &str) -> Result<Box<dyn Playback>, Fault> {
        Ok(Box::new(Playing { frames: self.frames.clone(), at: 0 }))
    }
}

struct Playing {
    frames: Arc<[Frame]>,
    at: usize,
}

impl Playback for Playing {
    fn read(&mut self, out: &mut [Frame]) -> Result<usize, Fault> {
        let length = out.len().min(self.frames.len() - self.at);
        out[..length].copy_from_slice(&self.frames[self.at..self.at + length]);
        self.at += length;
        Ok(length)
    }
}

impl Heard {
    /// What changes from this to `with`.
    #[must_use]
    pub fn effect_of(&self, with: &Self) -> Effect {
        let heard = [self, with];
        let lufs = heard.map(|heard| heard.loudness.integrated_lufs());
        let adds_lu = change(lufs);
        let band = |hz: [f64; 2]| change(heard.map(|heard| heard.band_db(hz)));
        let image = heard.map(|heard| heard.level.power().image());
        Effect {
            adds_lu,
            adds_bands_db: BANDS.map(|(name, hz)| (name, band(hz).zip(adds_lu).map(|(db, lu)| db - lu))).to_vec(),
            adds_crest_db: change(heard.map(|heard| heard.level.crest_db())),
            adds_quiet_db: change(heard.map(Self::quiet_db)),
            adds_ring_secs: with.rings_secs - self.rings_secs,
            adds_width_db: change(image.map(|image| image.width_db)),
            adds_band_widths_db: BANDS
                .map(|(name, hz)| (name, change(heard.map(|heard| heard.band_width_db(hz)))))
                .to_vec(),
            correlation: image.map(|image| image.correlation),
        }
    }

    fn band_db(&self, [low, high]: [f64; 2]) -> Option<f64> {
        Some(self.spectrum.power(low, high).mean()).filter(|power| *power > 0.0).map(db_from_power)
    }

    /// Side over mid in a band, if there is anything in it to speak of.
    fn band_width_db(&self, [low, high]: [f64; 2]) -> Option<f64> {
        let power = self.spectrum.power(low, high);
        let all = self.spectrum.power(BANDS[0].1[0], BANDS[4].1[1]).mean();
        (power.mean() > power_from_db(EMPTY_DB) * all).then(|| power.image().width_db).flatten()
    }

    /// The level exceeded for nine tenths of the time over that exceeded for one.
    fn quiet_db(&self) -> Option<f64> {
        let last = self.windows.len().checked_sub(1)?;
        let level = |share: f64| self.windows[(last as f64 * share).round() as usize];
        Some(db_from_power(level(0.1) / level(0.9)))
    }
}

/// The power of decibels.
fn power_from_db(db: f64) -> f64 {
    let gain = gain_from_db(db);
    gain * gain
}

fn change([without, with]: [Option<f64>; 2]) -> Option<f64> {
    without.zip(with).map(|(without, with)| with - without)
}

impl Effect {
    /// The effect in a sentence: loudness of where it was heard first, then what changes in colour, dynamics and width,
    /// at matched loudness.
    #[must_use]
    pub fn sentence(&self, heard: &Listen) -> String {
        let name = heard.name();
        let worth = |value: Option<f64>| value.filter(|value| value.abs() >= WORTH_DB);
        let louder = match worth(self.adds_lu) {
            Some(lu) if lu > 0.0 => format!("Adds {lu:.1} LU to {name}"),
            Some(lu) => format!("Takes {:.1} LU from {name}", -lu),
            None => format!("Keeps the loudness of {name}"),
        };
        let most = self.adds_bands_db.iter().filter_map(|(name, db)| Some((*name, worth(*db)?)));
        let most = most.fold([None; 2], |[up, down]: [Option<(&str, f64)>; 2], (name, db)| match (up, down) {
            (up, _) if db > up.map_or(0.0, |(_, most)| most) => [Some((name, db)), down],
            (_, down) if db < down.map_or(0.0, |(_, most)| most) => [up, Some((name, db))],
            _ => [up, down],
        });
        let bands = most.into_iter().flatten().map(|(name, db)| moved("lifts", "lowers", name, db));
        let crest = worth(self.adds_crest_db).map(|db| moved("raises", "lowers", "the crest", db));
        let quiet = worth(self.adds_quiet_db).map(|db| moved("brings up", "lets sink", "what is quiet", db));
        let ring = Some(self.adds_ring_secs).filter(|secs| *secs >= WORTH_SECS);
        let ring = ring.map(|secs| format!("rings on for {secs:.2} s after a stop"));
        let parts: Vec<String> = bands.chain(crest).chain(quiet).chain(ring).chain(self.wider()).collect();
        match parts.split_last() {
            None => format!("{louder} and changes nothing else by {WORTH_DB} dB."),
            Some((only, [])) => format!("{louder}. At matched loudness it {only}."),
            Some((last, others)) => format!("{louder}. At matched loudness it {} and {last}.", others.join(", ")),
        }
    }

    /// The change of the width: where it is most, if not all over.
    fn wider(&self) -> Option<String> {
        let bands = self.adds_band_widths_db.iter().filter_map(|(name, db)| Some((*name, (*db)?)));
        let (name, most) = bands.max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
        if most.abs() < WORTH_WIDTH_DB {
            return None;
        }
        let [without, with] = self.correlation.map(|value| value.unwrap_or(1.0));
        let correlation = if (with - without).abs() < WORTH_CORRELATION {
            String::new()
        } else {
            format!(" (correlation {without:.2} to {with:.2})")
        };
        Some(moved("widens", "narrows", name, most) + &correlation)
    }
}

fn moved(up: &str, down: &str, what: &str, db: f64) -> String {
    format!("{} {what} by {:.1} dB", if db > 0.0 { up } else { down }, db.abs())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mix() -> Listen {
        Listen::Node("mix".to_owned())
    }

    fn heard(frames: &[Frame]) -> Heard {
        let mut ear = Ear::new(48_000.0, frames.len() as u64);
        frames.chunks(1000).for_each(|frames| ear.push(frames));
        ear.finish()
    }

    /// Tones as (Hz, level of the left, level of the right), the last quarter of each 0.2 s at a level of its own.
    fn tones(tones: &[(f64, f64, f64)], quiet: f64) -> Heard {
        let sound = |n: usize| {
            let level = if n % 9600 < 7200 { 1.0 } else { quiet };
            let of = |&(hz, left, right): &(f64, f64, f64)| {
                let wave = level * libm::sin(std::f64::consts::TAU * hz * n as f64 / 48_000.0);
                [left * wave, right * wave]
            };
            tones.iter().map(of).fold([0.0, 0.0], |sum, frame| [sum[0] + frame[0], sum[1] + frame[1]])
        };
        heard(&(0..3 * 48_000).map(sound).collect::<Vec<Frame>>())
    }

    /// Closed forms: a gain of 2 is 6.02 dB, of all tones alike it is loudness and nothing else.
    #[test]
    fn louder_alone_is_loudness_alone() {
        let plain = [(80.0, 0.1, 0.1), (1000.0, 0.1, 0.05), (8000.0, 0.02, 0.05)];
        let effect = tones(&plain, 0.25).effect_of(&tones(&plain.map(|(hz, l, r)| (hz, 2.0 * l, 2.0 * r)), 0.25));
        assert!((effect.adds_lu.unwrap() - 6.02).abs() < 0.01, "{effect:?}");
        assert_eq!(effect.sentence(&mix()), "Adds 6.0 LU to mix and changes nothing else by 0.2 dB.");
    }

    /// Closed forms: a band 3.01 dB up against one that keeps its level; quiet halves up from -12.04 to -6.02 dB; a
    /// tone from the left alone (width 0 dB) to both sides alike.
    #[test]
    fn each_change_is_found_and_told() {
        let root = std::f64::consts::SQRT_2;
        let (before, after) =
            ([(60.0, 0.1, 0.1), (1000.0, 0.1, 0.1)], [(60.0, 0.1 * root, 0.1 * root), (1000.0, 0.1, 0.1)]);
        let effect = tones(&before, 0.25).effect_of(&tones(&after, 0.25));
        let [low, _, mid, ..] = effect.adds_bands_db[..] else { panic!("five bands") };
        assert!((low.1.unwrap() - mid.1.unwrap() - 3.01).abs() < 0.05, "{effect:?}");
        let effect = tones(&before, 0.25).effect_of(&tones(&before, 0.5));
        assert!((effect.adds_quiet_db.unwrap() - 6.02).abs() < 0.1, "{effect:?}");
        assert!(effect.sentence(&mix()).contains("brings up what is quiet by 6.0 dB"), "{effect:?}");
        let narrow = [(300.0, 0.1, 0.05)];
        let effect = tones(&narrow, 1.0).effect_of(&tones(&[(300.0, 0.1, 0.0)], 1.0));
        // Side over mid: from 1/3 to 1.
        assert!((effect.adds_width_db.unwrap() - 9.54).abs() < 0.01, "{effect:?}");
        assert!(effect.sentence(&mix()).contains("widens 120 to 500 Hz by 9.5 dB"));
    }

    /// Closed form: 60 dB in 0.9 s are 40 dB in 0.6 s.
    #[test]
    fn a_tail_is_timed_to_its_fall_of_40_db() {
        let frames: Vec<Frame> = (0..96_000)
            .map(|n| {
                let fall_db = if n < 48_000 { 0.0 } else { -60.0 / 0.9 * (f64::from(n) - 48_000.0) / 48_000.0 };
                let wave = 0.5 * gain_from_db(fall_db) * libm::sin(std::f64::consts::TAU * f64::from(n) / 48.0);
                [wave, wave]
            })
            .collect();
        let mut ear = Ear::new(48_000.0, 48_000);
        frames.chunks(1000).for_each(|frames| ear.push(frames));
        let rings_secs = ear.finish().rings_secs;
        assert!((rings_secs - 0.6).abs() <= 0.05, "{rings_secs}");
    }
}
