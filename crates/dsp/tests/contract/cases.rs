//! The cases: random settings and signals, and runs of a processor over them.

use std::panic::{AssertUnwindSafe, catch_unwind};

use chance::Random;
use dsp::{BuildError, CATALOGUE, Channels, Context, Entry, Processor};
use units::{At, Block, Frame, Kind, Param, Settings, Value};

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

fn value(random: &mut Random, param: &Param) -> Value {
    match param.kind {
        Kind::Number { unit, low, high, .. } => Value::Number(random.number(unit, low, high)),
        Kind::Choice { options, .. } => Value::Choice(random.below(options.len())),
        Kind::Switch { .. } => Value::Switch(random.below(2) == 1),
        Kind::File => Value::File(Some("response.wav".to_owned())),
    }
}

/// Random settings. A third of the parameters, another third in each draw, stay at their defaults in every row, so
/// that what excludes something else is left alone often enough.
pub fn settings(random: &mut Random, entry: &Entry) -> Settings {
    let mut settings = default_settings(entry);
    for (param, spec) in entry.spec.params.iter().enumerate() {
        if random.below(3) > 0 {
            settings.set(At { row: None, param }, value(random, spec));
        }
    }
    let Some(rows) = entry.spec.rows else { return settings };
    let moved: Vec<bool> = rows.params.iter().map(|_| random.below(3) > 0).collect();
    for _ in 0..=random.below(rows.most.min(4)) {
        let row = settings.add_row();
        for (param, spec) in rows.params.iter().enumerate().filter(|(param, _)| moved[*param]) {
            settings.set(At { row: Some(row), param }, value(random, spec));
        }
    }
    settings
}

/// Any of the numbers, with a value that may lie outside its range.
pub fn move_of(random: &mut Random, settings: &Settings) -> Option<(At, f64)> {
    let rows = settings.row_count();
    let row = if rows > 0 && random.below(4) > 0 { Some(random.below(rows)) } else { None };
    let params = match row {
        None => settings.spec().params,
        Some(_) => settings.spec().rows?.params,
    };
    let numbers: Vec<usize> = (0..params.len()).filter(|i| matches!(params[*i].kind, Kind::Number { .. })).collect();
    if numbers.is_empty() {
        return None;
    }
    let param = numbers[random.below(numbers.len())];
    let Kind::Number { unit, low, high, .. } = params[param].kind else { return None };
    let value = match random.below(12) {
        0 => high + 1e6,
        1 => low - 1e6,
        2 => f64::NAN,
        _ => random.number(unit, low, high),
    };
    Some((At { row, param }, value))
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
                let settings = if draw == 0 { default_settings(entry) } else { settings(&mut random, entry) };
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

pub fn peak(data: &[Frame]) -> f64 {
    data.as_flattened().iter().fold(0.0, |peak: f64, x| peak.max(x.abs()))
}
