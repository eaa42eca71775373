//! The cases: random settings and signals, and runs of a processor over them.

use std::panic::{AssertUnwindSafe, catch_unwind};

use dsp::{BuildError, CATALOGUE, Channels, Context, Entry, Processor};
use units::{At, Block, Frame, Kind, Param, Settings, Unit, Value};

pub const RATES_HZ: [f64; 3] = [44_100.0, 48_000.0, 96_000.0];
/// Random settings drawn for each processor and rate, on top of its defaults.
pub const DRAWS: u64 = 8;
/// Processors whose output is noise by their nature.
pub const NOISY: &[&str] = &["dither"];
/// Parameters that add noise when they leave their lowest value.
pub const NOISE_PARAMS: &[&str] = &["hiss_db", "noise_db"];

/// Key, three followers and the residue.
pub const LANES: usize = 5;
/// The loudest that is let in: 180 dB over full scale.
pub const LOUDEST: f64 = 1e9;

/// SplitMix64 (Steele, Lea, Flood 2014).
pub struct Random(pub u64);

impl Random {
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// 0 (included) to 1.
    pub fn share(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub fn below(&mut self, n: usize) -> usize {
        (self.bits() % n as u64) as usize
    }

    pub fn signal(&mut self, frames: usize, peak: f64) -> Vec<Frame> {
        (0..frames).map(|_| [peak * (2.0 * self.share() - 1.0), peak * (2.0 * self.share() - 1.0)]).collect()
    }

    pub fn value(&mut self, param: &Param) -> Value {
        match param.kind {
            Kind::Number { unit, low, high, .. } => Value::Number(self.number(unit, low, high)),
            Kind::Choice { options, .. } => Value::Choice(self.below(options.len())),
            Kind::Switch { .. } => Value::Switch(self.below(2) == 1),
            Kind::File => Value::File(Some("response.wav".to_owned())),
        }
    }

    /// Frequencies and times spread by ratio, the ends now and then.
    pub fn number(&mut self, unit: Unit, low: f64, high: f64) -> f64 {
        match (self.below(8), unit) {
            (0, _) => low,
            (1, _) => high,
            (_, Unit::Hertz | Unit::Millisecond | Unit::Second) if high > 0.0 => {
                let from = low.max(high * 1e-3);
                (from * libm::pow(high / from, self.share())).clamp(low, high)
            }
            _ => low + (high - low) * self.share(),
        }
    }

    /// Random settings. A third of the parameters, another third in each draw, stay at their defaults in every row, so
    /// that what excludes something else is left alone often enough.
    pub fn settings(&mut self, entry: &Entry) -> Settings {
        let mut settings = default_settings(entry);
        for (param, spec) in entry.spec.params.iter().enumerate() {
            if self.below(3) > 0 {
                settings.set(At { row: None, param }, self.value(spec));
            }
        }
        let Some(rows) = entry.spec.rows else { return settings };
        let moved: Vec<bool> = rows.params.iter().map(|_| self.below(3) > 0).collect();
        for _ in 0..=self.below(rows.most.min(4)) {
            let row = settings.add_row();
            for (param, spec) in rows.params.iter().enumerate().filter(|(param, _)| moved[*param]) {
                settings.set(At { row: Some(row), param }, self.value(spec));
            }
        }
        settings
    }

    /// Any of the numbers, with a value that may lie outside its range.
    pub fn move_of(&mut self, settings: &Settings) -> Option<(At, f64)> {
        let rows = settings.row_count();
        let row = if rows > 0 && self.below(4) > 0 { Some(self.below(rows)) } else { None };
        let params = match row {
            None => settings.spec().params,
            Some(_) => settings.spec().rows?.params,
        };
        let numbers: Vec<usize> =
            (0..params.len()).filter(|i| matches!(params[*i].kind, Kind::Number { .. })).collect();
        if numbers.is_empty() {
            return None;
        }
        let param = numbers[self.below(numbers.len())];
        let Kind::Number { unit, low, high, .. } = params[param].kind else { return None };
        let value = match self.below(12) {
            0 => high + 1e6,
            1 => low - 1e6,
            2 => f64::NAN,
            _ => self.number(unit, low, high),
        };
        Some((At { row, param }, value))
    }
}

pub fn default_settings(entry: &Entry) -> Settings {
    let mut settings = Settings::defaults(entry.spec);
    for (param, spec) in entry.spec.params.iter().enumerate() {
        if spec.kind == Kind::File {
            settings.set(At { row: None, param }, Value::File(Some("response.wav".to_owned())));
        }
    }
    settings
}

pub fn without_noise(mut settings: Settings) -> Settings {
    for (param, spec) in settings.spec().params.iter().enumerate() {
        if let (true, Kind::Number { low, .. }) = (NOISE_PARAMS.contains(&spec.name), spec.kind) {
            settings.set(At { row: None, param }, Value::Number(low));
        }
    }
    settings
}

/// A short decaying response for processors that read one.
pub fn response(_path: &str) -> Result<Channels, BuildError> {
    let mut random = Random(7);
    let frames = (0..3000).map(|i| random.signal(1, 0.3 * libm::exp(-f64::from(i) / 500.0))[0]);
    let (left, right) = frames.map(|frame| (frame[0], frame[1])).unzip();
    Ok(vec![left, right].into())
}

pub fn build(entry: &Entry, settings: &Settings, rate_hz: f64, lanes: usize) -> Option<Box<dyn Processor>> {
    match entry.build(settings, &Context { audio: &response, ..Context::plain(rate_hz, lanes) }) {
        Ok(processor) => Some(processor),
        Err(refusal) => {
            assert!(!refusal.message.is_empty() && !refusal.remedy.is_empty(), "a refusal must say what to do");
            None
        }
    }
}

/// Runs a check over the catalogue: defaults and random settings, every rate. A failure names the case.
pub fn for_every_case(check: impl Fn(&Entry, &Settings, f64, Random)) {
    for entry in CATALOGUE {
        let mut refused = 0;
        for rate_hz in RATES_HZ {
            for draw in 0..=DRAWS {
                let mut random = Random(draw * 1000 + rate_hz as u64);
                let settings = if draw == 0 { default_settings(entry) } else { random.settings(entry) };
                if build(entry, &settings, rate_hz, 1).is_none() {
                    refused += 1;
                    continue;
                }
                let outcome = catch_unwind(AssertUnwindSafe(|| check(entry, &settings, rate_hz, random)));
                if let Err(fault) = outcome {
                    let fault = fault.downcast_ref::<String>().map(String::as_str).or(fault.downcast_ref().copied());
                    let fault = fault.unwrap_or("a panic");
                    panic!("{} at {rate_hz} Hz, draw {draw}: {fault}\n{settings:?}", entry.spec.name);
                }
            }
        }
        assert!(refused * 2 < RATES_HZ.len() * DRAWS as usize, "{} refuses most settings", entry.spec.name);
    }
}

/// All lanes one after another: followers and residue are noise, the key is their sum.
pub fn lanes_of_noise(random: &mut Random, frames: usize, peak: f64) -> Vec<Frame> {
    let mut data = vec![[0.0; 2]; frames];
    for _ in 1..LANES {
        data.extend(random.signal(frames, peak));
    }
    for at in 0..frames {
        data[at] = sum_of_others(&data, frames, at);
    }
    data
}

/// What the followers and the residue add up to at a frame.
pub fn sum_of_others(data: &[Frame], frames: usize, at: usize) -> Frame {
    (1..LANES).map(|lane| data[lane * frames + at]).fold([0.0; 2], |sum, frame| [sum[0] + frame[0], sum[1] + frame[1]])
}

/// Processes in place in pieces of at most `block_frames`, with moves at their frames.
pub fn run(
    processor: &mut dyn Processor,
    data: &mut [Frame],
    frames: usize,
    block_frames: usize,
    outside: Option<&[Frame]>,
    moves: &[(usize, At, f64)],
) {
    let mut from = 0;
    let mut moves = moves.iter().peekable();
    while from < frames {
        while let Some((_, at, value)) = moves.next_if(|(when, ..)| *when == from) {
            processor.set(*at, *value);
        }
        let until = moves.peek().map_or(frames, |(when, ..)| *when);
        let length = block_frames.min(until - from);
        let mut whole = Block::new(data, frames, frames);
        processor.process(&mut whole.part(from, length), outside.map(|key| &key[from..from + length]));
        from += length;
    }
}

pub fn outside_for<'a>(entry: &Entry, key: &'a [Frame]) -> Option<&'a [Frame]> {
    entry.spec.outside_key.then_some(key)
}

pub fn all_finite(data: &[Frame]) -> bool {
    data.as_flattened().iter().all(|x| x.is_finite())
}

pub fn peak(data: &[Frame]) -> f64 {
    data.as_flattened().iter().fold(0.0, |peak: f64, x| peak.max(x.abs()))
}
