//! A sheet as sentences with controls in them, from the definitions that the parser uses.

use std::hash::{DefaultHasher, Hash, Hasher};

use percent_encoding::{NON_ALPHANUMERIC, utf8_percent_encode};
use sheet::keys;
use sheet::{Link, Node, Sheet, Step, Target, plain_name};
use units::{At, Kind, Param, Settings, Unit, Value};

use crate::protocol::{Card, Control, Key, Phrase, Piece, Processor, Ride, Role, Row, Send, Takes};

/// The card of a stem or bus.
pub fn of_node(node: &Node) -> Card {
    let group = if node.is_stem() { &keys::STEM } else { &keys::BUS };
    let path = vec![Step::from(group.name), Step::from(node.name.as_str())];
    let ridden = |what: Target| node.rides.iter().any(|ride| ride.what == what);
    let blank = |name: &str| {
        let (param, value) = sheet::node_blank(node, name)?;
        let ridden = match name {
            "level_db" => ridden(Target::Level),
            "trim_db" => ridden(Target::Trim),
            "pan_percent" => ridden(Target::Pan),
            _ => false,
        };
        Some(Blank { param, value, path: at(&path, name), ridden })
    };
    let sends = node.sends.iter().enumerate().map(|(index, send)| {
        let path = [&path[..], &[Step::from("sends"), Step::from(index)]].concat();
        let sentence = phrases(keys::SEND_SENTENCE, &|name| {
            let (param, value) = sheet::send_blank(send, name)?;
            let ridden = name == "level_db" && ridden(Target::SendLevel(index));
            Some(Blank { param, value, path: at(&path, name), ridden })
        });
        Send { to: send.to.as_str().to_owned(), sentence, path }
    });
    Card {
        sentence: phrases(keys::NODE_SENTENCE, &blank),
        sends: sends.collect(),
        processors: processors((&node.name, &at(&path, "chain")), &node.chain, node),
        rides: rides(node, &at(&path, "rides")),
        chain: at(&path, "chain"),
    }
}

/// The card of a print.
pub fn of_print(print: &sheet::Print) -> Card {
    let chain = vec![Step::from("print"), Step::from(print.name.as_str()), Step::from("chain")];
    let processors =
        print.chain.iter().enumerate().map(|(index, link)| processor((&print.name, &chain), index, link, &|_| false));
    Card {
        sentence: Vec::new(),
        sends: Vec::new(),
        processors: processors.collect(),
        rides: Vec::new(),
        chain: chain.clone(),
    }
}

/// What a node is on the map.
pub fn role(sheet: &Sheet, node: &Node) -> Role {
    let routed = sheet.nodes.iter().any(|other| other.to.as_ref() == Some(&node.name));
    let sent = sheet.nodes.iter().any(|other| other.sends.iter().any(|send| send.to == node.name));
    match (node.is_stem(), routed, sent) {
        (true, ..) => Role::Source,
        (false, false, true) => Role::Return,
        _ => Role::Bus,
    }
}

/// A blank of a sentence: what may stand there, what does, and where the sheet has it.
struct Blank {
    param: Param,
    value: Value,
    path: Vec<Step>,
    ridden: bool,
}

fn at(path: &[Step], key: &str) -> Vec<Step> {
    [path, &[Step::from(key)]].concat()
}

fn processors(chain: (&str, &[Step]), links: &[Link], node: &Node) -> Vec<Processor> {
    let of_link = |(index, link): (usize, &Link)| {
        let ridden = |at: At| node.rides.iter().any(|ride| ride.what == Target::Processor { link: index, at });
        processor(chain, index, link, &ridden)
    };
    links.iter().enumerate().map(of_link).collect()
}

fn processor((owner, chain): (&str, &[Step]), index: usize, link: &Link, ridden: &dyn Fn(At) -> bool) -> Processor {
    let (settings, spec) = (&link.settings, link.settings.spec());
    let path = [chain, &[Step::from(index)]].concat();
    let own = at(&path, spec.name);
    let blank = |name: &str| {
        let (param, definition) = spec.param(name)?;
        let value = settings.values()[param].clone();
        let ridden = ridden(At { row: None, param });
        Some(Blank { param: *definition, value, path: at(&own, name), ridden })
    };
    let rows = spec.rows.iter().flat_map(|rows| {
        (0..settings.row_count()).map(|row| {
            let path = [&own[..], &[Step::from(rows.name), Step::from(row)]].concat();
            let of_row = |name: &str| row_blank(settings, (row, name), &path, ridden);
            let named = |name: &str| of_row(name).or_else(|| blank(name));
            let unnamed = rest_of(rows.params, rows.sentence);
            Row {
                sentence: phrases(rows.sentence, &named),
                more: unnamed.filter_map(|name| of_row(name).map(Blank::control)).collect(),
                path,
            }
        })
    });
    Processor {
        name: spec.name.to_owned(),
        title: spec.title.to_owned(),
        summary: spec.summary.to_owned(),
        caution: spec.caution.to_owned(),
        off: link.off,
        figure: reference::has_figure(spec.name).then(|| figure(owner, index, settings)),
        sentence: phrases(spec.sentence, &blank),
        key: spec.outside_key.then(|| Key {
            path: at(&own, keys::OUTSIDE_KEY.name),
            of: link.key.as_ref().map(|of| of.as_str().to_owned()),
        }),
        more: rest_of(spec.params, spec.sentence).filter_map(|name| blank(name).map(Blank::control)).collect(),
        rows_name: spec.rows.map(|rows| (rows.name.to_owned(), rows.singular.to_owned())),
        rows: rows.collect(),
        path,
    }
}

/// Where the figure of a processor is: its place, and a mark that changes with its settings.
fn figure(owner: &str, place: usize, settings: &Settings) -> String {
    let mut hasher = DefaultHasher::new();
    format!("{settings:?}").hash(&mut hasher);
    let owner = utf8_percent_encode(owner, NON_ALPHANUMERIC);
    format!("/figure/{owner}/{place}?{:x}", hasher.finish())
}

fn row_blank(
    settings: &Settings,
    (row, name): (usize, &str),
    path: &[Step],
    ridden: &dyn Fn(At) -> bool,
) -> Option<Blank> {
    let params = settings.spec().rows?.params;
    let param = params.iter().position(|param| param.name == name)?;
    let value = settings.row_values(row)[param].clone();
    let ridden = ridden(At { row: Some(row), param });
    Some(Blank { param: params[param], value, path: at(path, name), ridden })
}

/// Names of the parameters that a sentence does not mention.
fn rest_of<'a>(params: &'a [Param], sentence: &'a str) -> impl Iterator<Item = &'a str> {
    params.iter().map(|param| param.name).filter(move |name| !sentence.contains(&format!("{{{name}}}")))
}

fn phrases(template: &str, blank: &dyn Fn(&str) -> Option<Blank>) -> Vec<Phrase> {
    let of_phrase = |phrase: units::Phrase<'_>| {
        let mut at_rest = phrase.optional;
        let pieces = phrase.pieces.into_iter().filter_map(|piece| match piece {
            units::Piece::Words(words) => Some(Piece::Words(words.to_owned())),
            units::Piece::Blank(name) => blank(name).map(|blank| {
                at_rest &= !blank.ridden && blank.value == Value::default_of(&blank.param);
                Piece::Control(blank.control())
            }),
        });
        let pieces = pieces.collect();
        Phrase { at_rest, pieces }
    };
    units::phrases(template).into_iter().map(of_phrase).collect()
}

impl Blank {
    fn control(self) -> Control {
        let takes = match (self.param.kind, self.value) {
            (Kind::Number { unit, low, high, default }, Value::Number(value)) => Takes::Number {
                value,
                unit: unit.symbol().to_owned(),
                low,
                high,
                rest: default,
                by_ratio: matches!(unit, Unit::Hertz | Unit::Millisecond | Unit::Second),
            },
            (Kind::Choice { options, .. }, Value::Choice(index)) => Takes::Choice {
                value: options.get(index).copied().unwrap_or("").to_owned(),
                options: options.iter().map(|option| (*option).to_owned()).collect(),
            },
            (_, Value::Switch(value)) => Takes::Switch { value },
            (_, Value::File(value)) => Takes::File { value },
            // A value is always of its parameter's kind (see `Settings::set`).
            _ => Takes::File { value: None },
        };
        let (name, sentence) = (plain_name(self.param.name), self.param.sentence.to_owned());
        Control { path: self.path, name, sentence, takes, ridden: self.ridden }
    }
}

fn rides(node: &Node, path: &[Step]) -> Vec<Ride> {
    let of_ride = |(index, ride): (usize, &sheet::Ride)| Ride {
        path: [path, &[Step::from(index)]].concat(),
        what: what(node, ride.what),
        points: ride.points.clone(),
    };
    node.rides.iter().enumerate().map(of_ride).collect()
}

/// What a ride moves, in plain words.
fn what(node: &Node, target: Target) -> String {
    match target {
        Target::Level => "level".to_owned(),
        Target::Trim => "trim".to_owned(),
        Target::Pan => "pan".to_owned(),
        Target::SendLevel(send) => format!("send to {}", node.sends[send].to),
        Target::Processor { link, at } => {
            let spec = node.chain[link].settings.spec();
            let params = if at.row.is_some() { spec.rows.map_or(&[][..], |rows| rows.params) } else { spec.params };
            format!("{} of the {}", plain_name(params[at.param].name), spec.title)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = r#"
fairprint = 1
[song]
title = "Lantern Weather"
rate_hz = 48000
[[stem]]
name = "voice"
file = "voice.wav"
to = "mix"
level_db = -3
sends = [{ to = "room", level_db = -12 }]
chain = [{ compressor = { threshold_db = -32 } }, { eq = { bands = [{ shape = "bell", hz = 75, gain_db = 3 }] } }]
rides = [{ what = "compressor.threshold_db", points = [[0, -30], [10, -20]] }]
[[bus]]
name = "room"
to = "mix"
[[bus]]
name = "mix"
"#;

    fn controls(phrases: &[Phrase]) -> Vec<&Control> {
        let pieces = phrases.iter().flat_map(|phrase| &phrase.pieces);
        pieces.filter_map(|piece| if let Piece::Control(control) = piece { Some(control) } else { None }).collect()
    }

    #[test]
    fn every_control_names_the_place_that_an_edit_changes() {
        let (sheet, _) = sheet::read(TEXT, &engine::specs());
        let sheet = sheet.expect("the sheet reads");
        for node in &sheet.nodes {
            let card = of_node(node);
            let processors = card.processors.iter().flat_map(|processor| {
                let rows = processor.rows.iter().flat_map(|row| controls(&row.sentence).into_iter().chain(&row.more));
                controls(&processor.sentence).into_iter().chain(&processor.more).chain(rows)
            });
            let sends = card.sends.iter().flat_map(|send| controls(&send.sentence));
            for control in controls(&card.sentence).into_iter().chain(sends).chain(processors) {
                let value = match &control.takes {
                    Takes::Number { low, .. } => sheet::Plain::from(*low),
                    Takes::Choice { options, .. } => sheet::Plain::from(options[options.len() - 1].as_str()),
                    Takes::Switch { value } => sheet::Plain::from(!value),
                    Takes::File { .. } => continue,
                };
                let text = sheet::set_value(TEXT, &control.path, value).expect("the path is there");
                let (after, problems) = sheet::read(&text, &engine::specs());
                assert!(after.is_some(), "{:?}: {problems:?}", control.path);
            }
        }
    }

    #[test]
    fn phrases_at_rest_are_told_apart_and_rides_are_known() {
        let (sheet, _) = sheet::read(TEXT, &engine::specs());
        let sheet = sheet.expect("the sheet reads");
        let (_, voice) = sheet.node("voice").expect("it is there");
        let card = of_node(voice);
        assert!(!card.sentence[0].at_rest && card.sentence[1..].iter().all(|phrase| phrase.at_rest));
        let ridden: Vec<&str> = controls(&card.processors[0].sentence)
            .into_iter()
            .filter(|control| control.ridden)
            .map(|control| control.name.as_str())
            .collect();
        assert_eq!((ridden, card.rides[0].what.as_str()), (vec!["threshold"], "threshold of the compressor"));
        assert_eq!(role(&sheet, &sheet.nodes[1]), Role::Return);
    }

    #[test]
    fn a_processor_says_what_it_listens_to() {
        let room = "name = \"room\"\nto = \"mix\"";
        let keyed = TEXT.replace(room, &format!("{room}\nchain = [{{ compressor = {{ key = \"voice\" }} }}]"));
        let (sheet, problems) = sheet::read(&keyed, &engine::specs());
        let sheet = sheet.unwrap_or_else(|| panic!("{problems:?}"));
        let (_, room) = sheet.node("room").expect("it is there");
        let key = of_node(room).processors[0].key.clone().expect("a compressor can listen elsewhere");
        assert_eq!(key.of.as_deref(), Some("voice"));
        let itself = sheet::Edit::Remove { path: key.path }.apply(&keyed).expect("it is there");
        let (sheet, _) = sheet::read(&itself, &engine::specs());
        assert!(sheet.is_some_and(|sheet| sheet.nodes[1].chain[0].key.is_none()), "{itself}");
    }
}
