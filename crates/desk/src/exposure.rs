//! How much sound the ears have had at the desk: an estimate, once somebody has read a sound level meter in the room.
//!
//! The meter's reading, in dBA at the ears, stands beside the loudness that played then; from then on the loudness of what
//! plays says how loud it is. Loudness is weighted by K, not by A, so that the estimate is good to some decibels, and
//! better for music like that which was measured.
//!
//! - A day: NIOSH, "Criteria for a recommended standard: occupational noise exposure" (DHHS 98-126, 1998): 85 dBA for 8
//!   hours, half the time for each 3 dB more; the dose is the sum of each time over the time allowed at its level.
//! - Eight hours: Directive 2003/10/EC, article 3: the daily exposure level, with action values of 80 and 85 dB(A) and a
//!   limit of 87.
//! - A week: Rec. ITU-T H.870 (WHO-ITU): 80 dBA for 40 hours, by energy.
//!
//! What the ears have had on a day is kept beside the sheet (`day`); the meter's reading is not: the next time the
//! amplifier may stand elsewhere.

use std::path::Path;

use units::{Problem, Severity};

mod day;

pub use day::{Day, Had, today};

use crate::protocol::Now;

/// NIOSH: the level that may be heard for a working day, that day, and the exchange rate.
const DAY_DBA: f64 = 85.0;
const DAY_SECS: f64 = 8.0 * 3600.0;
const EXCHANGE_DB: f64 = 3.0;
/// Directive 2003/10/EC: lower and upper action value, and the limit.
const ACTION_DBA: [f64; 3] = [80.0, 85.0, 87.0];
/// H.870: the level that may be heard for 40 hours a week.
const WEEK_DBA: f64 = 80.0;
const WEEK_SECS: f64 = 40.0 * 3600.0;
/// Readings that a meter at somebody's ears can have.
pub const READINGS_DBA: [f64; 2] = [40.0, 120.0];

/// Seconds at a level that make a full day's dose.
#[must_use]
pub fn allowed_secs(dba: f64) -> f64 {
    DAY_SECS / libm::exp2((dba - DAY_DBA) / EXCHANGE_DB)
}

/// Power of a level, against that of 0 dB.
fn power(db: f64) -> f64 {
    let gain = units::gain_from_db(db);
    gain * gain
}

/// What was heard.
#[derive(Clone, Copy, Debug, Default)]
pub struct Exposure {
    /// What is to be added to a loudness in LUFS for a level in dBA at the ears.
    room_db: Option<f64>,
    had: Had,
    now_dba: Option<f64>,
}

impl Exposure {
    /// A sound level meter reads so many dBA while this loudness plays.
    pub fn measured(&mut self, dba: f64, played_lufs: f64) {
        let [low, high] = READINGS_DBA;
        self.room_db = Some(dba.clamp(low, high) - played_lufs);
    }

    /// A loudness plays for some seconds.
    pub fn hear(&mut self, played_lufs: Option<f64>, secs: f64) {
        let Some(room_db) = self.room_db else { return };
        self.had.secs += secs;
        self.now_dba = played_lufs.map(|lufs| lufs + room_db);
        if let Some(dba) = self.now_dba {
            self.add(dba, secs);
        }
    }

    fn add(&mut self, dba: f64, secs: f64) {
        self.had.dose += secs / allowed_secs(dba);
        self.had.energy += secs * power(dba);
    }

    /// The level that would give the same energy in eight hours.
    #[must_use]
    pub fn level_over_day_dba(&self) -> Option<f64> {
        (self.had.energy > 0.0).then(|| units::db_from_power(self.had.energy / DAY_SECS))
    }

    /// Parts of what a week allows.
    #[must_use]
    pub fn week(&self) -> f64 {
        self.had.energy / (WEEK_SECS * power(WEEK_DBA))
    }

    /// What there is to say, in sentences; none while nobody has measured today.
    #[must_use]
    pub fn sentence(&self) -> Option<String> {
        if self.room_db.is_none() && self.had == Had::default() {
            return None;
        }
        let now = match self.now_dba {
            Some(dba) => format!("At your ears it is about {dba:.0} dBA now. "),
            None => String::new(),
        };
        let Some(day_dba) = self.level_over_day_dba() else {
            return Some(format!("{now}Nothing was heard since you measured."));
        };
        let heard = format!(
            "Today, in {} with this song, you have heard {} of a day’s dose (85 dBA for 8 hours, NIOSH), {day_dba:.0} dBA taken \
             over 8 hours (the rules of Europe act from 80), and {} of what a week allows (80 dBA for 40 hours, WHO and ITU).",
            duration(self.had.secs),
            percent(self.had.dose),
            percent(self.week())
        );
        let left = (1.0 - self.had.dose).max(0.0) * self.now_dba.map_or(0.0, allowed_secs);
        let [lower, upper, limit] = ACTION_DBA;
        let advice = match day_dba {
            _ if self.had.dose >= 1.0 || day_dba >= limit => " That is a whole day’s: stop for today.".to_owned(),
            x if x >= upper => " Turn it down, and rest: most of a day’s is used.".to_owned(),
            x if x >= lower => " Rest your ears for a while.".to_owned(),
            _ if left > 0.0 && left < DAY_SECS => format!(" At this level the rest of it lasts {}.", duration(left)),
            _ => String::new(),
        };
        let again = if self.room_db.is_none() { " Read the meter again, and the desk goes on adding." } else { "" };
        Some(format!("{now}{heard}{advice}{again}"))
    }
}

/// The room with its ears: what was heard in it, and what plays now.
#[derive(Default)]
pub struct Room {
    exposure: Exposure,
    /// The day, as dates are written, and what was kept of it.
    today: String,
    kept: Had,
    played_lufs: Option<f64>,
    reports: usize,
}

/// Seconds between two reports of the player while it plays, and reports between two readings.
const REPORT_SECS: f64 = 0.05;
const READING: usize = 40;

impl Room {
    /// The room of a sheet on a day, with what the ears have had already.
    #[must_use]
    pub fn of(sheet: &Path, today: String) -> Self {
        let had = Day::of(sheet, &today).map(|day| day.had).unwrap_or_default();
        Self { exposure: Exposure { had, ..Exposure::default() }, today, kept: had, ..Self::default() }
    }

    /// What is to be kept beside the sheet, if that is not what was kept last. On another day all begins anew.
    pub fn due(&mut self, today: String) -> Option<Day> {
        if today != self.today {
            (self.today, self.kept, self.exposure.had) = (today, Had::default(), Had::default());
        }
        let had = self.exposure.had;
        let is_new = std::mem::replace(&mut self.kept, had) != had;
        is_new.then(|| Day::new(self.today.clone(), had))
    }

    /// Takes a report of the player. Tells whether there is something new to say.
    pub fn hear(&mut self, now: &Now) -> bool {
        let (momentary_lufs, short_term_lufs) = now.played;
        self.played_lufs = short_term_lufs.filter(|_| now.playing);
        if !now.playing || self.exposure.room_db.is_none() {
            return false;
        }
        self.exposure.hear(momentary_lufs, REPORT_SECS);
        self.reports += 1;
        self.reports.is_multiple_of(READING)
    }

    /// A sound level meter reads so many dBA now; none forgets what it read.
    ///
    /// # Errors
    /// Nothing plays that it could have read.
    pub fn measure(&mut self, dba: Option<f64>) -> Result<(), Box<Problem>> {
        let Some(dba) = dba.filter(|dba| dba.is_finite()) else {
            self.exposure = Exposure { had: self.exposure.had, ..Exposure::default() };
            return Ok(());
        };
        let Some(played_lufs) = self.played_lufs else {
            let message = "Nothing plays that a sound level meter could read.".to_owned();
            let remedy = "Play a loud passage for some seconds, and read the meter meanwhile.".to_owned();
            return Err(Box::new(Problem::new(Severity::Note, "nothing-plays", "monitor level", message, remedy)));
        };
        self.exposure.measured(dba, played_lufs);
        Ok(())
    }

    /// What was heard in it.
    #[must_use]
    pub fn exposure(&self) -> &Exposure {
        &self.exposure
    }
}

fn percent(part: f64) -> String {
    match 100.0 * part {
        x if x < 1.0 => "less than 1%".to_owned(),
        x => format!("{x:.0}%"),
    }
}

/// Seconds in words: `1 h 12 min`.
fn duration(secs: f64) -> String {
    let minutes = (secs / 60.0) as u64;
    match (minutes / 60, minutes % 60) {
        (0, 0) => "less than a minute".to_owned(),
        (0, minutes) => format!("{minutes} min"),
        (hours, 0) => format!("{hours} h"),
        (hours, minutes) => format!("{hours} h {minutes} min"),
    }
}

#[cfg(test)]
mod tests;
