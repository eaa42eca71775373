//! The nearest right spelling of a wrong word.

use strsim::osa_distance;

/// The word of `words` that `written` most likely means, if any is near: the same but for case and separators, one
/// that begins with it (a name without its unit), or one within a third of its letters.
pub(crate) fn nearest<'a>(written: &str, words: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let plain_written = plain(written);
    let length = plain_written.chars().count();
    if length == 0 {
        return None;
    }
    let reach = (length / 3).max(2).min(length.saturating_sub(1).max(1));
    let distance = |word: &str| {
        if word.len() > written.len() + 24 {
            return None;
        }
        let plain_word = plain(word);
        if plain_word == plain_written {
            return Some(0);
        }
        if length >= 3 && plain_word.starts_with(&plain_written) {
            return Some(1);
        }
        let off = osa_distance(&plain_written, &plain_word)
            .min(1 + osa_distance(without_unit(&plain_written), without_unit(&plain_word)));
        (off <= reach).then_some(off + 1)
    };
    words.into_iter().filter_map(|word| Some((distance(word)?, word))).min_by_key(|(off, _)| *off).map(|(_, word)| word)
}

/// Small letters, with one sort of separator.
fn plain(word: &str) -> String {
    word.trim().chars().map(|c| if matches!(c, '-' | ' ' | '.') { '_' } else { c.to_ascii_lowercase() }).collect()
}

/// A name without the unit at its end, so that `attack_s` finds `attack_ms`; short names stay whole.
fn without_unit(word: &str) -> &str {
    match word.rfind('_') {
        Some(at) if at >= 4 => &word[..at],
        _ => word,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_what_was_meant_and_nothing_else() {
        let words = ["threshold_db", "attack_ms", "release_ms", "ratio", "high shelf", "drums", "bass", "Ärger"];
        for (written, meant) in [
            ("treshold_db", Some("threshold_db")),
            ("rel", Some("release_ms")),
            ("threshold", Some("threshold_db")),
            ("attack_s", Some("attack_ms")),
            ("High_Shelf", Some("high shelf")),
            ("darums", Some("drums")),
            ("bas", Some("bass")),
            ("Arger", Some("Ärger")),
            ("zzz", None),
            ("x", None),
            ("", None),
            ("voice", None),
        ] {
            assert_eq!(nearest(written, words), meant, "{written}");
        }
    }
}
