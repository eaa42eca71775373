//! The recall document: a sheet as a page to read and print, from which someone with other tools could rebuild the mix.

use maud::{Markup, html};
use sheet::{Link, Loudness, Node, NodeKind, Ride, Sheet, Target, node_sentence, plain_name, send_sentence};
use units::{format_time, typeset};

use crate::report::paper;

/// The page.
#[must_use]
pub fn html(sheet: &Sheet, revision: &str) -> String {
    let song = &sheet.song;
    let (stems, buses): (Vec<&Node>, Vec<&Node>) = sheet.nodes.iter().partition(|node| node.is_stem());
    let said = html! {
        h1 { (song.title) }
        p.by { (song.artist) ", recall of " (revision) ". " (song.rate_hz) " Hz" @if let Some(tempo_bpm) = song.tempo_bpm { ", " (tempo_bpm) " beats a minute" } "." }
        @if !sheet.sections.is_empty() {
            p { "Sections: " @for section in &sheet.sections { (section.name) " from " (format_time(section.from_secs)) ". " } }
        }
        h2 { "How it flows" }
        (flow(sheet))
        h2 { "Stems" }
        @for node in &stems { (node_entry(sheet, node)) }
        h2 { "Buses and returns" }
        @for node in &buses { (node_entry(sheet, node)) }
        h2 { "Prints" }
        @for print in &sheet.prints {
            section {
                h3 { (print.name) }
                p { "Draws from " (print.from) ". " (loudness(print.loudness.as_ref())) }
                (chain(&print.chain))
            }
        }
        @if !sheet.accepted.is_empty() {
            h2 { "Findings accepted" }
            ul.findings { @for accepted in &sheet.accepted {
                li { (accepted.code) @if let Some(at) = &accepted.at { " at " (at) } ": " (accepted.reason) }
            } }
        }
        footer { "The exact sheet lies beside this page as sheet.toml. Loud sound harms hearing: turn monitors down first." }
    };
    typeset(&paper::page(&format!("Recall: {}", song.title), "", &said))
}

/// What runs where, a line for each bus.
fn flow(sheet: &Sheet) -> Markup {
    html! {
        ul {
            @for bus in sheet.buses() {
                @let routed: Vec<&str> = sheet.nodes.iter().filter(|n| n.to.as_ref() == Some(&bus.name)).map(|n| n.name.as_str()).collect();
                @let sent: Vec<&str> = sheet.nodes.iter().filter(|n| n.sends.iter().any(|s| s.to == bus.name)).map(|n| n.name.as_str()).collect();
                li {
                    b { (bus.name) } ": "
                    @if !routed.is_empty() { (routed.join(", ")) }
                    @if !routed.is_empty() && !sent.is_empty() { "; " }
                    @if !sent.is_empty() { "copies of " (sent.join(", ")) }
                    @if let Some(to) = &bus.to { "; goes to " (to) }
                }
            }
        }
    }
}

fn node_entry(sheet: &Sheet, node: &Node) -> Markup {
    let processors: Vec<Link> = sheet.processors(node).cloned().collect();
    html! {
        section {
            h3 { (node.name) }
            p {
                @if let NodeKind::Stem { file, from_secs, .. } = &node.kind {
                    "From " (file)
                    @if *from_secs != 0.0 { ", starting at " (format_time(*from_secs)) }
                    ". "
                }
                @match &node.to { Some(to) => { "Goes to " (to) " " }, None => { "Prints draw from it " } }
                (node_sentence(node)) "."
                @if node.mute { " It is muted." }
            }
            @for send in &node.sends { p { "A copy goes to " (send.to) " " (send_sentence(send)) "." } }
            (chain(&processors))
            @for ride in &node.rides { p { (ride_in_words(node, ride)) } }
        }
    }
}

fn chain(links: &[Link]) -> Markup {
    html! {
        @if !links.is_empty() { ol {
            @for link in links { li {
                (capital(link.settings.spec().title)) @if link.off { " (taken out)" } ": " (link.settings.sentence()) "."
                @if let Some(key) = &link.key { " It listens to " (key) "." }
                @let rows = link.settings.row_sentences();
                @if !rows.is_empty() { ul { @for row in rows { li { (row) } } } }
            } }
        } }
    }
}

fn ride_in_words(node: &Node, ride: &Ride) -> String {
    let what = match ride.what {
        Target::Level => "Level".to_owned(),
        Target::Trim => "Trim".to_owned(),
        Target::Pan => "Pan".to_owned(),
        Target::SendLevel(send) => format!("Send to {}", node.sends[send].to),
        Target::Processor { link, at } => {
            let spec = node.chain[link].settings.spec();
            let params = if at.row.is_some() { spec.rows.map_or(&[][..], |rows| rows.params) } else { spec.params };
            format!("{} of the {}", capital(&plain_name(params[at.param].name)), spec.title)
        }
    };
    let points: Vec<String> =
        ride.points.iter().map(|(at, value)| format!("{value} at {}", format_time(*at))).collect();
    format!("{what} rides: {}.", points.join(", "))
}

fn loudness(loudness: Option<&Loudness>) -> String {
    match loudness {
        None => "As loud as it comes.".to_owned(),
        Some(Loudness::Lufs(lufs)) => format!("Brought to {lufs} LUFS ahead of its limiter."),
        Some(Loudness::Match(name)) => format!("Brought to the loudness of {name} ahead of its limiter."),
    }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().collect::<String>() + letters.as_str())
}
