//! Times of the sheet as seconds: `m:ss.fff`, seconds, `bar|beat`, a section's name, or a section's name `+` a time.
//!
//! Bar 1, beat 1 is 0 s. A beat lasts `60 / tempo * 4 / note` seconds, the tempo counting quarter notes.

use std::collections::HashMap;

use super::report::{Fault, Report};
use crate::tree::{Tree, Written};

/// A day: no song is longer, and times of day end there.
const MOST_SECS: f64 = 86_400.0;

/// What times are counted by.
#[derive(Debug)]
pub(crate) struct Clock {
    /// Quarter notes a minute, if the sheet says.
    pub tempo_bpm: Option<f64>,
    /// Beats in a bar, and the note that is one beat.
    pub time_signature: (u32, u32),
    /// Starts of the sections so far, and their names in order.
    pub sections: HashMap<String, f64>,
}

impl Clock {
    /// The time of a value in seconds.
    pub fn secs(&self, written: &Written, report: &Report<'_>) -> Result<f64, Fault> {
        let secs = match &written.value {
            Tree::Number(secs) => *secs,
            Tree::Text(text) => self.text_secs(text.trim(), report)?,
            _ => {
                let message = format!("Here should be a time, not {}.", written.what());
                return Err(Fault::new("wrong-type", message, FORMS));
            }
        };
        if (0.0..=MOST_SECS).contains(&secs) {
            return Ok(secs);
        }
        Err(Fault::new("out-of-range", format!("{secs} s is not a time in a song."), "Write a time from 0 to 86400 s."))
    }

    fn text_secs(&self, text: &str, report: &Report<'_>) -> Result<f64, Fault> {
        if let Some((bar, beat)) = text.split_once('|') {
            return self.bar_beat(bar, beat);
        }
        if let Some(secs) = colons(text) {
            return Ok(secs);
        }
        if let Some(start) = self.sections.get(text) {
            return Ok(*start);
        }
        if let Some((name, after)) = text.rsplit_once('+')
            && let Some(start) = self.sections.get(name.trim())
        {
            let after = after.trim();
            return colons(after).map(|secs| start + secs).ok_or_else(|| not_a_time(after));
        }
        if is_timelike(text) {
            return Err(not_a_time(text));
        }
        let name = text.rsplit_once('+').map_or(text, |(name, _)| name.trim());
        let mut names: Vec<&str> = self.sections.keys().map(String::as_str).collect();
        names.sort_unstable();
        let message = format!("`{name}` is neither a time nor a section above.");
        let remedy = if names.is_empty() { FORMS.to_owned() } else { report.suggestion(name, names) };
        Err(Fault::new("unknown-name", message, remedy))
    }

    fn bar_beat(&self, bar: &str, beat: &str) -> Result<f64, Fault> {
        let Some(tempo_bpm) = self.tempo_bpm else {
            let message = "Bars and beats need a tempo.";
            return Err(Fault::new("no-tempo", message, "Write `tempo_bpm` in [song], or the time in m:ss.fff."));
        };
        let (beats, note) = self.time_signature;
        let parsed = bar.trim().parse::<u32>().ok().zip(beat.trim().parse::<f64>().ok());
        let within = |(bar, beat): &(u32, f64)| *bar >= 1 && *beat >= 1.0 && *beat < f64::from(beats) + 1.0;
        let Some((bar, beat)) = parsed.filter(within) else {
            let message = format!("`{bar}|{beat}` is not a bar and a beat of {beats}/{note}.");
            let remedy = format!("Write a bar from 1 and a beat from 1 to below {}, as in \"17|3\".", beats + 1);
            return Err(Fault::new("bad-time", message, remedy));
        };
        let beat_secs = 60.0 / tempo_bpm * 4.0 / f64::from(note);
        Ok((f64::from(bar - 1) * f64::from(beats) + beat - 1.0) * beat_secs)
    }
}

const FORMS: &str = "Write m:ss.fff, seconds, bar|beat, a section's name, or a section's name + a time.";

fn not_a_time(text: &str) -> Fault {
    Fault::new("bad-time", format!("`{text}` is not a time."), FORMS)
}

/// `h:mm:ss.fff`, `m:ss.fff` or seconds.
pub(crate) fn colons(text: &str) -> Option<f64> {
    let parts: Vec<&str> = text.split(':').collect();
    let (last, before) = parts.split_last()?;
    let digits = |part: &str| !part.is_empty() && part.len() <= 6 && part.bytes().all(|b| b.is_ascii_digit());
    let (whole, fraction) = last.split_once('.').unwrap_or((last, "0"));
    if before.len() > 2 || !before.iter().all(|part| digits(part)) || !digits(whole) || fraction.is_empty() {
        return None;
    }
    if !fraction.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let mut secs: f64 = last.parse().ok()?;
    for (index, part) in before.iter().rev().enumerate() {
        let number: f64 = part.parse().ok()?;
        secs += number * [60.0, 3600.0][index];
    }
    let sixtieths = before.iter().skip(1).chain((!before.is_empty()).then_some(&whole));
    sixtieths.into_iter().all(|part| part.len() == 2 && part.as_bytes()[0] < b'6').then_some(secs)
}

/// Whether a text looks like a time, so that no section may have it for a name.
pub(crate) fn is_timelike(text: &str) -> bool {
    text.contains('|')
        || text.contains('+')
        || text.starts_with(|c: char| c.is_ascii_digit()) && text.contains(':')
        || colons(text).is_some()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn minutes_and_seconds_are_read() {
        for (text, secs) in
            [("0:41.2", 41.2), ("3:42", 222.0), ("12:00.125", 720.125), ("41.2", 41.2), ("10:00:00", 36_000.0)]
        {
            assert_eq!(colons(text), Some(secs), "{text}");
        }
        for text in [
            "", ":", "1:", "1:5", "1:60", "1:99.0", "-1:00", "1:00.", "1.2:00", "a:00", "1:2:3:4", "1:60:00", "1e3",
            "inf",
        ] {
            assert_eq!(colons(text), None, "{text}");
        }
    }

    #[test]
    fn bars_and_beats_last_what_the_tempo_says() {
        // 120 quarter notes a minute: 0.5 s each; 90: 0.666667 s; 140: 0.428571 s (60 / tempo).
        let clock = |tempo, time_signature| Clock { tempo_bpm: Some(tempo), time_signature, sections: HashMap::new() };
        let secs = |clock: &Clock, bar: &str, beat: &str| clock.bar_beat(bar, beat).ok();
        assert_eq!(secs(&clock(120.0, (4, 4)), "1", "1"), Some(0.0));
        assert_eq!(secs(&clock(120.0, (4, 4)), "3", "2.5"), Some(4.75));
        assert!((secs(&clock(90.0, (3, 4)), "2", "1").unwrap() - 2.0).abs() < 1e-12);
        assert!((secs(&clock(140.0, (4, 4)), "1", "2").unwrap() - 0.428_571_428_571).abs() < 1e-12);
        // Eighths in 6/8: half a quarter each.
        assert_eq!(secs(&clock(120.0, (6, 8)), "2", "4"), Some(2.25));
        for (bar, beat) in [("0", "1"), ("1", "5"), ("1", "0.9"), ("x", "1"), ("1", "nan"), ("-1", "1")] {
            assert_eq!(secs(&clock(120.0, (4, 4)), bar, beat), None, "{bar}|{beat}");
        }
    }
}
