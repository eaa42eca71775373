//! From text to sheet.
//!
//! Reading never stops at the first mistake: a value that cannot be used is reported and stands at its default until
//! the end, when a sheet with any failure is withheld.

mod album;
mod alternate;
mod chain;
mod clock;
mod fields;
mod forms;
mod mend;
mod names;
mod node;
mod print;
mod report;
mod ride;
mod song;
mod start;

use units::{Problem, Spec};

pub use album::read_album;
pub(crate) use forms::{inside, range, whole_list, with_unit};
pub(crate) use start::read_start;

use crate::keys;
use crate::model::{Accepted, Link, Reference, Sheet};
use crate::network::{self, network_findings};
use crate::tree::{Tree, Written};
use clock::Clock;
use fields::Fields;
use names::Names;
use report::Report;

/// What every part of the reader needs.
struct Reader<'a> {
    report: &'a Report<'a>,
    catalogue: &'a [&'static Spec],
    names: Names,
    clock: Clock,
    console: Option<Link>,
}

/// Reads a recall sheet. The catalogue says which processors there are. Problems come in the order of the text.
///
/// The sheet is withheld if the text cannot be understood as one: TOML that does not parse, a key, word or name that
/// does not exist, a value out of its range, a loop. Otherwise it comes with the findings of [`network_findings`],
/// which may be failures too (a print that draws from nothing): the sheet can be played, but not delivered like that.
#[must_use]
pub fn read(text: &str, catalogue: &[&'static Spec]) -> (Option<Sheet>, Vec<Problem>) {
    let report = Report::new(text);
    let (table, faults) = mend::parse(text);
    faults.iter().for_each(|fault| report.syntax(fault));
    let Some(table) = table else { return (None, report.into_problems()) };
    let first_line = 0..text.find('\n').unwrap_or(text.len());
    let all_of_it = report.place(&first_line);
    let root = Written { span: first_line, value: Tree::Table(table) };
    let sheet = read_root(&report, catalogue, &root);
    if let Some(sheet) = &sheet {
        network::loops(sheet).into_iter().for_each(|problem| report.add(problem));
    }
    let problems = report.into_problems();
    match sheet.filter(|_| problems.is_empty()) {
        Some(sheet) => {
            let mut findings = network_findings(&sheet);
            for finding in &mut findings {
                finding.place.get_or_insert(all_of_it);
            }
            (Some(sheet), findings)
        }
        None => (None, problems),
    }
}

fn read_root(report: &Report<'_>, catalogue: &[&'static Spec], root: &Written) -> Option<Sheet> {
    let fields = Fields::open(report, &keys::SHEET, root, "sheet".to_owned())?;
    fields.whole(&keys::FORMAT_LINE);
    let (song, mut clock) = song::read_song(&fields);
    let sections = song::read_sections(&fields, &mut clock);
    let names = Names::gather(&fields);
    let console = chain::read_console(report, catalogue, &fields);
    let reader = Reader { report, catalogue, names, clock, console };
    let mut sheet = Sheet {
        song,
        references: read_references(&fields),
        sections,
        nodes: node::read_nodes(&reader, &fields),
        prints: print::read_prints(&reader, &fields),
        alternates: Vec::new(),
        stem_prints: Vec::new(),
        console: None,
        accepted: read_accepted(&fields),
    };
    sheet.alternates = alternate::read_alternates(&reader, &fields, &sheet);
    sheet.stem_prints = alternate::read_stem_prints(&reader, &fields, &sheet);
    sheet.console = reader.console;
    Some(sheet)
}

fn read_references(sheet: &Fields<'_>) -> Vec<Reference> {
    let one = |fields: Fields<'_>| Some(Reference { name: fields.text(&keys::NAME)?, file: fields.file(&keys::FILE)? });
    sheet.entries("reference", &keys::REFERENCE).into_iter().filter_map(one).collect()
}

fn read_accepted(sheet: &Fields<'_>) -> Vec<Accepted> {
    let one = |fields: Fields<'_>| {
        Some(Accepted {
            code: fields.text(&keys::CODE)?,
            at: fields.string(&keys::WHERE),
            reason: fields.string(&keys::REASON)?,
        })
    };
    sheet.entries("accept", &keys::ACCEPT).into_iter().filter_map(one).collect()
}
