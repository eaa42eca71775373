//! The bench of the experiments: a processor by its settings, signals through it.

use std::f64::consts::TAU;

use dsp::{Context, Processor};
use rustfft::FftPlannerScalar;
use rustfft::num_complex::Complex;
use units::random::{next, share};
use units::{At, Block, Frame, Kind, MAX_BLOCK_FRAMES, Param, SILENCE, Settings, Spec, Value, gain_from_db};

/// Rate of all experiments.
pub const RATE_HZ: f64 = 48_000.0;

/// Frames of an answer, 1.4 s.
const ANSWER_FRAMES: usize = 1 << 16;

/// Settings as words: name and value as a sheet would write them.
pub type Words<'a> = &'a [(&'a str, &'a str)];

/// A processor with settings.
pub fn build(name: &str, words: Words<'_>) -> Box<dyn Processor> {
    with_rows(name, words, &[])
}

/// A processor with settings and rows.
pub fn with_rows(name: &str, words: Words<'_>, rows: &[Words<'_>]) -> Box<dyn Processor> {
    let entry = dsp::entry(name).expect("the catalogue has what is asked for");
    let mut settings = Settings::defaults(entry.spec);
    set_all(&mut settings, None, entry.spec.params, words);
    for words in rows {
        let row = settings.add_row();
        set_all(&mut settings, Some(row), row_params(entry.spec), words);
    }
    entry.build(&settings, &Context::plain(RATE_HZ, 1)).expect("the experiments' settings can be had")
}

fn row_params(spec: &'static Spec) -> &'static [Param] {
    spec.rows.map_or(&[], |rows| rows.params)
}

fn set_all(settings: &mut Settings, row: Option<usize>, params: &'static [Param], words: Words<'_>) {
    for (name, value) in words {
        let param = params.iter().position(|param| param.name == *name);
        let param = param.unwrap_or_else(|| panic!("{name} is a parameter"));
        let value = match params[param].kind {
            Kind::Number { .. } => Value::Number(value.parse().expect("a number")),
            Kind::Choice { options, .. } => {
                Value::Choice(options.iter().position(|word| word == value).expect("one of the options"))
            }
            Kind::Switch { .. } => Value::Switch(*value == "true"),
            Kind::File => panic!("experiments have no files"),
        };
        settings.set(At { row, param }, value);
    }
}

/// What comes out for a signal, its latency taken away, as long as what went in.
pub fn run(processor: Box<dyn Processor>, signal: &[Frame]) -> Vec<Frame> {
    let latency = processor.latency_frames();
    run_late(processor, signal).split_off(latency)
}

/// What comes out for a signal from its first frame on. A filter of linear phase answers before its latency is over.
fn run_late(mut processor: Box<dyn Processor>, signal: &[Frame]) -> Vec<Frame> {
    let mut frames = signal.to_vec();
    frames.resize(signal.len() + processor.latency_frames(), SILENCE);
    for block in frames.chunks_mut(MAX_BLOCK_FRAMES) {
        processor.process(&mut Block::key_only(block), None);
    }
    frames
}

/// The whole answer to a hit, for its spectrum.
pub fn answer(processor: Box<dyn Processor>, hit: Frame) -> Vec<Frame> {
    run_late(processor, &impulse(hit, ANSWER_FRAMES))
}

/// Both channels alike.
pub fn both(signal: impl Iterator<Item = f64>) -> Vec<Frame> {
    signal.map(|x| [x, x]).collect()
}

/// The left channel.
pub fn left(frames: &[Frame]) -> Vec<f64> {
    frames.iter().map(|frame| frame[0]).collect()
}

/// A sine with a peak in dBFS.
pub fn sine(hz: f64, peak_dbfs: f64, frames: usize) -> impl Iterator<Item = f64> {
    let peak = gain_from_db(peak_dbfs);
    (0..frames).map(move |n| peak * libm::sin(TAU * hz * n as f64 / RATE_HZ))
}

/// One frame of a level, then silence.
pub fn impulse(frame: Frame, frames: usize) -> Vec<Frame> {
    let mut signal = vec![SILENCE; frames];
    signal[0] = frame;
    signal
}

/// White noise, even between -0.5 and 0.5, the same on every machine.
pub fn noise(frames: usize) -> Vec<f64> {
    let mut state = 0;
    (0..frames).map(|_| share(next(&mut state)) - 0.5).collect()
}

/// Points from 20 Hz to 20 kHz at equal ratios.
pub fn ears(points: usize) -> impl Iterator<Item = f64> {
    (0..points).map(move |n| 20.0 * libm::pow(1000.0, n as f64 / (points - 1) as f64))
}

/// Magnitude of a response in dB at frequencies, by its transform.
pub fn magnitude_db(response: &[f64], hz: impl Iterator<Item = f64>) -> Vec<(f64, f64)> {
    let size = response.len().next_power_of_two();
    let mut bins: Vec<Complex<f64>> = response.iter().map(|x| Complex::new(*x, 0.0)).collect();
    bins.resize(size, Complex::default());
    FftPlannerScalar::new().plan_fft_forward(size).process(&mut bins);
    let level = |hz: f64| {
        // Between two bins, the power is taken on a straight line.
        let at = hz * size as f64 / RATE_HZ;
        let (bin, part) = (at as usize, at.fract());
        let power = bins[bin].norm_sqr() * (1.0 - part) + bins[bin + 1].norm_sqr() * part;
        units::db_from_power(power.max(1e-20))
    };
    hz.map(|hz| (hz, level(hz))).collect()
}

/// Root mean square in stretches of `ms`, as (time of the middle in ms, dB).
pub fn levels_db(signal: &[f64], ms: f64) -> Vec<(f64, f64)> {
    let pieces = signal.chunks_exact(units::frames_from_ms(ms, RATE_HZ)).enumerate();
    let power = |piece: &[f64]| piece.iter().map(|x| x * x).sum::<f64>() / piece.len() as f64;
    pieces.map(|(n, piece)| ((n as f64 + 0.5) * ms, units::db_from_power(power(piece).max(1e-20)))).collect()
}
