//! What stems, buses and sends do, as sentences: the blanks of [`keys::NODE_SENTENCE`] and [`keys::SEND_SENTENCE`].

use units::{Param, Value, render};

use crate::keys::{self, Group, Takes};
use crate::model::{Node, Send, Tap};

/// A blank of a node's sentence: its definition, and what stands there.
#[must_use]
pub fn node_blank(node: &Node, name: &str) -> Option<(Param, Value)> {
    let value = match name {
        "level_db" => Value::Number(node.level_db),
        "trim_db" => Value::Number(node.trim_db),
        "pan_percent" => Value::Number(node.pan_percent),
        "delay_ms" => Value::Number(node.delay_ms),
        "polarity" => Value::Choice(usize::from(node.inverted)),
        _ => return None,
    };
    Some((param_of(if node.is_stem() { &keys::STEM } else { &keys::BUS }, name)?, value))
}

/// A blank of a send's sentence: its definition, and what stands there.
#[must_use]
pub fn send_blank(send: &Send, name: &str) -> Option<(Param, Value)> {
    let value = match name {
        "tap" => Value::Choice(usize::from(send.tap == Tap::Pre)),
        "level_db" => Value::Number(send.level_db),
        _ => return None,
    };
    Some((param_of(&keys::SEND, name)?, value))
}

/// What a node does beside its chain: `at -3 dB, panned to 20%`.
#[must_use]
pub fn node_sentence(node: &Node) -> String {
    render(keys::NODE_SENTENCE, &|name| node_blank(node, name))
}

/// How a copy is sent: `at -12 dB, post-fader`.
#[must_use]
pub fn send_sentence(send: &Send) -> String {
    render(keys::SEND_SENTENCE, &|name| send_blank(send, name))
}

/// The definition of a key that takes what a parameter takes.
fn param_of(group: &Group, name: &str) -> Option<Param> {
    let key = group.keys.iter().find(|key| key.name == name)?;
    match key.takes {
        Takes::Param(kind) => Some(Param { name: key.name, kind, sentence: key.sentence }),
        _ => None,
    }
}
