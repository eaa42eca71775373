//! The whole song: length, bytes, levels, dynamics, pitch, spectra.

use units::frames_from_secs;

use super::*;
use crate::listen::{cents, hz_near, lufs, mean_square_db, share};
use crate::melody::Sung;
use crate::score::hz_from_note;

const RATE: f64 = 48_000.0;

fn stem_named(name: &str) -> Stem {
    stem(PARTS.iter().position(|part| part.name == name).expect("a stem's name"), RATE_HZ)
}

fn bars(frames: &[Frame], from: u32, to: u32) -> &[Frame] {
    let at = |bar: u32| frames_from_secs(secs_from_beats(beat_of_bar(bar)), RATE) as usize;
    &frames[at(from)..at(to).min(frames.len())]
}

/// Fowler, Noll and Vo's hash of the samples' bits.
fn hash(frames: &[Frame]) -> u64 {
    let bits = frames.iter().flatten().map(|x| x.to_bits());
    bits.fold(0xcbf2_9ce4_8422_2325, |hash, bits| (hash ^ bits).wrapping_mul(0x0000_0100_0000_01b3))
}

/// The song as it was when last heard. A change here is a change of the music or its sound: say which in the commit.
/// The same on every machine, or something has crept in that depends on one.
const HEARD: [(&str, u64); 16] = [
    ("kick", 0xf2cd_7195_fc59_8b5d),
    ("snare", 0xfee0_2978_6a44_6423),
    ("hats", 0xe2b4_2ed1_2ba1_fe15),
    ("toms", 0xec8b_1a21_f048_457d),
    ("overheads", 0x7ba4_970f_68e8_ac43),
    ("tambourine", 0xc86b_49ce_0817_22d5),
    ("shaker", 0xf0b9_becc_c2f9_9911),
    ("bass", 0x53ea_32b3_d71b_c555),
    ("guitar strummed", 0x976a_a936_3931_7724),
    ("guitar picked", 0x2722_c39f_ecb8_c2d5),
    ("keys", 0xe83a_d3a4_4a9f_c4df),
    ("pad", 0xeb32_2848_d111_d6a1),
    ("lead voice", 0xaa5b_f647_3a4b_0d93),
    ("lead double", 0xfd87_5a7a_3ec8_020d),
    ("backing high", 0x94d5_005d_61fc_35dc),
    ("backing low", 0x0474_85ad_99ba_b036),
];

#[test]
fn stems_are_whole_levelled_and_the_same_bytes_each_time() {
    let mut found = Vec::new();
    for stem in stems(RATE_HZ) {
        // 35 bars and one of ring: 36 bars of four beats at 92 a minute.
        assert_eq!(stem.frames.len(), 4_507_826, "{}", stem.name);
        let head = frames_from_secs(secs_from_beats(1.9), RATE) as usize;
        assert!(stem.frames[..head].iter().all(|f| *f == [0.0; 2]), "{} sounds in the head", stem.name);
        let peak = stem.frames.iter().flatten().fold(0.0_f64, |m, x| m.max(x.abs()));
        assert!((-12.1..=-6.0).contains(&units::db_from_gain(peak)), "{} peaks at {peak}", stem.name);
        let end = &stem.frames[stem.frames.len() - 480..];
        assert!(mean_square_db(end) < -60.0, "{} is cut off at {}", stem.name, mean_square_db(end));
        found.push((stem.name, hash(&stem.frames)));
    }
    assert_eq!(found.len(), 16);
    let table: String = found.iter().map(|(name, hash)| format!("    (\"{name}\", {hash:#018x}),\n")).collect();
    assert!(found == HEARD, "what is heard now:\n{table}");
    // And once more, alone.
    assert_eq!(hash(&stem_named("kick").frames), HEARD[0].1);
}

#[test]
fn sections_differ_in_what_plays() {
    let toms = stem_named("toms").frames;
    assert!(bars(&toms, 7, 13).iter().all(|f| *f == [0.0; 2]), "toms rest in the verse");
    assert!(mean_square_db(bars(&toms, 13, 14)) > -45.0);
    let hats = stem_named("hats").frames;
    assert!(bars(&hats, 23, 26).iter().all(|f| *f == [0.0; 2]), "hats rest in the bridge");
}

#[test]
fn the_song_breathes_and_the_rough_mix_is_too_loud() {
    let mut rough = RoughMix::new(RATE_HZ);
    stems(RATE_HZ).for_each(|stem| rough.add(&stem));
    let balance = |name: &str| {
        let section = FORM.iter().find(|s| s.name == name).expect("a section");
        lufs(bars(rough.balance(), section.bar, section.end_bar()))
    };
    let [verse, chorus, bridge, last] = ["verse", "chorus 1", "bridge", "chorus 2"].map(balance);
    // Common practice, no source: a chorus lifts by some 3 to 6 LU, a bridge drops.
    assert!((2.5..7.0).contains(&(chorus - verse)), "verse {verse}, chorus {chorus}");
    assert!(bridge < chorus - 3.0 && last > chorus + 0.3, "{verse} {chorus} {bridge} {last}");
    let loud = rough.finish();
    let found = lufs(&loud);
    assert!((found + 8.0).abs() < 0.5, "{found} LUFS");
    assert!(loud.iter().flatten().all(|x| x.abs() <= 0.98));
}

#[test]
fn bass_notes_are_in_tune() {
    // ISO 16: A4 = 440 Hz, equal temperament.
    let frames = stem_named("bass").frames;
    let long: Vec<_> = bass::line().into_iter().filter(|n| n.1 >= 1.0).collect();
    assert!(long.len() > 20);
    for (beat, beats, note, _) in long {
        let from = (secs_from_beats(beat) + 0.06) * RATE;
        let to = (secs_from_beats(beat + beats) - 0.06) * RATE;
        let x: Vec<f64> = frames[from as usize..to as usize].iter().map(|f| f[0]).collect();
        let off = cents(hz_near(&x, hz_from_note(f64::from(note))), hz_from_note(f64::from(note)));
        assert!(off.abs() < 3.0, "note {note} at beat {beat} is off by {off} cents");
    }
}

#[test]
fn the_tune_is_sung_in_tune() {
    let frames = stem_named("lead voice").frames;
    let mut all = Vec::new();
    for Sung { beat, beats, note, .. } in melody::lead_voice().into_iter().filter(|n| n.beats >= 1.5) {
        let from = (secs_from_beats(beat) + 0.15) * RATE;
        let to = (secs_from_beats(beat + beats) - 0.25) * RATE;
        let x: Vec<f64> = frames[from as usize..to as usize].iter().map(|f| f[0]).collect();
        all.push(cents(hz_near(&x, hz_from_note(f64::from(note))), hz_from_note(f64::from(note))));
    }
    // A singer's notes stray by up to 20 cents and still count as in tune (common practice); their mean does not.
    assert!(all.len() > 20 && all.iter().all(|off| off.abs() < 20.0), "{all:?}");
    let mean = all.iter().sum::<f64>() / all.len() as f64;
    assert!(mean.abs() < 5.0, "{mean}");
}

#[test]
fn the_kick_settles_where_a_kick_lies() {
    let kick: Vec<f64> = stem_named("kick").frames.iter().map(|f| f[0]).collect();
    // The last stroke stands alone.
    let from = (secs_from_beats(beat_of_bar(35)) + 0.10) * RATE;
    let hz = hz_near(&kick[from as usize..from as usize + 7200], 51.0);
    assert!((45.0..65.0).contains(&hz), "{hz}");
    let early = (secs_from_beats(beat_of_bar(35)) + 0.004) * RATE;
    let struck = hz_near(&kick[early as usize..early as usize + 2000], 65.0);
    assert!(struck > 1.1 * hz, "the head is tighter at first: {struck} then {hz}");
}

#[test]
fn sibilants_hiss_between_five_and_nine_kilohertz() {
    let lead = stem_named("lead voice").frames;
    let sung = melody::lead_voice();
    let starts = sung.iter().filter(|n| n.sounds.starts_with("s "));
    let mut checked = 0;
    for note in starts.filter(|n| n.sounds.split(' ').nth(1).is_some_and(|s| !phoneme::vowel(s).is_empty())) {
        // The consonant's 108 ms lie ahead of the note, give or take the singer's timing.
        let from = ((secs_from_beats(note.beat) - 0.075) * RATE) as usize;
        let x: Vec<f64> = lead[from..from + 2400].iter().map(|f| f[0]).collect();
        assert!(share(&x, 5000.0, 9000.0) > 0.5, "{note:?}: {}", share(&x, 5000.0, 9000.0));
        checked += 1;
    }
    assert!(checked >= 5);
    // A vowel has next to none there.
    let from = (secs_from_beats(beat_of_bar(14) + 0.5) * RATE) as usize;
    let vowel: Vec<f64> = lead[from..from + 9600].iter().map(|f| f[0]).collect();
    assert!(share(&vowel, 5000.0, 9000.0) < 0.05);
}
