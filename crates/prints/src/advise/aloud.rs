//! How a print travels, as sound: short files of its loudest stretch, all equally loud.
//!
//! Each file is the stretch through one real-valued response that is the same for both channels (applied to its spectrum,
//! so that nothing moves in time), as [`super::translation`] describes it: mono, small speaker, far, side only, soft. The
//! soft one is not soft: its balance is what soft listening makes of the print, to be heard at the usual level.
//!
//! All are brought to -23 LUFS (EBU R 128), lower if a true peak would pass -1 dBTP, so that going from one to another is
//! no jump; each swells from silence within a second.

use std::f64::consts::PI;
use std::fs;
use std::path::{Path, PathBuf};

use engine::Fault;
use measure::LoudnessMeter;
use measure::equal_loudness::seems_changed_db;
use rustfft::FftPlannerScalar;
use rustfft::num_complex::Complex;
use serde::Serialize;
use units::{Frame, SILENCE, gain_from_db};

use super::cells::read_spans;
use super::cost::true_peak_dbtp;
use super::translation::{DOOR_HZ, PHON, SMALL_HZ};
use crate::revision::machine;
use crate::spool::media_fault;

/// Longest stretch.
const STRETCH_S: f64 = 12.0;
/// Loudness of all files, and the true peak that none passes (EBU R 128).
const LOUDNESS_LUFS: f64 = -23.0;
const PEAK_DBTP: f64 = -1.0;
/// How long a file swells, and fades.
const SWELL_S: f64 = 1.0;
const FADE_S: f64 = 0.5;
/// What lies this far under the print would be brought up with its noise, and is left out.
const FAINT_LU: f64 = -40.0;

/// One file to hear.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AloudRecord {
    /// The file.
    pub path: PathBuf,
    /// What it lets one hear.
    pub what: &'static str,
    /// Where in the song it starts, in seconds.
    pub from_secs: f64,
    /// Its loudness.
    pub lufs: f64,
}

/// One way to listen.
struct Way {
    name: &'static str,
    what: &'static str,
    mix: fn(Frame) -> Frame,
    gain: fn(f64) -> f64,
}

const WAYS: [Way; 6] = [
    Way { name: "as printed", what: "the print, to hold the others against", mix: |x| x, gain: |_| 1.0 },
    Way { name: "mono", what: "both channels in one", mix: middle, gain: |_| 1.0 },
    Way { name: "small speaker", what: "one speaker from 200 Hz to 10 kHz", mix: middle, gain: small },
    Way { name: "far", what: "from the next room", mix: middle, gain: door },
    Way { name: "side only", what: "what the channels do not share", mix: side, gain: |_| 1.0 },
    Way { name: "soft", what: "the balance that soft listening leaves", mix: |x| x, gain: softly },
];

fn middle([left, right]: Frame) -> Frame {
    [f64::midpoint(left, right); 2]
}

fn side([left, right]: Frame) -> Frame {
    [(left - right) / 2.0; 2]
}

/// Fourth-order Butterworth at both ends.
fn small(hz: f64) -> f64 {
    let power = |ratio: f64| ratio * ratio * ratio * ratio * ratio * ratio * ratio * ratio;
    1.0 / ((1.0 + power(SMALL_HZ[0] / hz.max(1.0))) * (1.0 + power(hz / SMALL_HZ[1]))).sqrt()
}

fn door(hz: f64) -> f64 {
    1.0 / (1.0 + (hz / DOOR_HZ) * (hz / DOOR_HZ)).sqrt()
}

fn softly(hz: f64) -> f64 {
    gain_from_db(seems_changed_db(PHON[0], PHON[1], hz))
}

/// The files that would be written.
pub(super) fn paths(folder: &Path) -> Vec<PathBuf> {
    WAYS.iter().map(|way| folder.join(format!("{}.wav", way.name))).collect()
}

/// The print's signal, in a file, with its loudness and rate.
pub(super) struct Signal<'a> {
    pub path: PathBuf,
    pub loudness: &'a LoudnessMeter,
    pub rate_hz: f64,
}

/// Writes all files into a folder, which is made if it is not there.
///
/// # Errors
/// The folder cannot be written.
pub(super) fn write(signal: &Signal<'_>, folder: &Path) -> Result<Vec<AloudRecord>, Fault> {
    fs::create_dir_all(folder).map_err(|error| machine(folder, &error))?;
    let from_secs = loudest(signal.loudness);
    let stretch = read_spans(&signal.path, &[[from_secs, from_secs + STRETCH_S]], signal.rate_hz)?;
    let mut heard: Vec<(&Way, PathBuf, Vec<Frame>)> = Vec::new();
    let whole_lufs = lufs(&stretch, signal.rate_hz).unwrap_or(f64::NEG_INFINITY);
    for (way, path) in WAYS.iter().zip(paths(folder)) {
        let mixed: Vec<Frame> = stretch.iter().map(|frame| (way.mix)(*frame)).collect();
        let mut frames = shaped(&mixed, signal.rate_hz, way.gain);
        swell(&mut frames, signal.rate_hz);
        let Some(now) = lufs(&frames, signal.rate_hz).filter(|lufs| *lufs > whole_lufs + FAINT_LU) else { continue };
        scale(&mut frames, LOUDNESS_LUFS - now);
        heard.push((way, path, frames));
    }
    let peaks = heard.iter().map(|(.., frames)| true_peak_dbtp(frames));
    let beyond_db = peaks.fold(PEAK_DBTP, f64::max) - PEAK_DBTP;
    let written = heard.into_iter().map(|(way, path, mut frames)| {
        scale(&mut frames, -beyond_db);
        write_one(&path, &frames, signal.rate_hz)?;
        Ok(AloudRecord { path, what: way.what, from_secs, lufs: LOUDNESS_LUFS - beyond_db })
    });
    written.collect()
}

fn write_one(path: &Path, frames: &[Frame], rate_hz: f64) -> Result<(), Fault> {
    let format = media::FileFormat::Wav(media::WavSample::Float32);
    let written = media::write_all(path, &format, rate_hz as u32, frames, &media::Metadata::default());
    written.map(|_| ()).map_err(|error| media_fault(&error))
}

/// Start of the loudest stretch: the mean of its momentary energies is the greatest.
fn loudest(loudness: &LoudnessMeter) -> f64 {
    let energy = |lufs: Option<f64>| lufs.map_or(0.0, |lufs| gain_from_db(lufs) * gain_from_db(lufs));
    let energies: Vec<f64> = loudness.history().iter().map(|point| energy(point.momentary_lufs)).collect();
    let tenths = (STRETCH_S * 10.0) as usize;
    let sums = energies.windows(tenths.min(energies.len()).max(1)).map(|window| window.iter().sum::<f64>());
    sums.enumerate().max_by(|a, b| a.1.total_cmp(&b.1)).map_or(0.0, |(at, _)| at as f64 / 10.0)
}

fn lufs(frames: &[Frame], rate_hz: f64) -> Option<f64> {
    let mut meter = LoudnessMeter::new(rate_hz);
    meter.push(frames);
    meter.integrated_lufs()
}

fn scale(frames: &mut [Frame], db: f64) {
    let gain = gain_from_db(db);
    frames.iter_mut().flatten().for_each(|sample| *sample *= gain);
}

/// Half a period of a raised cosine at either end.
fn swell(frames: &mut [Frame], rate_hz: f64) {
    let count = frames.len();
    let [rise, fall] = [SWELL_S, FADE_S].map(|secs| ((secs * rate_hz) as usize).min(count / 2).max(1));
    let level = |of: usize, over: usize| 0.5 - 0.5 * libm::cos(PI * (of as f64 / over as f64).min(1.0));
    for (n, frame) in frames.iter_mut().enumerate() {
        let gain = level(n, rise) * level(count - 1 - n, fall);
        *frame = frame.map(|sample| gain * sample);
    }
}

/// Both channels, as real and imaginary part, through one real-valued response; silence around them takes what rings.
fn shaped(frames: &[Frame], rate_hz: f64, gain: fn(f64) -> f64) -> Vec<Frame> {
    let around = rate_hz as usize;
    let size = (frames.len() + 2 * around).next_power_of_two();
    let padded = std::iter::repeat_n(&SILENCE, around).chain(frames).chain(std::iter::repeat(&SILENCE));
    let mut bins: Vec<Complex<f64>> = padded.take(size).map(|x| Complex::new(x[0], x[1])).collect();
    let mut planner = FftPlannerScalar::new();
    planner.plan_fft_forward(size).process(&mut bins);
    for (k, bin) in bins.iter_mut().enumerate() {
        *bin *= gain(k.min(size - k) as f64 * rate_hz / size as f64) / size as f64;
    }
    planner.plan_fft_inverse(size).process(&mut bins);
    bins[around..][..frames.len()].iter().map(|bin| [bin.re, bin.im]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE_HZ: f64 = 48_000.0;

    fn tone(hz: f64) -> Vec<Frame> {
        let sample = |n: usize| 0.1 * libm::sin(2.0 * PI * hz * n as f64 / RATE_HZ);
        (0..96_000).map(|n| [sample(n), 0.5 * sample(n)]).collect()
    }

    /// Level of the middle second, left channel, re 0.1.
    fn level_db(frames: &[Frame]) -> f64 {
        let power = frames[24_000..72_000].iter().map(|x| x[0] * x[0]).sum::<f64>() / 48_000.0;
        units::db_from_power(power / 0.005)
    }

    #[test]
    fn ways_to_listen_have_the_responses_that_they_claim() {
        // A fourth-order Butterworth has -3.01 dB at its corner and -24.1 dB an octave beyond; one of first order -3.01
        // and -6.99 dB. ISO 226 by the worked value at 100 Hz, 80 to 60 phon: -6.17 dB.
        for (gain, hz, expected) in [
            (small as fn(f64) -> f64, 200.0, -3.01),
            (small, 100.0, -24.1),
            (small, 1000.0, 0.0),
            (door, 500.0, -3.01),
            (door, 1000.0, -6.99),
            (softly, 100.0, -6.17),
            (softly, 1000.0, 0.0),
        ] {
            let level = level_db(&shaped(&tone(hz), RATE_HZ, gain));
            assert!((level - expected).abs() < 0.05, "{hz} Hz: {level}, expected {expected}");
        }
    }

    #[test]
    fn channels_stay_apart_and_nothing_moves_in_time() {
        let (input, output) = (tone(1000.0), shaped(&tone(1000.0), RATE_HZ, |_| 1.0));
        assert!(input.iter().zip(&output).all(|(a, b)| (a[0] - b[0]).abs() + (a[1] - b[1]).abs() < 1e-12));
    }

    #[test]
    fn files_swell_from_silence_and_end_in_it() {
        let mut frames = vec![[1.0; 2]; 96_000];
        swell(&mut frames, RATE_HZ);
        assert!(frames[0][0] == 0.0 && frames[95_999][0] == 0.0 && frames[60_000][0] == 1.0);
        let steepest = frames.windows(2).map(|pair| (pair[1][0] - pair[0][0]).abs()).fold(0.0, f64::max);
        assert!(steepest < 1e-4, "{steepest}");
    }
}
