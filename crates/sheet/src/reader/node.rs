//! Stems and buses.

use super::Reader;
use super::chain::read_chain;
use super::fields::Fields;
use super::ride::read_rides;
use crate::keys;
use crate::model::{Name, Node, NodeKind, Send, Tap};

/// The network: stems, then buses.
pub(super) fn read_nodes(reader: &Reader<'_>, sheet: &Fields<'_>) -> Vec<Node> {
    let stems = sheet.entries("stem", &keys::STEM).into_iter().map(|fields| {
        let kind = NodeKind::Stem {
            file: fields.file(&keys::FILE).unwrap_or_else(|| Name::new("", fields.place())),
            from_secs: fields.time(&keys::STEM_FROM, &reader.clock).unwrap_or(0.0),
            expect_silence: fields.switch(&keys::EXPECT_SILENCE),
        };
        read_node(reader, &fields, kind)
    });
    let stems: Vec<Node> = stems.collect();
    let buses = sheet.entries("bus", &keys::BUS).into_iter().map(|fields| read_node(reader, &fields, NodeKind::Bus));
    stems.into_iter().chain(buses).collect()
}

fn read_node(reader: &Reader<'_>, fields: &Fields<'_>, kind: NodeKind) -> Node {
    let (chain, whole) = read_chain(reader, fields, keys::CHAIN.name);
    let sends = read_sends(reader, fields);
    let rides = read_rides(reader, fields, &chain, whole, &sends);
    Node {
        name: fields.text(&keys::NAME).unwrap_or_else(|| Name::new("", fields.place())),
        kind,
        to: reader.names.resolve(fields, &keys::TO),
        trim_db: fields.number(&keys::TRIM),
        inverted: fields.choice(&keys::POLARITY) == 1,
        delay_ms: fields.number(&keys::DELAY),
        pan_percent: fields.number(&keys::PAN),
        level_db: fields.number(&keys::LEVEL),
        mute: fields.switch(&keys::MUTE),
        chain,
        sends,
        rides,
    }
}

fn read_sends(reader: &Reader<'_>, node: &Fields<'_>) -> Vec<Send> {
    let one = |fields: Fields<'_>| Send {
        to: reader.names.resolve(&fields, &keys::SEND_TO).unwrap_or_else(|| Name::new("", fields.place())),
        tap: if fields.choice(&keys::TAP) == 0 { Tap::Post } else { Tap::Pre },
        level_db: fields.number(&keys::SEND_LEVEL),
    };
    node.entries("sends", &keys::SEND).into_iter().map(one).collect()
}
