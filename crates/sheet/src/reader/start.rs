//! Starting points: a chain of the sheet, with words around it.

use units::{Problem, Spec};

use super::chain::read_chain;
use super::clock::Clock;
use super::fields::Fields;
use super::names::Names;
use super::report::{Fault, Report};
use super::{Reader, mend};
use crate::keys;
use crate::starts::{Spot, Start};
use crate::tree::{Tree, Written};

/// Reads a starting point. Its measured sentence is left empty: it is not written by hand.
///
/// # Errors
/// All that is wrong with it, each with its place.
pub(crate) fn read_start(text: &str, catalogue: &[&'static Spec]) -> Result<Start, Vec<Problem>> {
    let report = Report::new(text);
    let (table, faults) = mend::parse(text);
    faults.iter().for_each(|fault| report.syntax(fault));
    let first_line = 0..text.find('\n').unwrap_or(text.len());
    let root = table.map(|table| Written { span: first_line, value: Tree::Table(table) });
    let start = root.as_ref().and_then(|root| read(text, &report, catalogue, root));
    let problems = report.into_problems();
    start.filter(|_| problems.is_empty()).ok_or(problems)
}

fn read(text: &str, report: &Report<'_>, catalogue: &[&'static Spec], root: &Written) -> Option<Start> {
    let fields = Fields::open(report, &keys::STARTING_POINT, root, "starting point".to_owned())?;
    let clock = Clock { tempo_bpm: None, time_signature: (4, 4), sections: std::collections::HashMap::new() };
    let reader = Reader { report, catalogue, names: Names::gather(&fields), clock, console: None };
    let (chain, _) = read_chain(&reader, &fields, keys::CHAIN.name);
    if chain.is_empty() {
        fields.fail(root, Fault::new("empty", "This starting point has no chain.", "Write `chain = [ … ]`."));
    }
    let written = |key: &keys::Key| {
        let value = fields.string(key);
        if value.is_none() {
            let message = format!("For this place, `{}` is missing.", key.name);
            fields.fail(root, Fault::new("missing-key", message, key.sentence));
        }
        value.unwrap_or_default()
    };
    let spot = match fields.choice(&keys::SPOT) {
        0 => Spot::Insert,
        1 => Spot::Return { bus: written(&keys::START_BUS), level_db: fields.number(&keys::LEVEL) },
        _ => Spot::Ending { print: written(&keys::START_PRINT), lufs: fields.number(&keys::LUFS) },
    };
    let list = fields.get(keys::CHAIN.name)?;
    Some(Start {
        name: fields.string(&keys::START_NAME)?,
        task: fields.string(&keys::TASK)?,
        suits: fields.string(&keys::SUITS)?,
        at: fields.string(&keys::START_AT)?,
        adjust: fields.string(&keys::ADJUST)?,
        caution: fields.string(&keys::CAUTION),
        spot,
        chain_text: text[list.item.span.clone()].to_owned(),
        chain,
        measured: String::new(),
    })
}
