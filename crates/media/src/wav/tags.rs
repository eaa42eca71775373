//! Text in wave files: LIST INFO and production metadata (iXML).

use quick_xml::events::{BytesText, Event};
use quick_xml::{Reader as XmlReader, Writer as XmlWriter};

use super::bext::text_of;
use crate::Metadata;

/// Keys of LIST INFO and ours.
const INFO_KEYS: [([u8; 4], &str); 9] = [
    (*b"INAM", "title"),
    (*b"IART", "artist"),
    (*b"IPRD", "album"),
    (*b"ICRD", "date"),
    (*b"ICMT", "comment"),
    (*b"IGNR", "genre"),
    (*b"ICOP", "copyright"),
    (*b"IENG", "engineer"),
    (*b"ISFT", "software"),
];

/// Most tags and track names that are taken from one chunk.
const MOST_TAGS: usize = 1000;

/// Most elements of production metadata that are open at once: the format needs five.
const MOST_LEVELS: usize = 32;

/// Reads a LIST chunk; only the INFO kind says anything.
pub(super) fn parse_list(bytes: &[u8]) -> Vec<(String, String)> {
    let mut tags = Vec::new();
    let Some(mut rest) = bytes.strip_prefix(b"INFO") else { return tags };
    while let Some((head, tail)) = rest.split_first_chunk::<8>().filter(|_| tags.len() < MOST_TAGS) {
        let [a, b, c, d, size @ ..] = *head;
        let size = (u32::from_le_bytes(size) as usize).min(tail.len());
        let id = [a, b, c, d];
        let key = INFO_KEYS.iter().find(|(known, _)| *known == id).map(|(_, key)| (*key).to_owned());
        let value = text_of(&tail[..size]);
        if !value.is_empty() {
            tags.push((key.unwrap_or_else(|| text_of(&id)), value));
        }
        rest = tail.get(size + size % 2..).unwrap_or_default();
    }
    tags
}

/// The content of a LIST INFO chunk; none when there is nothing to say.
pub(super) fn build_list(metadata: &Metadata) -> Option<Vec<u8>> {
    let engineer = metadata.credits.iter().find(|(role, _)| role == "mixer").map(|(_, name)| name.clone());
    let fields = [
        (b"INAM", &metadata.title),
        (b"IART", &metadata.artist),
        (b"IPRD", &metadata.album),
        (b"ICRD", &metadata.date),
        (b"ICMT", &metadata.comment),
        (b"IENG", &engineer),
        (b"ISFT", &metadata.originator),
    ];
    let mut bytes = b"INFO".to_vec();
    for (id, value) in fields {
        let Some(value) = value else { continue };
        bytes.extend_from_slice(id);
        bytes.extend((value.len() as u32 + 1).to_le_bytes());
        bytes.extend_from_slice(value.as_bytes());
        bytes.push(0);
        if bytes.len() % 2 == 1 {
            bytes.push(0);
        }
    }
    (bytes.len() > 4).then_some(bytes)
}

/// What production metadata says: tags, and the names of the tracks in order.
#[derive(Debug, Default, PartialEq)]
pub(super) struct Production {
    pub(super) tags: Vec<(String, String)>,
    pub(super) track_names: Vec<String>,
}

/// Reads an iXML chunk as far as it is well formed and no deeper or longer than any that is meant to be read.
pub(super) fn parse_ixml(bytes: &[u8]) -> Production {
    let mut production = Production::default();
    let text = text_of(bytes);
    let mut xml = XmlReader::from_str(&text);
    let mut path: Vec<String> = Vec::new();
    let mut value = String::new();
    loop {
        match xml.read_event() {
            Ok(Event::Start(_)) if path.len() == MOST_LEVELS || production.track_names.len() == MOST_TAGS => {
                return production;
            }
            Ok(Event::Start(tag)) => {
                path.push(tag.name().as_ref().to_owned());
                value.clear();
            }
            Ok(Event::End(_)) => {
                take_value(&path, value.trim(), &mut production);
                path.pop();
                value.clear();
            }
            Ok(Event::Text(part)) => value.push_str(&part),
            Ok(Event::GeneralRef(name)) => value.push_str(&entity(&name)),
            Ok(Event::CData(part)) => value.push_str(&part),
            Ok(Event::Eof) | Err(_) => return production,
            Ok(_) => {}
        }
    }
}

fn entity(name: &quick_xml::events::BytesRef<'_>) -> String {
    if let Ok(Some(c)) = name.resolve_char_ref() {
        return c.to_string();
    }
    quick_xml::escape::resolve_xml_entity(name).unwrap_or_default().to_owned()
}

fn take_value(path: &[String], value: &str, production: &mut Production) {
    if value.is_empty() {
        return;
    }
    let path: Vec<&str> = path.iter().map(String::as_str).collect();
    match path[..] {
        ["BWFXML", "TRACK_LIST", "TRACK", "NAME"] => production.track_names.push(value.to_owned()),
        ["BWFXML", key @ ("PROJECT" | "SCENE" | "TAPE" | "TAKE" | "NOTE")] => {
            production.tags.push((key.to_lowercase(), value.to_owned()));
        }
        _ => {}
    }
}

/// The content of an iXML chunk.
pub(super) fn build_ixml(metadata: &Metadata, rate_hz: u32, bits: u16) -> Vec<u8> {
    let mut xml = XmlWriter::new_with_indent(Vec::new(), b' ', 1);
    // Writing into memory does not fail.
    let _ = write_ixml(&mut xml, metadata, rate_hz, bits);
    let mut bytes = b"<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n".to_vec();
    bytes.extend(xml.into_inner());
    bytes
}

fn write_ixml(xml: &mut XmlWriter<Vec<u8>>, metadata: &Metadata, rate_hz: u32, bits: u16) -> std::io::Result<()> {
    let leaf = |xml: &mut XmlWriter<Vec<u8>>, name: &str, value: &str| {
        xml.create_element(name).write_text_content(BytesText::new(value)).map(|_| ())
    };
    xml.create_element("BWFXML").write_inner_content(|xml| {
        leaf(xml, "IXML_VERSION", "2.10")?;
        for (name, value) in [("PROJECT", &metadata.title), ("TAKE", &metadata.version), ("NOTE", &metadata.comment)] {
            if let Some(value) = value {
                leaf(xml, name, value)?;
            }
        }
        xml.create_element("SPEED").write_inner_content(|xml| {
            leaf(xml, "FILE_SAMPLE_RATE", &rate_hz.to_string())?;
            leaf(xml, "AUDIO_BIT_DEPTH", &bits.to_string())?;
            leaf(xml, "TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI", &(metadata.time_reference >> 32).to_string())?;
            leaf(xml, "TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO", &(metadata.time_reference & 0xffff_ffff).to_string())
        })?;
        if metadata.track_names.is_empty() {
            return Ok(());
        }
        xml.create_element("TRACK_LIST").write_inner_content(|xml| {
            leaf(xml, "TRACK_COUNT", &metadata.track_names.len().to_string())?;
            for (index, name) in metadata.track_names.iter().enumerate() {
                xml.create_element("TRACK").write_inner_content(|xml| {
                    leaf(xml, "CHANNEL_INDEX", &(index + 1).to_string())?;
                    leaf(xml, "INTERLEAVE_INDEX", &(index + 1).to_string())?;
                    leaf(xml, "NAME", name)
                })?;
            }
            Ok(())
        })?;
        Ok(())
    })?;
    Ok(())
}
