//! The sounds of the words: what the mouth does for each, as targets that the singer moves between.

/// Where hissing noise is made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Place {
    /// Tongue behind the teeth: s, z.
    Sibilant,
    /// Tongue further back: sh, ch.
    Hushing,
    /// Tip of the tongue letting go: t, d.
    Tip,
    /// Lip or tongue on teeth: f, v, th.
    Teeth,
    /// Back of the tongue letting go: k, g.
    Back,
    /// Lips letting go: p, b.
    Lips,
}

/// All places, in the order of the singer's bank.
pub(crate) const PLACES: [Place; 6] =
    [Place::Sibilant, Place::Hushing, Place::Tip, Place::Teeth, Place::Back, Place::Lips];

impl Place {
    /// Two resonances of the small space in front of the noise: frequency, Q, level. Sibilants have their energy at 5 to
    /// 9 kHz, hushing sounds at 2.5 to 5 (phonetics handbooks; from memory).
    pub(crate) fn tones(self) -> [(f64, f64, f64); 2] {
        match self {
            Self::Sibilant => [(6400.0, 3.6, 1.0), (8300.0, 3.4, 0.85)],
            Self::Hushing => [(3150.0, 3.0, 1.0), (5000.0, 2.8, 0.7)],
            Self::Tip => [(4500.0, 1.6, 0.8), (7000.0, 2.0, 0.7)],
            Self::Teeth => [(1700.0, 1.0, 0.25), (7600.0, 0.8, 0.6)],
            Self::Back => [(2000.0, 3.0, 1.0), (4100.0, 2.0, 0.3)],
            Self::Lips => [(850.0, 1.2, 1.0), (2300.0, 1.0, 0.35)],
        }
    }
}

/// A steady aim of the mouth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Aim {
    /// First three formants.
    pub(crate) formants_hz: [f64; 3],
    /// How strongly the folds swing.
    pub(crate) voice: f64,
    /// Noise of breath at the folds.
    pub(crate) breath: f64,
    /// Noise at a narrow place further forward.
    pub(crate) hiss: Option<(Place, f64)>,
    /// Through the nose: wider, weaker upper formants.
    pub(crate) nasal: bool,
    /// How long it lasts; vowels take what time the note leaves.
    pub(crate) ms: f64,
}

const REST: Aim =
    Aim { formants_hz: [500.0, 1600.0, 2700.0], voice: 0.0, breath: 0.0, hiss: None, nasal: false, ms: 0.0 };

/// Formants of vowels: means over women's voices by Peterson and Barney (JASA 24, 1952; from memory).
pub(crate) const VOWELS: [(&str, [f64; 3]); 10] = [
    ("iy", [310.0, 2790.0, 3310.0]),
    ("ih", [430.0, 2480.0, 3070.0]),
    ("eh", [610.0, 2330.0, 2990.0]),
    ("ae", [860.0, 2050.0, 2850.0]),
    ("ah", [760.0, 1400.0, 2780.0]),
    ("aa", [850.0, 1220.0, 2810.0]),
    ("ao", [590.0, 920.0, 2710.0]),
    ("uh", [470.0, 1160.0, 2680.0]),
    ("uw", [370.0, 950.0, 2670.0]),
    ("er", [500.0, 1640.0, 1960.0]),
];

/// Vowels that glide from one to another.
const GLIDES: [(&str, [&str; 2]); 3] = [("ey", ["eh", "ih"]), ("ow", ["ao", "uh"]), ("ay", ["aa", "ih"])];

/// The aim of a plain vowel.
fn plain(name: &str) -> Option<Aim> {
    let (_, formants_hz) = *VOWELS.iter().find(|(n, _)| *n == name)?;
    Some(Aim { formants_hz, voice: 1.0, breath: 0.05, ..REST })
}

/// The vowels that a name stands for, in order; empty for consonants.
pub(crate) fn vowel(name: &str) -> Vec<Aim> {
    match GLIDES.iter().find(|(n, _)| *n == name) {
        Some((_, pair)) => pair.iter().filter_map(|n| plain(n)).collect(),
        None => plain(name).into_iter().collect(),
    }
}

/// The aims of a consonant: a stop is a closure, a burst and a breath.
pub(crate) fn consonant(name: &str) -> Vec<Aim> {
    let tip = [400.0, 1850.0, 2800.0];
    let back = [350.0, 2250.0, 2800.0];
    let lips = [350.0, 1000.0, 2400.0];
    let liquid = |formants_hz, ms| vec![Aim { formants_hz, voice: 0.7, ms, ..REST }];
    let nose = |formants_hz, ms| vec![Aim { formants_hz, voice: 0.42, nasal: true, ms, ..REST }];
    let hissing = |formants_hz, place, hiss, voice, ms| {
        vec![Aim { formants_hz, hiss: Some((place, hiss)), voice, breath: 0.03, ms, ..REST }]
    };
    let stop = |formants_hz, place, burst, voiced: bool| {
        let voice = if voiced { 0.14 } else { 0.0 };
        let closed = Aim { formants_hz, voice, ms: if voiced { 32.0 } else { 38.0 }, ..REST };
        let burst = Aim { formants_hz, hiss: Some((place, burst)), voice, ms: 9.0, ..REST };
        let after = Aim { formants_hz, hiss: Some((place, 0.1)), breath: 0.4, ms: 24.0, ..REST };
        if voiced { vec![closed, burst] } else { vec![closed, burst, after] }
    };
    match name {
        "s" => hissing([350.0, 1800.0, 2800.0], Place::Sibilant, 0.85, 0.0, 108.0),
        "z" => hissing([350.0, 1800.0, 2800.0], Place::Sibilant, 0.42, 0.3, 82.0),
        "sh" => hissing([350.0, 1950.0, 2600.0], Place::Hushing, 0.9, 0.0, 115.0),
        "f" => hissing([350.0, 1100.0, 2400.0], Place::Teeth, 0.3, 0.0, 82.0),
        "v" => hissing([350.0, 1100.0, 2400.0], Place::Teeth, 0.12, 0.5, 58.0),
        "dh" => hissing([350.0, 1500.0, 2700.0], Place::Teeth, 0.1, 0.5, 46.0),
        "t" => stop(tip, Place::Tip, 0.9, false),
        "d" => stop(tip, Place::Tip, 0.4, true),
        "k" => stop(back, Place::Back, 0.85, false),
        "g" => stop(back, Place::Back, 0.4, true),
        "p" => stop(lips, Place::Lips, 0.8, false),
        "ch" => {
            let mut aims = stop(tip, Place::Hushing, 0.7, true);
            aims[0].voice = 0.0;
            aims.extend(hissing(tip, Place::Hushing, 0.8, 0.0, 62.0));
            aims
        }
        "l" => liquid([360.0, 1250.0, 2900.0], 62.0),
        "r" => liquid([400.0, 1250.0, 1750.0], 66.0),
        "w" => liquid([330.0, 720.0, 2400.0], 62.0),
        "m" => nose([290.0, 1100.0, 2400.0], 68.0),
        "n" => nose([290.0, 1650.0, 2650.0], 62.0),
        "ng" => nose([290.0, 2050.0, 2750.0], 120.0),
        _ => Vec::new(),
    }
}

/// Silence with the mouth half open, and the breath drawn before a phrase.
pub(crate) fn rest(breath: f64) -> Aim {
    Aim { breath, formants_hz: [700.0, 1500.0, 2700.0], ..REST }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::melody;

    #[test]
    fn gliding_vowels_glide_between_known_ones() {
        for (name, _) in GLIDES {
            assert_eq!(vowel(name).len(), 2, "{name}");
        }
    }

    #[test]
    fn every_sound_of_the_words_is_known() {
        for note in melody::lead_voice() {
            let mut vowels = 0;
            for sound in note.sounds.split(' ') {
                let is_vowel = sound == "-" || !vowel(sound).is_empty();
                assert!(is_vowel == consonant(sound).is_empty(), "{sound} in {}", note.sounds);
                vowels += usize::from(is_vowel);
            }
            assert!((1..=2).contains(&vowels), "{}", note.sounds);
        }
    }
}
