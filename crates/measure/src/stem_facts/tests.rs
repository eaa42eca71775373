//! Tests of the facts about stems, against figures from outside.

use super::*;
use crate::signals::{music, noise, tone};

const RATE_HZ: f64 = 48_000.0;

fn facts(frames: &[Frame]) -> StemFacts {
    let mut meter = StemMeter::new(RATE_HZ);
    meter.push(frames);
    meter.finish()
}

fn rounded(frames: &[Frame], bits: u32) -> Vec<Frame> {
    let steps = f64::from(1u32 << (bits - 1));
    frames.iter().map(|x| x.map(|x| (x * steps).round() / steps)).collect()
}

#[test]
fn sound_and_silence_are_placed() {
    let mut frames = vec![units::SILENCE; 48_000];
    frames.extend(tone(RATE_HZ, 440.0, -12.0, 1.0));
    // A second of hiss at -100 dBFS, then sound again, then a gap too short to list, and sound to the end.
    frames.extend(noise(48_000, 1e-6, 1));
    frames.extend(vec![[0.1, -0.1]; 1000]);
    frames.extend(vec![units::SILENCE; 4800]);
    frames.extend(vec![[0.1, -0.1]; 1000]);
    let found = facts(&frames);
    let silence = |from_frame, frames, digital| Silence { from_frame, frames, digital };
    // The tone starts and ends at zero, so its own first and last samples are silent.
    assert_eq!(found.silences[0], silence(0, 48_001, true));
    assert!(!found.silences[1].digital && found.silences[1].frames.abs_diff(48_000) < 3, "{:?}", found.silences);
    assert_eq!((found.silences.len(), found.first_sound_frame), (2, Some(48_001)));
    assert_eq!(found.last_sound_frame, Some(frames.len() as u64 - 1));
}

#[test]
fn silent_files_are_told() {
    let zero = facts(&vec![units::SILENCE; 48_000]);
    assert!(zero.all_zero && zero.channels == Channels::Silent && zero.bit_depth.is_none());
    assert_eq!((zero.first_sound_frame, zero.silences.len()), (None, 1));
    let hiss = facts(&noise(48_000, 1e-6, 1));
    assert!(!hiss.all_zero && hiss.channels == Channels::Silent);
    assert_eq!(facts(&[]).frames, 0);
}

#[test]
fn channels_are_told() {
    let stereo = music(RATE_HZ, 1.0, 1);
    let of = |map: &dyn Fn(&Frame) -> Frame| facts(&stereo.iter().map(map).collect::<Vec<_>>());
    assert_eq!(of(&|x| *x).channels, Channels::Stereo);
    assert_eq!(of(&|x| [x[0]; 2]).channels, Channels::Identical);
    assert_eq!(of(&|x| [x[0], x[0] * (1.0 + 2e-5)]).channels, Channels::NearlyIdentical);
    assert_eq!(of(&|x| [x[0], x[0] * (1.0 + 1e-4)]).channels, Channels::Stereo);
    assert_eq!(of(&|x| [x[0], 1e-6 * x[1]]).channels, Channels::LeftOnly);
    assert_eq!(of(&|x| [0.0, x[1]]).channels, Channels::RightOnly);
    let turned = of(&|x| [x[0], -x[0]]);
    assert_eq!((turned.channels, turned.correlation), (Channels::Stereo, Some(-1.0)));
}

#[test]
fn used_bits_are_counted() {
    let frames = music(RATE_HZ, 0.5, 4);
    for bits in [8, 12, 16, 20, 24] {
        assert_eq!(facts(&rounded(&frames, bits)).bit_depth, Some(bits));
    }
    assert_eq!(facts(&frames).bit_depth, None);
    // The lowest negative value of any word length is exactly -1, and full scale alone uses the sign alone.
    assert_eq!(facts(&[[-1.0, 0.0]]).bit_depth, Some(1));
}

#[test]
fn copies_hash_alike_and_others_do_not() {
    let frames = rounded(&music(RATE_HZ, 0.5, 5), 16);
    let hash = facts(&frames).content_hash;
    let mut padded = vec![[0.0, -0.0]; 999];
    padded.extend(&frames);
    padded.extend(vec![units::SILENCE; 77]);
    assert_eq!(facts(&padded).content_hash, hash);
    let (mut plus, mut minus) = (frames.clone(), frames.clone());
    plus[3000] = [0.0; 2];
    minus[3000] = [-0.0; 2];
    assert_eq!(facts(&plus).content_hash, facts(&minus).content_hash);
    let swapped: Vec<Frame> = frames.iter().map(|x| [x[1], x[0]]).collect();
    let louder: Vec<Frame> = frames.iter().map(|x| x.map(|x| 2.0 * x)).collect();
    // An even number of signs turned would cancel in the top bit if it were not folded down.
    let inverted: Vec<Frame> = frames.iter().map(|x| x.map(|x| -x)).collect();
    let mut touched = frames.clone();
    touched[7000][1] += 1.0 / 32_768.0;
    let mut turned = frames.clone();
    turned[7000] = inverted[7000];
    let mut moved = frames.clone();
    moved.swap(5000, 5001);
    for other in [swapped, louder, inverted, touched, moved, turned] {
        assert_ne!(facts(&other).content_hash, hash);
    }
    // A thousand files that differ in one step of one sample: no two alike.
    let hash_with = |step: usize| {
        let mut hash = ContentHash::default();
        (0..64).for_each(|n| hash.push([if n == 20 { step as f64 / 32_768.0 } else { 0.25 }, -0.5]));
        hash.value()
    };
    let mut hashes: Vec<u64> = (1..1001).map(hash_with).collect();
    hashes.sort_unstable();
    hashes.dedup();
    assert_eq!(hashes.len(), 1000);
}

#[test]
fn faults_are_counted_with_their_first_place() {
    let mut frames = music(RATE_HZ, 1.0, 6);
    frames[30_000][0] = f64::NAN;
    frames[40_000] = [f64::INFINITY; 2];
    frames[100..103].fill([1.0, -1.0]);
    let found = facts(&frames);
    assert_eq!(found.non_finite, Some(NonFinite { samples: 3, first_frame: 30_000 }));
    assert_eq!((found.clips.count, found.clips.longest_frames), (2, 3));
    assert!(found.true_peak_dbtp >= found.sample_peak_dbfs && found.sample_peak_dbfs == Some(0.0));
}

#[test]
fn two_microphones_of_one_sound_are_related() {
    let near = music(RATE_HZ, 3.0, 7);
    let mut far = vec![units::SILENCE; 141];
    far.extend(near.iter().zip(noise(near.len(), 0.003, 8)).map(|(x, n)| [n[0] - 0.4 * x[0], n[1] - 0.4 * x[1]]));
    let found = relation(&near, &far, 4800).expect("related");
    assert!((found.delay_samples - 141.0).abs() < 0.05 && found.polarity == Polarity::Inverted, "{found:?}");
    assert_eq!(relation(&near, &noise(100_000, 0.1, 9), 4800), None);
    // Noise of a third of the standard deviation, or of three times it: a correlation of 0.95, or of 0.32.
    let (clean, other) = (noise(60_000, 0.1, 1), noise(60_000, 0.1, 2));
    let with = |amount: f64| -> Vec<Frame> {
        clean.iter().zip(&other).map(|(x, n)| [x[0] + amount * n[0], x[1] + amount * n[1]]).collect()
    };
    assert!((relation(&clean, &with(0.333), 100).expect("related").correlation - 0.95).abs() < 0.01);
    assert_eq!(relation(&clean, &with(3.0), 100), None);
}

#[test]
fn cutting_changes_nothing() {
    let frames = rounded(&music(RATE_HZ, 1.5, 10), 16);
    let whole = facts(&frames);
    let mut meter = StemMeter::new(RATE_HZ);
    frames.chunks(333).for_each(|chunk| meter.push(chunk));
    assert_eq!(meter.finish(), whole);
}
