//! `measure`: figures of audio files.

use std::path::Path;

use measure::{Measured, Measures};
use serde::Serialize;

use crate::args::MeasureArgs;
use crate::commands::figure;
use crate::outcome::Outcome;
use crate::voice::Voice;

/// One file in the JSON of `measure`.
#[derive(Serialize)]
struct FileMeasures {
    path: String,
    rate_hz: f64,
    channels: u16,
    frames: u64,
    #[serde(flatten)]
    measures: Measures,
}

/// Runs the command.
pub fn run(voice: &Voice, args: &MeasureArgs) -> Outcome {
    let progress = voice.progress();
    let mut files = Vec::new();
    for (index, path) in args.files.iter().enumerate() {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        let tell = |part: f64| progress.tell(&name, (index as f64 + part) / args.files.len() as f64);
        match measure_one(path, &tell) {
            Ok(file) => files.push(file),
            Err(fault) => return voice.fault(&fault),
        }
    }
    drop(progress);
    for file in &files {
        tell(voice, file);
    }
    voice.data(&serde_json::json!({ "files": files }));
    Outcome::Done
}

fn measure_one(path: &Path, progress: &dyn Fn(f64)) -> Result<FileMeasures, engine::Fault> {
    let (channels, measured): (u16, Measured) = prints::files::measure_file(path, progress)?;
    Ok(FileMeasures {
        path: path.display().to_string(),
        rate_hz: measured.rate_hz,
        channels,
        frames: measured.frames,
        measures: measured.measures,
    })
}

fn tell(voice: &Voice, file: &FileMeasures) {
    let m = &file.measures;
    let secs = file.frames as f64 / file.rate_hz;
    let channels = if file.channels == 1 { "mono" } else { "stereo" };
    voice.say(&format!("{}: {}, {} kHz, {channels}", file.path, units::format_time(secs), file.rate_hz / 1000.0));
    voice.say(&format!(
        "  loudness  {} LUFS integrated, range {} LU, at most {} momentary and {} short-term",
        figure(m.integrated_lufs, 2),
        figure(m.loudness_range_lu, 1),
        figure(m.max_momentary_lufs, 1),
        figure(m.max_short_term_lufs, 1),
    ));
    voice.say(&format!(
        "  peaks     {} dBTP true, {} dBFS sample; PLR {} dB, crest {} dB",
        figure(m.true_peak_dbtp, 2),
        figure(m.sample_peak_dbfs, 2),
        figure(m.plr_db, 1),
        figure(m.crest_db, 1),
    ));
    voice.say(&format!("  stereo    correlation {}", figure(m.correlation, 2)));
}
