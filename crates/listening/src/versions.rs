//! The versions of a page, brought together: in time to the frame, in loudness by the meter.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

use engine::Fault;
use measure::{LoudnessMeter, TruePeakMeter};
use sha2::{Digest, Sha256};
use units::{Frame, Problem, Severity, db_from_gain};

use crate::revision::{Heard, Version};

/// A page plays all versions at the loudness of the quietest, and at most at this one: quieter than most broadcasts and
/// far below a loud print, so that nothing starts loud. A choice of ours, no source.
const MATCHED_LUFS: f64 = -20.0;
/// As delivered, the loudest version plays at most so much above the matched loudness; if the versions lie further apart,
/// all are lowered alike. A choice of ours, no source.
const MOST_ABOVE_LU: f64 = 6.0;
/// No version plays above this; the page's guard holds it for what a listener adds.
const CEILING_DBTP: f64 = -1.0;
/// How far apart two versions may start, and below which correlation they are not the same song. Common practice, no
/// source.
const MOST_DELAY_SECS: f64 = 10.0;
const LEAST_CORRELATION: f64 = 0.3;

/// Points of a silhouette in a second.
const POINTS_A_SEC: f64 = 10.0;
/// The silhouette reaches from so far below the integrated loudness to so far above it.
const SILHOUETTE_LU: [f64; 2] = [-24.0, 10.0];

/// A version, ready to be encoded.
#[derive(Clone, Debug)]
pub(crate) struct Placed {
    pub version: Version,
    /// Integrated loudness of the whole file.
    pub lufs: f64,
    /// True peak of the whole file; the page plays nothing above its ceiling.
    pub peak_dbtp: f64,
    /// Frames, at the page's rate, by which its song lies behind the first version's.
    pub delay_frames: i64,
    /// Momentary loudness ten times a second against the integrated loudness: 0 to 255 for the range of the silhouette.
    pub silhouette: Vec<u8>,
}

/// Gains of a version on the page.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Gains {
    pub matched_db: f64,
    pub delivered_db: f64,
}

/// Checks, aligns and measures versions; the first is the one that the others are brought into line with. What is not
/// the same song is left out, with a finding.
pub(crate) fn place(heard: &Heard, versions: &[Version], rate_hz: u32) -> Result<(Vec<Placed>, Vec<Problem>), Fault> {
    let (mut placed, mut findings) = (Vec::new(), Vec::new());
    let mut first: Option<Vec<Frame>> = None;
    for version in versions {
        if let Some(sha256) = &version.sha256 {
            check_unchanged(&version.path, sha256)?;
        }
        let (_, frames) = media::read_all(&version.path, Some(rate_hz)).map_err(|error| prints::media_fault(&error))?;
        let mut meter = LoudnessMeter::new(f64::from(rate_hz));
        meter.push(&frames);
        let mut peaks = TruePeakMeter::new();
        peaks.push(&frames);
        let [left, right] = peaks.finish();
        let peak_dbtp = db_from_gain(left.value.max(right.value));
        let Some(lufs) = meter.integrated_lufs() else {
            findings.push(left_out(version, "silent-version", "is silent"));
            continue;
        };
        let delay_frames = match (&first, &version.sha256) {
            // Prints of one revision start together: the plan has seen to it.
            (Some(first), None) => match delay(first, &frames, rate_hz) {
                Some(delay) => delay,
                None => {
                    findings.push(left_out(version, "another-song", "does not line up with the prints"));
                    continue;
                }
            },
            _ => 0,
        };
        let silhouette = silhouette(&meter, lufs, delay_frames as f64 / f64::from(rate_hz), heard.secs());
        placed.push(Placed { version: version.clone(), lufs, peak_dbtp, delay_frames, silhouette });
        first.get_or_insert(frames);
    }
    Ok((placed, findings))
}

fn left_out(version: &Version, code: &'static str, what: &str) -> Problem {
    let message = format!("“{}” {what}, so the page leaves it out.", version.name);
    let remedy = "Choose the versions with --only if that is not what you want.".to_owned();
    Problem::new(Severity::Warn, code, &version.name, message, remedy)
}

/// Frames by which `b` lies behind `a`.
fn delay(a: &[Frame], b: &[Frame], rate_hz: u32) -> Option<i64> {
    let fit = measure::align(a, b, (MOST_DELAY_SECS * f64::from(rate_hz)) as usize)?;
    (fit.correlation >= LEAST_CORRELATION).then(|| fit.delay_samples.round() as i64)
}

/// An approval names a file by its checksum, so the file must still be the one that was printed.
fn check_unchanged(path: &Path, sha256: &str) -> Result<(), Fault> {
    let name = path.display().to_string();
    let cannot = |error: io::Error| {
        let remedy = "Print the sheet again.".to_owned();
        Fault::input("cannot-read", &name, format!("{name} cannot be read: {error}."), remedy)
    };
    let mut file = File::open(path).map_err(cannot)?;
    let (mut hash, mut buffer) = (Sha256::new(), vec![0; 1 << 16]);
    loop {
        match file.read(&mut buffer).map_err(cannot)? {
            0 => break,
            count => hash.update(&buffer[..count]),
        }
    }
    let found: String = hash.finalize().iter().map(|byte| format!("{byte:02x}")).collect();
    if found == sha256 {
        return Ok(());
    }
    let message = format!("{name} is not the file that was printed: its checksum differs from the report's.");
    Err(Fault::input("print-changed", &name, message, "Print the sheet again.".to_owned()))
}

/// What the page plays each version at.
pub(crate) fn gains(placed: &[Placed]) -> (f64, Vec<Gains>) {
    // A version of many peaks is quieter where those stay below the ceiling.
    let allowed = |version: &Placed| version.lufs + (CEILING_DBTP - version.peak_dbtp).min(0.0);
    let lowest = placed.iter().map(allowed).fold(MATCHED_LUFS, f64::min);
    let highest = placed.iter().map(|version| version.lufs).fold(f64::NEG_INFINITY, f64::max);
    let peak_dbtp = placed.iter().map(|version| version.peak_dbtp).fold(CEILING_DBTP, f64::max);
    let delivered_db = (lowest + MOST_ABOVE_LU - highest).min(CEILING_DBTP - peak_dbtp);
    let of = |version: &Placed| Gains { matched_db: lowest - version.lufs, delivered_db };
    (lowest, placed.iter().map(of).collect())
}

/// The shape of the song: momentary loudness, with the integrated loudness of every version at the same height.
fn silhouette(meter: &LoudnessMeter, lufs: f64, delay_secs: f64, secs: f64) -> Vec<u8> {
    let history = meter.history();
    let points = (secs * POINTS_A_SEC).ceil() as usize;
    let at = |point: usize| {
        // A window of 0.4 s ends at the point's time: its middle is what is drawn there.
        let secs = point as f64 / POINTS_A_SEC + delay_secs + 0.2;
        let index = history.partition_point(|point| point.secs < secs);
        history.get(index).and_then(|point| point.momentary_lufs)
    };
    let height = |momentary: Option<f64>| {
        let [low, high] = SILHOUETTE_LU;
        let height = momentary.map_or(0.0, |momentary| (momentary - lufs - low) / (high - low));
        (height.clamp(0.0, 1.0) * 255.0).round() as u8
    };
    (0..points).map(|point| height(at(point))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn version(lufs: f64) -> Placed {
        let version =
            Version { name: String::new(), kind: None, path: Default::default(), integrated_lufs: None, sha256: None };
        Placed { version, lufs, peak_dbtp: -1.0, delay_frames: 0, silhouette: Vec::new() }
    }

    #[test]
    fn all_play_at_the_quietest_and_never_above_the_moderate_level() {
        let (matched, gains) = gains(&[version(-8.0), version(-18.0), version(-9.5)]);
        assert_eq!(matched, -20.0);
        assert_eq!(gains.iter().map(|g| g.matched_db).collect::<Vec<_>>(), [-12.0, -2.0, -10.5]);
    }

    #[test]
    fn no_version_plays_above_the_ceiling() {
        let peaky = Placed { peak_dbtp: 0.5, ..version(-21.0) };
        let (matched, of) = gains(&[version(-8.0), peaky]);
        assert_eq!(matched, -22.5);
        assert_eq!(of[1].matched_db, -1.5);
        let (_, close) = gains(&[version(-21.0), Placed { peak_dbtp: 0.5, ..version(-20.5) }]);
        assert!(close.iter().all(|gains| gains.delivered_db == -1.5), "as delivered alike, with room for both");
    }

    #[test]
    fn as_delivered_keeps_the_differences_and_bounds_the_loudest() {
        let (matched, of) = gains(&[version(-8.0), version(-24.0)]);
        assert_eq!(matched, -24.0);
        // The loudest comes out 6 LU above matched, the other as far below it as it is.
        assert_eq!(of[0].delivered_db, of[1].delivered_db);
        assert_eq!(-8.0 + of[0].delivered_db, -18.0);
        let (_, close) = gains(&[version(-21.0), version(-20.5)]);
        assert_eq!(close[0].delivered_db, 0.0, "nothing is raised, and nothing lowered without need");
    }
}
