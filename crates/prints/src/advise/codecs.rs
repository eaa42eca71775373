//! What lossy codecs make of a print: overs by bit rate, what is left over, and the ceiling that survives.
//!
//! The print's end is rendered at the loudness that it asks for, over the cells that stand for the song (see
//! [`super::cost`]), really encoded and really decoded, delay and padding taken away. True peaks are read as everywhere;
//! an over is a run of decoded samples above full scale. The residual is decoded less print, by power. The ceiling that
//! survives is the print's own less what the decoded peak is above it: the overshoot hardly changes with so small a step,
//! and the print itself proves it again.

use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use engine::Fault;
use media::codec;
use serde::Serialize;
use sheet::Print;
use units::{Frame, Problem, Severity, db_from_power};

use super::cost::true_peak_dbtp;
use crate::files::{codec_in_words, codec_of};
use crate::spool::media_fault;

/// Codecs and rates that are tried, in kbit/s.
const TRIED: [(&str, u32); 9] = [
    ("mp3", 96),
    ("mp3", 128),
    ("mp3", 192),
    ("mp3", 256),
    ("mp3", 320),
    ("opus", 96),
    ("opus", 160),
    ("vorbis", 128),
    ("vorbis", 192),
];

/// A print after one codec.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CodecRecord {
    /// Codec and rate.
    pub codec: String,
    /// Bit rate.
    pub kbps: u32,
    /// True peak of what a listener decodes.
    pub decoded_dbtp: f64,
    /// Runs of decoded samples above full scale, in what was rendered.
    pub overs: usize,
    /// Time in the song of the first.
    pub first_over_secs: Option<f64>,
    /// Residual over the print, in power.
    pub residual_db: Option<f64>,
    /// The limiter's ceiling with which the print's present one holds after this codec.
    pub surviving_ceiling_dbtp: f64,
}

/// A rendered print to send through codecs.
pub(super) struct Trip<'a> {
    pub frames: &'a [Frame],
    /// Stretches of the song, in seconds, that the frames are.
    pub spans: &'a [[f64; 2]],
    pub rate_hz: f64,
    pub ceiling_dbtp: f64,
    pub work: &'a Path,
    pub threads: usize,
}

impl Trip<'_> {
    /// All codecs and rates, as many threads at once as there are.
    pub(super) fn all(&self) -> Result<Vec<CodecRecord>, Fault> {
        let (next, done) = (AtomicUsize::new(0), Mutex::new(Vec::new()));
        let work = || {
            loop {
                let index = next.fetch_add(1, Ordering::Relaxed);
                let Some((codec, kbps)) = TRIED.get(index) else { return };
                let record = self.one(codec, *kbps);
                done.lock().unwrap_or_else(std::sync::PoisonError::into_inner).push((index, record));
            }
        };
        std::thread::scope(|scope| {
            for _ in 1..self.threads {
                scope.spawn(work);
            }
            work();
        });
        let mut all = done.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner);
        all.sort_by_key(|(index, _)| *index);
        all.into_iter().map(|(_, record)| record).collect()
    }

    fn one(&self, codec: &'static str, kbps: u32) -> Result<CodecRecord, Fault> {
        let choice = codec_of(&sheet::CodecChoice { codec, kbps, place: units::Place::of("", 0..0) });
        let heard = codec::round_trip(self.frames, self.rate_hz as u32, choice, self.work)
            .map_err(|error| media_fault(&error))?;
        let decoded_dbtp = true_peak_dbtp(&heard);
        let (overs, first) = overs(&heard);
        let rest = residual(self.frames, &heard);
        let (left, all) = (power(&rest), power(self.frames));
        Ok(CodecRecord {
            codec: choice.to_string(),
            kbps,
            decoded_dbtp,
            overs,
            first_over_secs: first.map(|frame| self.song_secs(frame)),
            residual_db: (left > 0.0 && all > 0.0).then(|| db_from_power(left / all)),
            surviving_ceiling_dbtp: self.ceiling_dbtp - (decoded_dbtp - self.ceiling_dbtp).max(0.0),
        })
    }

    /// Where in the song a rendered frame lies.
    fn song_secs(&self, frame: usize) -> f64 {
        let mut secs = frame as f64 / self.rate_hz;
        for [from, to] in self.spans {
            if secs < to - from {
                return from + secs;
            }
            secs -= to - from;
        }
        secs
    }
}

/// What is heard less what was sent.
pub(super) fn residual(sent: &[Frame], heard: &[Frame]) -> Vec<Frame> {
    sent.iter().zip(heard).map(|(a, b)| [b[0] - a[0], b[1] - a[1]]).collect()
}

fn power(frames: &[Frame]) -> f64 {
    frames.iter().map(|x| x[0] * x[0] + x[1] * x[1]).sum()
}

/// Runs of samples above full scale, and the first frame of the first.
fn overs(frames: &[Frame]) -> (usize, Option<usize>) {
    let over = |frame: &Frame| frame[0].abs().max(frame[1].abs()) > 1.0;
    let starts = (0..frames.len()).filter(|n| over(&frames[*n]) && (*n == 0 || !over(&frames[n - 1])));
    let starts: Vec<usize> = starts.collect();
    (starts.len(), starts.first().copied())
}

/// Code `codec-clips`: what a listener decodes exceeds full scale. A warning for a rate that the print writes and does not
/// name in `survive` (there the print finds the ceiling itself); otherwise a note, for the highest rate that clips. The
/// records are of the sheet's ceiling; what a print gives way by, for what is to survive, is taken off first.
pub(super) fn finding(print: &Print, records: &[CodecRecord], ceiling_dbtp: Option<f64>) -> Option<Problem> {
    let named = |record: &CodecRecord, codec: &str| record.codec.split(' ').next() == Some(codec);
    let survives = |record: &CodecRecord| {
        print.survive.iter().any(|choice| named(record, choice.codec) && choice.kbps <= record.kbps)
    };
    let gives_way_db = ceiling_dbtp.map_or(0.0, |ceiling| {
        let lowered = records.iter().filter(|record| survives(record)).map(|record| record.surviving_ceiling_dbtp);
        ceiling - lowered.fold(ceiling, f64::min)
    });
    let decoded_dbtp = |record: &CodecRecord| record.decoded_dbtp - gives_way_db;
    let clips = || records.iter().filter(|record| decoded_dbtp(record) > 0.0 && !survives(record));
    let written = |record: &CodecRecord| {
        let coded = |(codec, kbps)| named(record, codec) && kbps == record.kbps;
        print.files.iter().filter_map(|file| file.format.codec()).any(coded)
    };
    let mp3 = || clips().rev().find(|record| named(record, "mp3"));
    let worst = clips().find(|record| written(record)).or_else(mp3).or_else(|| clips().next_back())?;
    let severity = if written(worst) { Severity::Warn } else { Severity::Note };
    let message = format!(
        "After {} a listener decodes {:+.2} dBTP; a ceiling of {:.1} dBTP would survive.",
        codec_in_words(&worst.codec),
        decoded_dbtp(worst),
        worst.surviving_ceiling_dbtp
    );
    let remedy = format!("Add `\"{}\"` to `survive`, if it will be heard that way.", worst.codec);
    let finding = Problem::new(severity, "codec-clips", &format!("print {}", print.name), message, remedy);
    Some(match worst.first_over_secs {
        Some(secs) => finding.at_secs(secs),
        None => finding,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn overs_are_counted_in_runs() {
        let frames = [[0.5, 0.0], [1.1, 0.0], [-1.2, 0.3], [0.2, 0.2], [0.0, -1.01], [0.0, 0.0]];
        assert_eq!(overs(&frames), (2, Some(1)));
        assert_eq!(overs(&frames[3..4]), (0, None));
    }

    #[test]
    fn what_a_print_gives_way_by_is_taken_off_before_anything_is_said_of_other_codecs() {
        let text = "fairprint = 1\n[song]\ntitle = \"Lantern Weather\"\nartist = \"The Tin Orchard\"\nrate_hz = 48000\n\
                    [[stem]]\nname = \"keys\"\nfile = \"keys.wav\"\nto = \"mix\"\n[[bus]]\nname = \"mix\"\n\
                    [[print]]\nname = \"loud\"\nfrom = \"mix\"\nsurvive = [\"mp3 192\"]\nfiles = [{ format = \"wav\" }]\n";
        let print = sheet::read(text, &[]).0.unwrap().prints.remove(0);
        let after = |kbps, decoded_dbtp: f64| CodecRecord {
            codec: format!("mp3 {kbps}"),
            kbps,
            decoded_dbtp,
            overs: 1,
            first_over_secs: None,
            residual_db: None,
            surviving_ceiling_dbtp: -1.0 - (decoded_dbtp + 1.0),
        };
        // To let 192 kbit/s survive, the ceiling gives way by 1 dB, and with it what 96 kbit/s makes of it.
        let quiet = [after(96, 0.9), after(192, 0.0)];
        assert_eq!(finding(&print, &quiet, Some(-1.0)), None);
        let loud = finding(&print, &[after(96, 1.2), after(192, 0.0)], Some(-1.0)).unwrap();
        assert!(loud.message.contains("+0.20 dBTP; a ceiling of -3.2 dBTP"), "{loud:?}");
    }

    #[test]
    fn frames_of_cells_are_told_in_song_time() {
        let work = std::env::temp_dir();
        let spans = [[8.0, 12.0], [40.0, 44.0]];
        let trip = Trip { frames: &[], spans: &spans, rate_hz: 1000.0, ceiling_dbtp: -1.0, work: &work, threads: 1 };
        assert_eq!((trip.song_secs(500), trip.song_secs(4500)), (8.5, 40.5));
    }

    #[test]
    fn a_decoded_tone_leaves_a_small_residual_in_time_with_it() {
        let folder = tempfile::tempdir().unwrap();
        let tone = |n: u32| 0.5 * libm::sin(std::f64::consts::TAU * 1000.0 * f64::from(n) / 48_000.0);
        let frames: Vec<Frame> = (0..96_000).map(|n| [tone(n); 2]).collect();
        let trip = Trip {
            frames: &frames,
            spans: &[[0.0, 2.0]],
            rate_hz: 48_000.0,
            ceiling_dbtp: -6.0,
            work: folder.path(),
            threads: 2,
        };
        let all = trip.all().unwrap();
        let names: Vec<String> = TRIED.iter().map(|(codec, kbps)| format!("{codec} {kbps}")).collect();
        assert_eq!(all.iter().map(|record| record.codec.clone()).collect::<Vec<_>>(), names);
        // Late by one frame it would be -17.7 dB (2 sin(w/2), any handbook): aligned it is far under that.
        assert!(all.iter().all(|record| record.residual_db.unwrap() < -25.0 && record.overs == 0), "{all:#?}");
        assert!((all[4].decoded_dbtp + 6.02).abs() < 0.5);
    }
}
