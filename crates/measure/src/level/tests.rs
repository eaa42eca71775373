//! Tests of levels, peaks and clips, against figures from outside.

use super::*;
use crate::LoudnessMeter;
use crate::signals::{noise, steps, tone};

fn read(frames: &[Frame]) -> LevelMeter {
    let mut meter = LevelMeter::new(48_000.0);
    meter.push(frames);
    meter.end();
    meter
}

#[test]
fn sine_and_square_have_their_closed_forms() {
    let sine = read(&tone(48_000.0, 1000.0, -6.0, 1.0));
    assert!((sine.crest_db().expect("defined") - 3.0103).abs() < 1e-4);
    assert!((sine.rms_db()[0].expect("defined") + 9.0103).abs() < 1e-4);
    let square: Vec<Frame> = (0..4800).map(|n| if n / 24 % 2 == 0 { [0.5, 0.0] } else { [-0.5, 0.0] }).collect();
    let square = read(&square);
    assert!(square.crest_db().expect("defined").abs() < 1e-9);
    assert_eq!(square.rms_db()[1], None);
}

#[test]
fn dc_is_the_mean() {
    let frames: Vec<Frame> = noise(100_000, 0.01, 1).iter().map(|x| [x[0] + 0.02, x[1] - 0.01]).collect();
    let [left, right] = read(&frames).dc();
    assert!((left - 0.02).abs() < 2e-4 && (right + 0.01).abs() < 2e-4, "{left} {right}");
}

#[test]
fn runs_at_full_scale_are_listed_with_their_place() {
    let mut frames = vec![[0.1, -0.1]; 9600];
    frames[4798..4803].fill([1.0, 0.0]);
    frames[60][1] = -1.0;
    frames[9598..].fill([0.0, 32_767.0 / 32_768.0]);
    frames[200][0] = 0.9999;
    let meter = read(&frames);
    let run = |channel, from_frame, frames| ClipRun { channel, from_frame, frames };
    assert_eq!(meter.clips().runs, [run(1, 60, 1), run(0, 4798, 5), run(1, 9598, 2)]);
    assert_eq!((meter.clips().count, meter.clips().longest_frames), (3, 5));
    assert_eq!(meter.peaks()[0], Peak { value: 1.0, at_frame: 4798.0 });
}

#[test]
fn a_ruined_file_is_counted_but_not_listed_without_end() {
    let frames: Vec<Frame> = (0..20_000).map(|n| [if n % 2 == 0 { 1.0 } else { 0.0 }, 0.0]).collect();
    let meter = read(&frames);
    assert_eq!((meter.clips().count, meter.clips().runs.len()), (10_000, MOST_CLIPS_LISTED));
}

#[test]
fn psr_of_a_tone_is_its_crest_less_the_loudness_offset() {
    // A 997 Hz sine in both channels reads its own peak level in LUFS, so PSR is 0; a click lifts it.
    let mut frames = steps(48_000.0, &[(-20.0, 8.0)]);
    frames[4 * 48_000] = [1.0, 1.0];
    let mut loudness = LoudnessMeter::new(48_000.0);
    loudness.push(&frames);
    let history = loudness.history();
    let psr = read(&frames).psr_db(&history);
    assert_eq!(psr.len(), history.len());
    assert_eq!(psr[0], None);
    let at = |secs: f64| psr[history.iter().position(|p| p.secs == secs).expect("a point")].expect("defined");
    assert!(at(3.5).abs() < 0.02 && at(7.1).abs() < 0.02, "{} {}", at(3.5), at(7.1));
    // The click counts for three seconds.
    for secs in [4.1, 5.0, 7.0] {
        assert!((at(secs) - 20.0).abs() < 0.05, "{secs}: {}", at(secs));
    }
}

#[test]
fn cutting_changes_nothing() {
    let frames = noise(30_000, 0.5, 4);
    let whole = read(&frames);
    let mut cut = LevelMeter::new(48_000.0);
    frames.chunks(77).for_each(|chunk| cut.push(chunk));
    cut.end();
    assert!(cut.clips() == whole.clips() && cut.clips().count > 100, "clips differ");
    assert_eq!((cut.power(), cut.dc()), (whole.power(), whole.dc()));
}
