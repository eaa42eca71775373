//! What all pages that are written have in common: they need nothing else, load nothing, and tell findings alike.

use maud::{DOCTYPE, Markup, PreEscaped, html};
use units::{Problem, Severity};

use crate::record::AcceptedRecord;

/// Style of all pages.
const STYLE: &str = include_str!("style.css");

/// A whole page around what it says. `own_style` comes on top of the style of all.
pub(crate) fn page(title: &str, own_style: &str, said: &Markup) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'";
                title { (title) }
                style { (PreEscaped(STYLE)) (PreEscaped(own_style)) }
            }
            body { main { (said) } }
        }
    };
    page.into_string()
}

/// Findings that stand, and those that the sheet accepts, with the reason.
pub(crate) fn findings(standing: &[Problem], accepted: &[AcceptedRecord]) -> Markup {
    html! {
        section {
            h2 { "Findings" }
            @if standing.is_empty() && accepted.is_empty() { p { "None." } }
            ol class="findings" {
                @for finding in standing { li { (line(finding, &finding.remedy)) } }
                @for accepted in accepted {
                    li { (line(&accepted.finding, &format!("Accepted: {}", accepted.reason))) }
                }
            }
        }
    }
}

/// A finding as a line: how bad, where, what, what to do or why nothing is done.
fn line(finding: &Problem, remedy: &str) -> Markup {
    let word = match finding.severity {
        Severity::Fail => "Must be mended",
        Severity::Warn => "Look at this",
        Severity::Note => "Worth knowing",
    };
    html! {
        b { (word) } ", " (finding.at)
        @if let Some(time) = finding.time_in_words() { ", at " (time) }
        ": " (marked(&finding.message)) " " i { (marked(remedy)) }
        " " small { (finding.code) }
    }
}

/// A text whose words of the sheet stand between backticks.
fn marked(text: &str) -> Markup {
    html! {
        @for (index, part) in text.split('`').enumerate() {
            @if index % 2 == 1 { code { (part) } } @else { (part) }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_accepted_finding_tells_its_reason_once() {
        // The routing's own findings come with the reason for a remedy, those of the sound with advice.
        let reason = "It is on the overheads.".to_owned();
        for remedy in ["Accepted: It is on the overheads.", "Take the mute off."] {
            let message = "It is muted.".to_owned();
            let finding = Problem::new(Severity::Note, "muted", "stem snare", message, remedy.to_owned());
            let page = findings(&[], &[AcceptedRecord { finding, reason: reason.clone() }]).into_string();
            assert_eq!(page.matches(&reason).count(), 1, "{page}");
            assert!(page.contains("Accepted: ") && !page.contains("mute off"), "{page}");
        }
    }
}
