//! Verdicts on prints: facts in, findings out.

use engine::{Plan, Role, RunFacts};
use measure::{Measured, Parting};
use units::{Problem, Severity, counted, format_time};

/// How far above its ceiling a file may read before it counts: the limiter's own promise.
const CEILING_TOLERANCE_DB: f64 = 0.02;

/// How near a print's loudness must come to what was asked for.
pub const LOUDNESS_TOLERANCE_LU: f64 = 0.05;

/// Mean of a channel from which it counts as an offset: -60 dB of full scale. Common practice, no source.
const DC_LIMIT: f64 = 0.001;

/// Phase between the middle and the sides from which it is told, and from which it is a warning. At 30 degrees and equal
/// levels the far speaker is at -11.4 dB (tangent of half the angle), at 60 at -4.8 dB. Common practice, no source.
const PARTED_DEG: [f64; 2] = [30.0, 60.0];

/// Frames of the responses that the phase is taken from: bins of 1.5 Hz at 48 kHz.
const RESPONSE_FRAMES: usize = 1 << 15;

/// What a verdict on a file needs to know.
pub struct FileFacts<'a> {
    /// What the finding is about, for instance `for approval, MP3 256 kbps`.
    pub at: &'a str,
    /// What was read back.
    pub measured: &'a Measured,
    /// Ceiling of the limiter that ends the print, as the sheet asks for it.
    pub ceiling_dbtp: Option<f64>,
    /// Whether the file's codec is lossy.
    pub lossy: bool,
    /// Samples that did not fit.
    pub clamped_samples: u64,
}

/// Findings about one file.
#[must_use]
pub fn of_file(facts: &FileFacts<'_>) -> Vec<Problem> {
    let FileFacts { at, measured, .. } = *facts;
    let mut findings = Vec::new();
    let mut add_at = |secs: Option<f64>, severity, code, message: String, remedy: &str| {
        let finding = Problem::new(severity, code, at, message, remedy.to_owned());
        findings.push(secs.map_or(finding.clone(), |secs| finding.at_secs(secs)));
    };
    let [left, right] = measured.true_peaks;
    let top = if left.value > right.value { left } else { right };
    let top_s = Some(top.at_frame / measured.rate_hz);
    if facts.clamped_samples > 0 {
        let message = format!("Above full scale, and cut off: {}.", counted(facts.clamped_samples as usize, "sample"));
        add_at(
            top_s,
            Severity::Fail,
            "clipped",
            message,
            "Lower the level of the bus it draws from, or end the print with a limiter.",
        );
    }
    match (facts.ceiling_dbtp, measured.measures.true_peak_dbtp) {
        (Some(ceiling), Some(peak)) if peak > ceiling + CEILING_TOLERANCE_DB => {
            let message = format!("True peak {peak:.2} dBTP, above the ceiling of {ceiling:.2} dBTP.");
            let (severity, remedy) = if facts.lossy {
                (Severity::Warn, "Add this codec and rate to the print's `survive` list.")
            } else {
                (Severity::Fail, "Lower the limiter's ceiling, or write the file at the song's own rate.")
            };
            add_at(top_s, severity, "over-ceiling", message, remedy);
        }
        (None, Some(peak)) if peak > 0.0 => {
            let message = format!("True peak {peak:.2} dBTP, above full scale, in a print without a limiter.");
            let remedy = "Lower the level of the bus it draws from.";
            add_at(top_s, Severity::Warn, "over-full-scale", message, remedy);
        }
        _ => {}
    }
    let mut add = |severity, code, message, remedy: &str| add_at(None, severity, code, message, remedy);
    if measured.dc.iter().any(|mean| mean.abs() > DC_LIMIT) {
        let [left, right] = measured.dc;
        let message = format!("The signal does not rest at zero: mean {left:.4} left, {right:.4} right.");
        add(Severity::Warn, "dc", message, "Put a low cut on the stem that brings it, or on the main bus.");
    }
    match measured.measures.correlation {
        Some(correlation) if correlation < 0.0 => {
            let message = format!("Left and right work against each other: correlation {correlation:.2}.");
            add(Severity::Warn, "correlation", message, "Check polarity, delays and width; listen in mono.");
        }
        None => {
            let remedy = "Check that the bus it draws from is fed and not muted.";
            add(Severity::Fail, "silent-print", "The print is silent.".to_owned(), remedy);
        }
        _ => {}
    }
    findings
}

/// Findings that need the plan alone: what unequal equalisers of middle and sides, or of left and right, do to the image.
#[must_use]
pub fn of_plan(plan: &Plan) -> Vec<Problem> {
    let parted = |step: &engine::Step| {
        let responses = engine::one_sided_responses(&step.links, plan.rate_hz, RESPONSE_FRAMES)?;
        let parting = measure::parting(&responses, plan.rate_hz)?;
        let title = match step.role {
            Role::Stem => "stem",
            Role::Bus => "bus",
            Role::Print => "print",
            Role::Probe => return None,
        };
        of_parting(&format!("{title} {}", step.name), &parting)
    };
    plan.steps.iter().filter_map(parted).collect()
}

fn of_parting(at: &str, parting: &Parting) -> Option<Problem> {
    let apart = parting.apart_deg.abs();
    let severity = match apart {
        _ if apart < PARTED_DEG[0] => return None,
        _ if apart < PARTED_DEG[1] => Severity::Note,
        _ => Severity::Warn,
    };
    let message = format!(
        "At {:.0} Hz its equalisers turn the sides {apart:.0}° away from the middle: a sound on one side alone also plays \
         in the far speaker, at {:.1} dB of the near one and {:.0}° from it.",
        parting.hz,
        parting.far_db,
        parting.far_deg.abs()
    );
    let remedy = "Set `phase = \"linear\"` in the equalisers that work on one side or component, make their curves more alike, or treat the \
                  stems that need it ahead of this sum.";
    Some(Problem::new(severity, "parted-phase", at, message, remedy.to_owned()))
}

/// Findings about the sources of a run.
#[must_use]
pub fn of_sources(facts: &RunFacts, silent_stems: &[String], rate_hz: f64) -> Vec<Problem> {
    let mut findings = Vec::new();
    for (stem, bad) in &facts.not_numbers {
        let time = format_time(bad.first as f64 / rate_hz);
        let message = format!(
            "“{stem}” holds {} that are not numbers, the first at {time}; silence was printed there.",
            counted(bad.frames as usize, "sample")
        );
        let remedy = "Export it again; what made it is broken there.".to_owned();
        let finding = Problem::new(Severity::Fail, "not-a-number", &stem_title(stem), message, remedy);
        findings.push(finding.at_secs(bad.first as f64 / rate_hz));
    }
    for stem in silent_stems {
        let message = format!("“{stem}” is silent from start to end.");
        let remedy =
            "Check the file; if it is meant to be silent, write `expect_silence = true` at the stem.".to_owned();
        findings.push(Problem::new(Severity::Warn, "silent-stem", &stem_title(stem), message, remedy));
    }
    findings
}

/// What a finding calls a stem, in the words of the sheet's own findings, so that `accept` names both alike.
fn stem_title(stem: &str) -> String {
    format!("stem {stem}")
}

/// Finding about a loudness that was not reached.
#[must_use]
pub fn of_loudness(print: &str, target_lufs: f64, reached_lufs: Option<f64>) -> Option<Problem> {
    let (message, remedy) = match reached_lufs {
        None => {
            ("The print is silent, so that no gain gives it a loudness.".to_owned(), "Check what feeds it.".to_owned())
        }
        Some(reached) if (reached - target_lufs).abs() > LOUDNESS_TOLERANCE_LU => (
            format!("{target_lufs:.2} LUFS were asked for, {reached:.2} LUFS is as far as its limiter goes."),
            format!(
                "Write `loudness = {{ lufs = {:.1} }}` in this print, or make density ahead of its limiter: `fairprint starts \
                 loud tape ending` shows a chain that does.",
                (10.0 * reached).floor() / 10.0
            ),
        ),
        Some(_) => return None,
    };
    Some(Problem::new(Severity::Fail, "loudness-missed", &format!("print {print}"), message, remedy))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tone(peak: f64) -> Measured {
        let sine = |n: i32| peak * libm::sin(f64::from(n) * 0.13);
        let frames: Vec<units::Frame> = (0..48_000).map(|n| [sine(n), sine(n)]).collect();
        measure::measure(&frames, 48_000.0)
    }

    #[test]
    fn a_file_above_its_ceiling_fails_and_a_lossy_one_warns() {
        let measured = tone(0.95);
        let facts =
            |lossy| FileFacts { at: "x", measured: &measured, ceiling_dbtp: Some(-1.0), lossy, clamped_samples: 0 };
        let findings = of_file(&facts(false));
        assert_eq!((findings[0].code, findings[0].severity), ("over-ceiling", Severity::Fail));
        assert_eq!(of_file(&facts(true))[0].severity, Severity::Warn);
        // The first top of sin(0.13 n) lies at n = pi / 2 / 0.13 = 12.1, others as high, near enough, every 24.2 frames.
        let beyond = |ms: Option<u64>| ms.is_some_and(|ms| ms <= 1000);
        assert!(beyond(findings[0].at_ms), "{findings:?}");
        let quiet = tone(0.5);
        assert_eq!(of_file(&FileFacts { measured: &quiet, ..facts(false) }), []);
    }

    #[test]
    fn phase_between_middle_and_sides_is_told_where_it_is_heard() {
        let parting = |apart_deg| Parting { hz: 120.0, apart_deg, far_db: -0.2, far_deg: 71.0 };
        let severity = |apart: f64| of_parting("bus main", &parting(apart)).map(|finding| finding.severity);
        assert_eq!([severity(12.0), severity(-29.0)], [None, None]);
        assert_eq!([severity(-35.0), severity(70.0)], [Some(Severity::Note), Some(Severity::Warn)]);
    }

    #[test]
    fn a_loudness_within_the_promise_is_no_finding() {
        assert!(of_loudness("x", -9.5, Some(-9.46)).is_none());
        assert_eq!(of_loudness("x", -5.0, Some(-6.0)).unwrap().code, "loudness-missed");
    }
}
