//! File names: from a pattern, safe on every file system.
//!
//! The usual pattern follows the published scheme for the delivery of recorded music (Recording Academy, Producers &
//! Engineers Wing, "Delivery Recommendations for Recorded Music Projects"): artist's initials, title, mixer's initials
//! with the revision's number, version, rate and depth, joined by underscores.

use sheet::{FileFormat, Song};

use crate::files::format_of;

/// The scheme asks for titles under 15 characters.
const TITLE_CHARACTERS: usize = 14;
/// Most characters of a name; file systems take 255 bytes, and programs add to what they are given.
const MOST_CHARACTERS: usize = 120;
/// Names of devices, which one of the usual systems gives to no file, whatever its ending.
const DEVICES: [&str; 6] = ["con", "prn", "aux", "nul", "com", "lpt"];

/// What a name is made of.
pub struct NameParts<'a> {
    /// The song.
    pub song: &'a Song,
    /// The revision's number.
    pub revision: u32,
    /// The print's name.
    pub print: &'a str,
    /// The file's format.
    pub format: FileFormat,
    /// The file's rate.
    pub rate_hz: u32,
}

/// The file's name, with its ending.
#[must_use]
pub fn file_name(pattern: &str, parts: &NameParts<'_>) -> String {
    let song = parts.song;
    let initials = |given: &Option<String>, name: Option<&String>, other: &str| match (given, name) {
        (Some(given), _) => joined(given),
        (None, Some(name)) => initials_of(name),
        (None, None) => other.to_owned(),
    };
    let revision = format!("{:02}", parts.revision);
    // One for each of `sheet::keys::PLACEHOLDERS`, which the reader holds patterns to.
    let fields = [
        ("artist_initials", initials(&song.artist_initials, Some(&song.artist), "XX")),
        ("artist", joined(&song.artist)),
        ("title", joined(&song.title).chars().take(TITLE_CHARACTERS).collect()),
        ("mixer_initials", initials(&song.mixer_initials, song.mixer.as_ref(), "Mix")),
        ("revision", revision),
        ("print", joined(parts.print)),
        ("resolution", resolution(parts.format, parts.rate_hz)),
        ("date", song.date.clone().unwrap_or_default()),
    ];
    let mut name = pattern.to_owned();
    for (field, value) in fields {
        name = name.replace(&format!("{{{field}}}"), &value);
    }
    let safe: String =
        name.chars().map(|c| if c.is_ascii_alphanumeric() || "-_.".contains(c) { c } else { '_' }).collect();
    let safe: String = safe.trim_matches(['.', '_', '-']).chars().take(MOST_CHARACTERS).collect();
    let name = if safe.is_empty() || is_device(&safe) { format!("print_{safe}") } else { safe };
    format!("{}.{}", name.trim_end_matches('_'), format_of(parts.format).extension())
}

/// Whether a name is that of a device: `con`, `com1`, `aux.old`.
fn is_device(name: &str) -> bool {
    let stem = name.split('.').next().unwrap_or_default().to_ascii_lowercase();
    DEVICES.contains(&stem.trim_end_matches(|c: char| c.is_ascii_digit()))
}

/// A title as the name of a folder, with its blanks and letters.
#[must_use]
pub fn folder_name(title: &str) -> String {
    let safe: String = title.chars().map(|c| if c.is_alphanumeric() || " -_".contains(c) { c } else { '_' }).collect();
    let safe: String = safe.trim().chars().take(MOST_CHARACTERS).collect();
    if safe.is_empty() { "song".to_owned() } else { safe }
}

/// Capitalised words without spaces, accents or punctuation: `Lantern Weather` becomes `LanternWeather`.
fn joined(text: &str) -> String {
    let words = text.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty());
    words.map(capitalised).collect()
}

fn capitalised(word: &str) -> String {
    let plain: String = word.chars().filter_map(without_accent).collect();
    let mut characters = plain.chars();
    characters.next().map(|first| first.to_ascii_uppercase().to_string() + characters.as_str()).unwrap_or_default()
}

fn initials_of(name: &str) -> String {
    let words = name.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty());
    words.filter_map(|word| word.chars().find_map(without_accent)).map(|c| c.to_ascii_uppercase()).collect()
}

/// Letters of the Latin-1 block without their accents; others that are not ASCII are dropped.
fn without_accent(c: char) -> Option<char> {
    let plain = match c {
        'À'..='Å' => 'A',
        'à'..='å' => 'a',
        'Ç' => 'C',
        'ç' => 'c',
        'È'..='Ë' => 'E',
        'è'..='ë' => 'e',
        'Ì'..='Ï' => 'I',
        'ì'..='ï' => 'i',
        'Ñ' => 'N',
        'ñ' => 'n',
        'Ò'..='Ö' | 'Ø' => 'O',
        'ò'..='ö' | 'ø' => 'o',
        'Ù'..='Ü' => 'U',
        'ù'..='ü' => 'u',
        'Ý' => 'Y',
        'ý' | 'ÿ' => 'y',
        'ß' => 's',
        other => other,
    };
    plain.is_ascii_alphanumeric().then_some(plain)
}

/// Rate and depth in the scheme's style: `96k24`, `44k16`; for lossy files codec and bit rate: `mp3-256`.
fn resolution(format: FileFormat, rate_hz: u32) -> String {
    match (format.codec(), format.rounding()) {
        (Some((codec, kbps)), _) => format!("{codec}-{kbps}"),
        (None, Some((bits, _))) => format!("{}k{bits}", rate_hz / 1000),
        (None, None) => format!("{}k32", rate_hz / 1000),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_placeholder_that_a_sheet_may_use_is_filled() {
        let text =
            "fairprint = 1\n[song]\ntitle = \"Lantern Weather\"\nartist = \"The Tin Orchard\"\nrate_hz = 96000\n";
        let (sheet, problems) = sheet::read(text, &[]);
        let song = sheet.unwrap_or_else(|| panic!("{problems:#?}")).song;
        let format = FileFormat::Wav { bits: 24, dither: sheet::Dither::Tpdf };
        let parts = NameParts { song: &song, revision: 3, print: "for mastering", format, rate_hz: 96_000 };
        for (placeholder, _) in sheet::keys::PLACEHOLDERS {
            let name = file_name(&format!("a{{{placeholder}}}z"), &parts);
            assert!(!name.contains(placeholder), "{placeholder} stays in {name}");
        }
        // The scheme's order: artist, title, mixer with revision, version, rate and depth.
        let usual = file_name(sheet::keys::USUAL_PATTERN, &parts);
        assert_eq!(usual, "TTO_LanternWeather_Mix03_ForMastering_96k24.wav");
    }

    #[test]
    fn names_are_safe_on_every_file_system() {
        let (sheet, problems) = sheet::read("fairprint = 1\n[song]\ntitle = \"?\"\nrate_hz = 48000\n", &[]);
        let song = sheet.unwrap_or_else(|| panic!("{problems:#?}")).song;
        let name = |print: &str| {
            let format = FileFormat::Wav { bits: 24, dither: sheet::Dither::Tpdf };
            file_name("{print}", &NameParts { song: &song, revision: 1, print, format, rate_hz: 48_000 })
        };
        let names = ["aux", "COM1", "con fidence", "???", "a: b/c"].map(name);
        assert_eq!(names, ["print_Aux.wav", "print_COM1.wav", "ConFidence.wav", "print.wav", "ABC.wav"]);
        assert_eq!(name(&"x".repeat(300)).len(), MOST_CHARACTERS + 4);
        assert_eq!(["What? Now: 1/2", " ", "Où"].map(folder_name), ["What_ Now_ 1_2", "song", "Où"]);
    }

    #[test]
    fn words_become_safe_pieces_of_names() {
        assert_eq!(joined("Lantern Weather"), "LanternWeather");
        assert_eq!(joined("für Élise / no. 2"), "FurEliseNo2");
        assert_eq!(initials_of("The Tin Orchard"), "TTO");
        assert_eq!(resolution(FileFormat::Wav { bits: 24, dither: sheet::Dither::Tpdf }, 96_000), "96k24");
    }
}
