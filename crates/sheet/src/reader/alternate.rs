//! Alternates and stems of prints.

use super::Reader;
use super::fields::Fields;
use super::print::read_file;
use super::report::Fault;
use super::ride::numbered;
use crate::keys;
use crate::model::{Alternate, Dither, Dynamics, FileFormat, FileSpec, Name, Print, Sheet, StemGroup, StemPrint};

pub(super) fn read_alternates(reader: &Reader<'_>, root: &Fields<'_>, sheet: &Sheet) -> Vec<Alternate> {
    root.entries("alternate", &keys::ALTERNATE).iter().map(|fields| read_alternate(reader, fields, sheet)).collect()
}

fn read_alternate(reader: &Reader<'_>, fields: &Fields<'_>, sheet: &Sheet) -> Alternate {
    let of = reader.names.resolve(fields, &keys::OF).unwrap_or_else(|| Name::new("", fields.place()));
    let offsets = fields.entries(keys::OFFSETS.name, &keys::OFFSET);
    let offset = |fields: &Fields<'_>| {
        Some((reader.names.resolve(fields, &keys::OFFSET_NODE)?, fields.number(&keys::OFFSET_DB)))
    };
    let alternate = Alternate {
        name: fields.text(&keys::NAME).unwrap_or_else(|| Name::new("", fields.place())),
        mute: reader.names.resolve_list(fields, &keys::MUTED),
        only: reader.names.resolve_list(fields, &keys::ONLY),
        offsets: offsets.iter().filter_map(offset).collect(),
        without: sheet.print(&of).map(|print| read_without(fields, print)).unwrap_or_default(),
        dynamics: [Dynamics::Held, Dynamics::Free][fields.choice(&keys::DYNAMICS)],
        files: fields
            .get(keys::ALTERNATE_FILES.name)
            .map(|_| fields.entries(keys::ALTERNATE_FILES.name, &keys::PRINT_FILE).iter().map(read_file).collect()),
        pattern: fields.string(&keys::PATTERN),
        of,
    };
    refuse_contradictions(fields, &alternate);
    refuse_fed_by_sends(fields, sheet, &alternate);
    alternate
}

/// The processors of a print's chain that are left out.
fn read_without(fields: &Fields<'_>, print: &Print) -> Vec<usize> {
    let mut left_out = Vec::new();
    for item in fields.list(keys::WITHOUT.name) {
        let Some(text) = item.text() else {
            let message = format!("`{}` takes names of processors, not {}.", keys::WITHOUT.name, item.what());
            fields.fail(item, Fault::new("wrong-type", message, "Write a name in quotes, as in \"limiter\"."));
            continue;
        };
        let (name, number) = numbered(text);
        let same = print.chain.iter().enumerate().filter(|(_, link)| link.settings.spec().name == name);
        match number.checked_sub(1).and_then(|skip| same.map(|(index, _)| index).nth(skip)) {
            Some(index) => left_out.push(index),
            None => {
                let message = format!("There is no `{text}` in the chain of `{}`.", print.name);
                let words = print.chain.iter().map(|link| link.settings.spec().name);
                fields.fail(item, Fault::new("unknown-processor", message, fields.report.suggestion(name, words)));
            }
        }
    }
    left_out
}

fn refuse_contradictions(fields: &Fields<'_>, alternate: &Alternate) {
    let Alternate { mute, only, offsets, without, .. } = alternate;
    if let (false, false, Some(entry)) = (mute.is_empty(), only.is_empty(), fields.get(keys::ONLY.name)) {
        let message = "`mute` and `only` stand in one alternate.";
        fields.fail(&entry.item, Fault::new("one-of", message, "Keep the one that is shorter."));
    }
    let says_nothing = [keys::MUTED, keys::ONLY, keys::OFFSETS, keys::WITHOUT]
        .iter()
        .all(|key| fields.get(key.name).is_none_or(|entry| entry.item.list().is_some_and(<[_]>::is_empty)));
    if says_nothing && mute.is_empty() && only.is_empty() && offsets.is_empty() && without.is_empty() {
        let remedy = "Add `mute`, `only`, `offsets` or `without`.";
        fields.report.fail_at(
            fields.at(),
            alternate.name.place(),
            Fault::new("no-change", "This alternate is its print.", remedy),
        );
    }
}

/// Where sound is told by the stem that it comes from, a bus that only sends feed stands for nothing.
fn refuse_fed_by_sends(fields: &Fields<'_>, sheet: &Sheet, alternate: &Alternate) {
    let held = alternate.dynamics == Dynamics::Held;
    let moved = alternate.mute.iter().chain(alternate.offsets.iter().map(|(name, _)| name)).filter(|_| held);
    for name in moved.chain(&alternate.only).filter(|name| sheet.stems_of(name).next().is_none()) {
        let message = format!("No stem is routed to `{name}`: it is fed by sends alone.");
        let remedy =
            "Name the stems or buses that send to it, or, for `mute` and `offsets`, write `dynamics = \"free\"`.";
        fields.report.fail_at(fields.at(), name.place(), Fault::new("no-stems-in-it", message, remedy));
    }
}

pub(super) fn read_stem_prints(reader: &Reader<'_>, root: &Fields<'_>, sheet: &Sheet) -> Vec<StemPrint> {
    root.entries("stem_print", &keys::STEM_PRINT).iter().map(|fields| read_stem_print(reader, fields, sheet)).collect()
}

fn read_stem_print(reader: &Reader<'_>, fields: &Fields<'_>, sheet: &Sheet) -> StemPrint {
    let groups = fields.entries(keys::GROUPS.name, &keys::STEM_GROUP);
    let mut read: Vec<StemGroup> = Vec::new();
    for group in &groups {
        let Some(name) = group.text(&keys::NAME) else { continue };
        let from = reader.names.resolve_list(group, &keys::GROUP_FROM);
        refuse_group(group, sheet, &read, &name, &from);
        read.push(StemGroup { name, from });
    }
    StemPrint {
        name: fields.text(&keys::NAME).unwrap_or_else(|| Name::new("", fields.place())),
        of: reader.names.resolve(fields, &keys::OF).unwrap_or_else(|| Name::new("", fields.place())),
        groups: read,
        files: read_stem_files(fields),
        pattern: fields.string(&keys::PATTERN),
    }
}

/// Reports a group whose name is taken, and stems that are in two groups.
fn refuse_group(group: &Fields<'_>, sheet: &Sheet, before: &[StemGroup], name: &Name, from: &[Name]) {
    let fail = |name: &Name, fault| group.report.fail_at(group.at(), name.place(), fault);
    if before.iter().any(|other| other.name == *name) || keys::OWN_GROUPS.contains(&name.as_str()) {
        let message = format!("`{name}` is already the name of a stem file.");
        fail(name, Fault::new("duplicate-name", message, "Give each its own name."));
    }
    for (index, source) in from.iter().enumerate() {
        if sheet.stems_of(source).next().is_none() {
            let message = format!("No stem is routed to `{source}`: it is fed by sends alone.");
            let remedy = "Name the stems or buses that send to it: their groups hold what comes back from it.";
            fail(source, Fault::new("no-stems-in-it", message, remedy));
        }
        let others = before.iter().flat_map(|other| other.from.iter().map(move |from| (&other.name, from)));
        let here = from[..index].iter().map(|from| (name, from));
        for (other, from) in others.chain(here) {
            let twice = sheet.stems_of(source).find(|stem| sheet.stems_of(from).any(|held| held.name == stem.name));
            if let Some(stem) = twice {
                let message = format!("The stem `{}` is in the group `{other}` already, by `{from}`.", stem.name);
                fail(source, Fault::new("named-twice", message, "Let each stem be in one group."));
            }
        }
    }
}

fn read_stem_files(fields: &Fields<'_>) -> Vec<FileSpec> {
    let usual = FileFormat::Wav { bits: 24, dither: Dither::Tpdf };
    let files = fields.entries(keys::STEM_FILES.name, &keys::PRINT_FILE);
    if files.is_empty() {
        return vec![FileSpec { format: usual, rate_hz: None, place: fields.place() }];
    }
    for file in &files {
        let refuse = |key: &str, message, remedy| {
            let entry = file.get(key);
            entry.into_iter().for_each(|entry| file.fail(&entry.item, Fault::new("misfit", message, remedy)));
        };
        let spec = read_file(file);
        if spec.format.codec().is_some() {
            refuse(
                keys::FILE_FORMAT.name,
                "Stems in a lossy format do not sum to the print.",
                "Write wav, aiff or flac.",
            );
        }
        refuse(keys::FILE_RATE.name, "Stems have the song's rate.", "Leave it out.");
    }
    files.iter().map(read_file).collect()
}
