//! What the delay of each space does to the low end, for every delay at once.
//!
//! The wet path of a room, a delay or a convolution on a return is heard alone where it comes back, and so is all else
//! there. How the two meet by third octave, at the delay in use and at every other from 0 to 120 ms, follows from their
//! cross-correlation (see [`measure::low_band`]). Where every band that carries something stays within half a decibel of
//! the sum of energies, the delay is called flat.

use measure::low_band::{BandChange, Interference};
use serde::Serialize;
use sheet::Link;
use units::{Problem, Settings, Severity};

use super::hear::{Heard, Wants};
use super::taps::Taps;

/// Delays that are looked at.
const LONGEST_MS: u32 = 120;
/// Bands this far under the strongest of the dry path are left out. Common practice, no source.
const HEARD_DB: f64 = -25.0;
/// Within this a delay counts as flat; from the next on it is worth a warning. Common practice, no source.
const FLAT_DB: f64 = 0.5;
const COMB_DB: f64 = 1.0;
/// What a suggestion must better, at least.
const BETTER_DB: f64 = 0.3;
/// Delays that are suggested: from where pre-delays usually start (common practice, no source) to where speech and piano
/// still fuse with their repeat (Wallach, Newman and Rosenzweig 1949, "The precedence effect in sound localization",
/// Am. J. Psychol. 62).
const SUGGESTED_MS: std::ops::RangeInclusive<u32> = 10..=40;
/// From here on a repeat disturbs as an echo (Haas 1951, from memory).
const ECHO_MS: f64 = 50.0;

/// The low end at one delay.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct DelayPoint {
    /// Delay.
    pub ms: f64,
    /// The band that gains most, over the sum of energies.
    pub most_db: f64,
    /// The band that loses most.
    pub least_db: f64,
}

impl DelayPoint {
    fn swing_db(&self) -> f64 {
        self.most_db.max(-self.least_db)
    }
}

/// One space.
#[derive(Clone, Debug, Serialize)]
pub struct PreDelayRecord {
    /// The return that it is on.
    pub name: String,
    /// The processor.
    pub processor: String,
    /// The bus that it comes back to.
    pub into: String,
    /// The parameter that moves it.
    pub parameter: &'static str,
    /// Its value in use.
    pub in_use_ms: f64,
    /// The whole delay of a single repeat: the frequencies that it cancels, below 300 Hz, are `(2k+1) / 2t`.
    pub notches_hz: Vec<f64>,
    /// Level of the wet path under the dry one below 300 Hz.
    pub under_db: f64,
    /// The low end at the value in use, by third octave as `[hz, db]`.
    pub comb_db: Vec<(f64, f64)>,
    /// The low end at the value in use.
    pub now: DelayPoint,
    /// The low end at every millisecond.
    pub curve: Vec<DelayPoint>,
    /// Stretches of delays that leave the low end flat, in ms.
    pub flat_ms: Vec<[f64; 2]>,
    /// A better value, within the limits of precedence; none where the present one is flat or nothing is better.
    pub suggested_ms: Option<f64>,
}

/// Where a space is heard.
pub(super) struct SpaceTaps {
    name: String,
    into: String,
    processor: &'static str,
    parameter: &'static str,
    in_use_ms: f64,
    delay_ms: f64,
    wet: usize,
    sum: usize,
}

/// Taps on all spaces of all returns.
pub(super) fn ask(taps: &mut Taps<'_>) -> Vec<SpaceTaps> {
    let mut all = Vec::new();
    for bus in taps.returning() {
        for link in bus.chain.iter().filter(|link| !link.off) {
            let Some((parameter, in_use_ms, delay_ms)) = movable(link) else { continue };
            let Some((wet, sum)) = taps.alone(bus) else { continue };
            let inputs = taps.inputs(sum).to_vec();
            let whole = taps.listen(sum, inputs);
            all.push(SpaceTaps {
                name: bus.name.as_str().to_owned(),
                into: taps.whole.steps[sum].name.clone(),
                processor: link.settings.spec().title,
                parameter,
                in_use_ms,
                delay_ms,
                wet: taps.want(wet, Wants::LOW),
                sum: taps.want(whole, Wants::LOW),
            });
        }
    }
    all
}

/// The parameter that moves a space in time, its value, and how late the first sound comes by the settings.
fn movable(link: &Link) -> Option<(&'static str, f64, f64)> {
    let settings = &link.settings;
    let pre_delay_ms = number(settings, "pre_delay_ms")?;
    match (settings.spec().name, number(settings, "time_ms")) {
        ("delay", Some(time_ms)) => {
            let noted = settings
                .spec()
                .param("note")
                .is_some_and(|(index, _)| settings.values()[index] != units::Value::Choice(0));
            // A repeat in time with the song, or one of many, must keep its time: its pre-delay can still move.
            if noted || number(settings, "feedback_percent").unwrap_or(0.0) > 0.0 {
                return Some(("pre_delay_ms", pre_delay_ms, pre_delay_ms));
            }
            Some(("time_ms", time_ms, time_ms + pre_delay_ms))
        }
        ("room" | "convolution", _) => Some(("pre_delay_ms", pre_delay_ms, pre_delay_ms)),
        _ => None,
    }
}

fn number(settings: &Settings, name: &str) -> Option<f64> {
    let (_, param) = settings.spec().param(name)?;
    Some(settings.number(param))
}

impl SpaceTaps {
    /// The record of what was heard; none where the low end of one of the two is silent.
    pub(super) fn record(&self, heard: &Heard) -> Option<PreDelayRecord> {
        let (sum, wet) = (&heard.lows[&self.sum], &heard.lows[&self.wet]);
        let met = Interference::of(&sum.without(wet), wet);
        let at = |ms: f64| met.at(ms - self.in_use_ms);
        let curve: Vec<DelayPoint> = (0..=LONGEST_MS).map(|ms| point(f64::from(ms), &at(f64::from(ms)))).collect();
        let now = point(self.in_use_ms, &at(self.in_use_ms));
        Some(PreDelayRecord {
            name: self.name.clone(),
            processor: self.processor.to_owned(),
            into: self.into.clone(),
            parameter: self.parameter,
            in_use_ms: self.in_use_ms,
            notches_hz: notches_hz(self.delay_ms),
            under_db: met.wet_db()?,
            comb_db: at(self.in_use_ms).iter().map(|band| (band.centre_hz, band.change_db)).collect(),
            flat_ms: flat(&curve),
            suggested_ms: suggestion(&curve, &now),
            now,
            curve,
        })
    }
}

fn point(ms: f64, bands: &[BandChange]) -> DelayPoint {
    let heard = bands.iter().filter(|band| band.dry_db >= HEARD_DB).map(|band| band.change_db);
    let (most_db, least_db) = heard.fold((0.0f64, 0.0f64), |(most, least), db| (most.max(db), least.min(db)));
    DelayPoint { ms, most_db, least_db }
}

/// Frequencies below 300 Hz that one repeat cancels.
fn notches_hz(delay_ms: f64) -> Vec<f64> {
    if delay_ms <= 0.0 {
        return Vec::new();
    }
    (0..30).map(|k| (2.0 * f64::from(k) + 1.0) * 500.0 / delay_ms).take_while(|hz| *hz < 300.0).collect()
}

fn flat(curve: &[DelayPoint]) -> Vec<[f64; 2]> {
    let mut stretches: Vec<[f64; 2]> = Vec::new();
    for point in curve.iter().filter(|point| point.swing_db() <= FLAT_DB) {
        match stretches.last_mut() {
            Some([_, to]) if *to + 1.0 == point.ms => *to = point.ms,
            _ => stretches.push([point.ms, point.ms]),
        }
    }
    stretches
}

/// The nearest flat delay within the limits, or the flattest there is.
fn suggestion(curve: &[DelayPoint], now: &DelayPoint) -> Option<f64> {
    if now.swing_db() <= FLAT_DB {
        return None;
    }
    let allowed = || curve.iter().filter(|point| SUGGESTED_MS.contains(&(point.ms as u32)));
    let away = |point: &DelayPoint| (point.ms - now.ms).abs();
    // A value that is flat by a hair is no advice: its neighbours must be as well.
    let is_flat = |ms: f64| curve.iter().filter(|point| (point.ms - ms).abs() < 1.5).all(|p| p.swing_db() <= FLAT_DB);
    let flat = allowed().filter(|point| is_flat(point.ms)).min_by(|a, b| away(a).total_cmp(&away(b)));
    let flattest = || allowed().min_by(|a, b| a.swing_db().total_cmp(&b.swing_db()));
    let best = flat.or_else(flattest)?;
    (best.swing_db() <= now.swing_db() - BETTER_DB).then_some(best.ms)
}

/// Code `low-end-comb`: at the delay in use a third octave between 31.5 and 250 Hz gains or loses more than half a
/// decibel (a note) or a decibel (a warning) against the sum of energies. Code `late-repeat`: a repeat later than 50 ms
/// (Haas 1951, from memory) that is not in time with the song.
pub(super) fn finding(record: &PreDelayRecord) -> Option<Problem> {
    let at = format!("bus {}", record.name);
    let swing = record.now.swing_db();
    if swing > FLAT_DB {
        let severity = if swing > COMB_DB { Severity::Warn } else { Severity::Note };
        let by = |low: bool| {
            let order = |a: &&(f64, f64), b: &&(f64, f64)| a.1.total_cmp(&b.1);
            if low { record.comb_db.iter().min_by(order) } else { record.comb_db.iter().max_by(order) }
        };
        let words = |(hz, db): &(f64, f64)| {
            format!("{} {:.1} dB at {hz} Hz", if *db < 0.0 { "takes" } else { "adds" }, db.abs())
        };
        let both = [by(true), by(false)].into_iter().flatten().filter(|(_, db)| db.abs() > FLAT_DB / 2.0);
        let both: Vec<String> = both.map(words).collect();
        let message =
            format!("At {} ms, “{}” {} of “{}”.", record.in_use_ms, record.name, both.join(" and "), record.into);
        let remedy = match record.suggested_ms {
            Some(ms) => format!("Set {} to {ms}, or raise the low cut of the return.", record.parameter),
            None => "Raise the low cut of the return, or lower it.".to_owned(),
        };
        return Some(Problem::new(severity, "low-end-comb", &at, message, remedy));
    }
    if record.parameter == "time_ms" && record.in_use_ms > ECHO_MS {
        let message =
            format!("The repeat of “{}” comes {} ms late: it is heard by itself.", record.name, record.in_use_ms);
        let remedy = "Fine as an echo; for size without one, stay below 40 ms, or give it a note value.".to_owned();
        return Some(Problem::new(Severity::Note, "late-repeat", &at, message, remedy));
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn notches_are_those_of_the_closed_form() {
        // Odd multiples of 1 / 2t, any handbook of acoustics: 5 ms at 100 Hz, 8 ms at 62.5 and 187.5 Hz.
        assert_eq!(notches_hz(5.0), [100.0]);
        assert_eq!(notches_hz(8.0), [62.5, 187.5]);
        assert!(notches_hz(0.0).is_empty());
    }

    #[test]
    fn a_suggestion_is_flat_near_and_within_the_limits() {
        let swing = |ms: u32| if (14..18).contains(&ms) || ms > 60 { 0.2 } else { 2.0 };
        let curve: Vec<DelayPoint> =
            (0..=120).map(|ms| DelayPoint { ms: f64::from(ms), most_db: swing(ms), least_db: -0.1 }).collect();
        assert_eq!(suggestion(&curve, &curve[5]), Some(15.0));
        assert_eq!(suggestion(&curve, &curve[30]), Some(16.0));
        assert_eq!(suggestion(&curve, &curve[15]), None);
        assert_eq!(flat(&curve), [[14.0, 17.0], [61.0, 120.0]]);
    }
}
