//! A plan as text, step by step: what feeds each at which level, what waits for what, what its processors are set to.

use std::fmt;

use units::{Unit, number_in_words};

use super::{Feed, Input, Plan, PlanLink, Step};
use crate::curve::{GainLaw, Level};

impl fmt::Display for Plan {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let length = units::format_time(self.song_frames as f64 / self.rate_hz);
        let tail = self.tail_frames as f64 / self.rate_hz;
        writeln!(f, "{length} of song and {tail:.2} s of tail at {} Hz, in {} steps", self.rate_hz, self.steps.len())?;
        for (index, step) in self.steps.iter().enumerate() {
            writeln!(f, "{index:4}  {}{}", step.name, self.late(", its output ", step.leaves))?;
            self.feed(f, step)?;
            for link in &step.links {
                self.link(f, link)?;
            }
        }
        Ok(())
    }
}

impl Plan {
    fn feed(&self, f: &mut fmt::Formatter<'_>, step: &Step) -> fmt::Result {
        match &step.feed {
            Feed::File { path, starts_at: 0 } => writeln!(f, "        file {path}")?,
            Feed::File { path, starts_at } => writeln!(f, "        file {path}, from sample {starts_at}")?,
            Feed::Sum(inputs) => {
                for input in inputs {
                    writeln!(f, "        from {}", self.input(input))?;
                }
            }
        }
        let trim = law_in_words(&step.trim);
        if !trim.is_empty() {
            writeln!(f, "        ahead of its chain{trim}")?;
        }
        if step.delay_frames > 0 {
            writeln!(f, "        delayed on purpose by {}", self.time(step.delay_frames))?;
        }
        Ok(())
    }

    fn link(&self, f: &mut fmt::Formatter<'_>, link: &PlanLink) -> fmt::Result {
        let title = link.settings.spec().title;
        let state = if link.off { " (taken out)" } else { "" };
        let late =
            if link.latency_frames > 0 { format!(", takes {}", self.time(link.latency_frames)) } else { String::new() };
        writeln!(f, "        {title}{state}{late}: {}", link.settings.whole_sentence())?;
        if link.wait_frames > 0 {
            writeln!(f, "          waits {} for its key", self.time(link.wait_frames))?;
        }
        if let Some(key) = &link.key {
            writeln!(f, "          listens to {}", self.input(key))?;
        }
        if !link.rides.is_empty() {
            let spec = link.settings.spec();
            let params =
                |row: Option<usize>| row.map_or(spec.params, |_| spec.rows.map_or(&[][..], |rows| rows.params));
            let names: Vec<&str> = link.rides.iter().map(|(at, _)| params(at.row)[at.param].name).collect();
            writeln!(f, "          ridden: {}", names.join(", "))?;
        }
        Ok(())
    }

    /// A path: where it comes from, what happens to it on the way, how long it waits for the latest.
    fn input(&self, input: &Input) -> String {
        let waits =
            if input.align_frames > 0 { format!(", waits {}", self.time(input.align_frames)) } else { String::new() };
        format!("{}{}{waits}", self.steps[input.from].name, law_in_words(&input.law))
    }

    fn late(&self, words: &str, frames: usize) -> String {
        if frames == 0 { String::new() } else { format!("{words}{} late", self.time(frames)) }
    }

    fn time(&self, frames: usize) -> String {
        format!("{frames} samples ({:.2} ms)", 1000.0 * frames as f64 / self.rate_hz)
    }
}

/// What happens to a signal on its way, empty where nothing does.
fn law_in_words(law: &GainLaw) -> String {
    let rest_db: f64 = law.levels.iter().map(|level| level.rest_db).sum();
    let level = format!(", at {}", number_in_words(rest_db, Unit::Decibel));
    let pan = format!(", panned to {}", number_in_words(law.pan_percent.rest_db, Unit::Percent));
    let parts = [
        (rest_db != 0.0, level.as_str()),
        (law.levels.iter().any(|level| !level.rides.is_empty()), ", ridden"),
        (law.pan_percent != Level::default(), &pan),
        (law.inverted, ", polarity inverted"),
        (law.muted, ", muted"),
    ];
    parts.into_iter().filter(|(is, _)| *is).map(|(_, words)| words).collect()
}
