//! Cells that stand for a song: six of four seconds, at even steps of loudness among all that the relative gate of BS.1770
//! leaves in, the loudest among them.

use std::path::Path;

use engine::Fault;
use measure::LoudnessMeter;
use units::{Frame, db_from_power, gain_from_db};

use crate::spool::media_fault;

/// Songs up to this length are rendered whole.
const WHOLE_S: f64 = 30.0;
/// Cells that stand for a longer one.
const CELLS: usize = 6;
const CELL_S: f64 = 4.0;
/// Fades at the ends of cells, so that no edge is limited.
const FADE_S: f64 = 0.01;
/// BS.1770: relative gate.
const GATE_LU: f64 = -10.0;
/// The stretches that stand for a song, in seconds: all of it, or cells at even steps of loudness.
pub(super) fn cells(loudness: &LoudnessMeter, whole_s: f64) -> Vec<[f64; 2]> {
    if whole_s <= WHOLE_S {
        return vec![[0.0, whole_s]];
    }
    // A momentary reading ends at its time; those of one cell follow each other.
    let history = loudness.history();
    let mut all: Vec<(f64, f64)> = (0..(whole_s / CELL_S) as usize)
        .filter_map(|cell| {
            let from = cell as f64 * CELL_S;
            let inside = history.iter().filter(|point| point.secs > from && point.secs <= from + CELL_S);
            let energy: f64 = inside.filter_map(|point| point.momentary_lufs).map(energy).sum();
            (energy > 0.0).then(|| (db_from_power(energy / (CELL_S * 10.0)), from))
        })
        .collect();
    all.sort_by(|a, b| b.0.total_cmp(&a.0));
    let gate = loudness.integrated_lufs().unwrap_or(f64::NEG_INFINITY) + GATE_LU;
    all.retain(|(lufs, _)| *lufs > gate);
    let last = all.len().saturating_sub(1);
    let mut picked: Vec<usize> = (0..CELLS).map(|n| (n * last + (CELLS - 1) / 2) / (CELLS - 1)).collect();
    picked.dedup();
    let mut spans: Vec<[f64; 2]> =
        picked.into_iter().filter_map(|index| all.get(index)).map(|(_, from)| [*from, from + CELL_S]).collect();
    spans.sort_by(|a, b| a[0].total_cmp(&b[0]));
    spans
}

fn energy(lufs: f64) -> f64 {
    let gain = gain_from_db(lufs);
    gain * gain
}

pub(super) fn read_spans(path: &Path, spans: &[[f64; 2]], rate_hz: f64) -> Result<Vec<Frame>, Fault> {
    let mut reader = media::Reader::open(path).map_err(|error| media_fault(&error))?;
    let fade = (FADE_S * rate_hz) as usize;
    let mut all = Vec::new();
    for [from, to] in spans {
        let first = (from * rate_hz).round() as u64;
        let mut span = vec![units::SILENCE; ((to - from) * rate_hz).round() as usize];
        reader.seek(first).map_err(|error| media_fault(&error))?;
        let mut done = 0;
        while done < span.len() {
            match reader.read(&mut span[done..]).map_err(|error| media_fault(&error))? {
                0 => break,
                count => done += count,
            }
        }
        if spans.len() > 1 {
            let length = span.len();
            for n in 0..fade.min(length / 2) {
                let gain = n as f64 / fade as f64;
                span[n] = span[n].map(|x| gain * x);
                span[length - 1 - n] = span[length - 1 - n].map(|x| gain * x);
            }
        }
        all.extend_from_slice(&span);
    }
    Ok(all)
}

pub(super) fn write_spool(path: &Path, sound: &[Frame], rate_hz: u32) -> Result<(), Fault> {
    let format = media::FileFormat::Wav(media::WavSample::Float64);
    let written = media::write_all(path, &format, rate_hz, sound, &media::Metadata::default());
    written.map(|_| ()).map_err(|error| media_fault(&error))
}
