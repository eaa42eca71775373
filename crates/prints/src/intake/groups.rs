//! Which bus a stem belongs to, by the words in its file's name.
//!
//! The words are those of the trade (common practice, no source); a name that says nothing goes to the band.

/// A group of stems that shares a bus.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Group {
    /// Drum kit.
    Drums,
    /// Percussion.
    Percussion,
    /// Bass.
    Bass,
    /// Guitars.
    Guitars,
    /// Keyboards.
    Keys,
    /// Strings.
    Strings,
    /// Woodwind and brass.
    Winds,
    /// Effects and anything unnamed.
    Other,
    /// Lead voice.
    Lead,
    /// Backing voices.
    Backing,
}

impl Group {
    /// Name of the group's bus.
    #[must_use]
    pub fn bus(self) -> &'static str {
        match self {
            Self::Drums => "drums",
            Self::Percussion => "percussion",
            Self::Bass => "low end",
            Self::Guitars => "guitars",
            Self::Keys => "keyboards",
            Self::Strings => "strings",
            Self::Winds => "winds",
            Self::Other => "other",
            Self::Lead => "lead",
            Self::Backing => "backing",
        }
    }

    /// Whether it is sung.
    #[must_use]
    pub fn is_voice(self) -> bool {
        matches!(self, Self::Lead | Self::Backing)
    }
}

/// Words and what they mean, the telling ones first: “bass drum” is a drum, “backing vocal” is no lead.
const WORDS: &[(&[&str], Group)] = &[
    (
        &[
            "backing",
            "backings",
            "bgv",
            "bgvs",
            "bv",
            "bvs",
            "harmony",
            "harmonies",
            "choir",
            "double",
            "dbl",
            "ad lib",
            "adlib",
            "gang",
        ],
        Group::Backing,
    ),
    (
        &[
            "bass drum",
            "kick",
            "kik",
            "bd",
            "snare",
            "snr",
            "sd",
            "hat",
            "hats",
            "hihat",
            "hh",
            "tom",
            "toms",
            "floor tom",
            "overhead",
            "overheads",
            "oh",
            "ohs",
            "cymbal",
            "cymbals",
            "ride",
            "crash",
            "drum",
            "drums",
            "kit",
            "room mics",
        ],
        Group::Drums,
    ),
    (
        &[
            "percussion",
            "perc",
            "tambourine",
            "tamb",
            "shaker",
            "conga",
            "congas",
            "bongo",
            "bongos",
            "clap",
            "claps",
            "cowbell",
            "cajon",
            "triangle",
        ],
        Group::Percussion,
    ),
    (&["bass", "bs", "sub", "upright", "contrabass"], Group::Bass),
    (
        &[
            "guitar", "guitars", "gtr", "gtrs", "git", "acoustic", "electric", "ac gtr", "el gtr", "banjo", "mandolin",
            "ukulele",
        ],
        Group::Guitars,
    ),
    (
        &["piano", "keys", "keyboard", "keyboards", "organ", "synth", "pad", "pads", "clav", "wurli", "epiano", "arp"],
        Group::Keys,
    ),
    (&["string", "strings", "violin", "violins", "viola", "violas", "cello", "celli", "fiddle"], Group::Strings),
    (
        &[
            "flute",
            "flutes",
            "clarinet",
            "oboe",
            "bassoon",
            "piccolo",
            "recorder",
            "whistle",
            "sax",
            "saxophone",
            "winds",
            "woodwind",
            "brass",
            "horn",
            "horns",
            "trumpet",
            "trumpets",
            "trombone",
            "trombones",
            "tuba",
            "cornet",
        ],
        Group::Winds,
    ),
    (&["vocal", "vocals", "vox", "voc", "voice", "voices", "lead", "ld", "singer", "sung", "rap"], Group::Lead),
];

/// Words of a name that is no stem but something to listen against.
const REFERENCE_WORDS: &[&str] = &["rough", "ref", "reference", "mix", "mixdown", "mastered"];

/// The group that a file's name speaks of.
#[must_use]
pub fn group_of(name: &str) -> Group {
    let words = words_of(name);
    WORDS
        .iter()
        .find(|(known, _)| known.iter().any(|phrase| holds(&words, phrase)))
        .map_or(Group::Other, |found| found.1)
}

/// Whether a file's name says that it is a mix rather than a part.
#[must_use]
pub fn is_reference(name: &str) -> bool {
    let words = words_of(name);
    REFERENCE_WORDS.iter().any(|word| holds(&words, word))
}

/// The words of a name in lower case: cut at blanks, signs, digits, and where small letters turn to capitals.
fn words_of(name: &str) -> Vec<String> {
    let mut words: Vec<String> = vec![String::new()];
    let mut was_small = false;
    for c in name.chars() {
        if !c.is_alphabetic() || (c.is_uppercase() && was_small) {
            words.push(String::new());
        }
        was_small = c.is_lowercase();
        if let (true, Some(word)) = (c.is_alphabetic(), words.last_mut()) {
            word.extend(c.to_lowercase());
        }
    }
    words.retain(|word| !word.is_empty());
    words
}

fn holds(words: &[String], phrase: &str) -> bool {
    let phrase: Vec<&str> = phrase.split(' ').collect();
    words.windows(phrase.len()).any(|window| window.iter().zip(&phrase).all(|(word, other)| word == other))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_find_their_group() {
        for (name, group) in [
            ("01_Kick In", Group::Drums),
            ("Bass Drum", Group::Drums),
            ("BassDI", Group::Bass),
            ("GTR_Ac_2", Group::Guitars),
            ("leadVox dbl", Group::Backing),
            ("Lead Voice", Group::Lead),
            ("BGVs high", Group::Backing),
            ("OH L", Group::Drums),
            ("pad", Group::Keys),
            ("Tambourine", Group::Percussion),
            ("lead flute", Group::Winds),
            ("Horns_2", Group::Winds),
            ("violin 1", Group::Strings),
            ("whale", Group::Other),
        ] {
            assert_eq!(group_of(name), group, "{name}");
        }
    }

    #[test]
    fn mixes_are_told_by_name() {
        assert!(is_reference("rough mix") && is_reference("LW_RoughMix_02") && !is_reference("guitar picked"));
    }
}
