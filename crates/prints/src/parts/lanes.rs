//! Which stems travel together as followers, and what of each lane goes into an alternate or a stem file.

use sheet::{Alternate, Name, Sheet, StemPrint};
use units::gain_from_db;

/// Lanes beside the key: followers, then the residue.
pub(crate) struct Lanes {
    /// The stems of each follower, by name.
    pub followers: Vec<Vec<String>>,
    /// For each alternate: the gain of each lane in it.
    pub alternates: Vec<Vec<f64>>,
    /// For each print in stems: the lanes of each of its groups; the last group is the residue.
    pub stem_prints: Vec<Vec<Vec<usize>>>,
}

/// A group of stems by its name.
pub(crate) type Group = (String, Vec<String>);

/// The groups of a print in stems: those of the sheet, or each stem by itself; then what no group holds. `heard` are the
/// stems that reach the print.
pub(crate) fn groups(sheet: &Sheet, stem_print: &StemPrint, heard: &[String]) -> Vec<Group> {
    if stem_print.groups.is_empty() {
        return heard.iter().map(|stem| (stem.clone(), vec![stem.clone()])).collect();
    }
    let members = |from: &[Name]| heard.iter().filter(|stem| holds(sheet, from, stem)).cloned().collect();
    let mut groups: Vec<Group> =
        stem_print.groups.iter().map(|group| (group.name.as_str().to_owned(), members(&group.from))).collect();
    let held = |stem: &&String| groups.iter().any(|(_, stems)| stems.contains(stem));
    let rest: Vec<String> = heard.iter().filter(|stem| !held(stem)).cloned().collect();
    if !rest.is_empty() {
        groups.push((sheet::keys::OWN_GROUPS[0].to_owned(), rest));
    }
    groups
}

fn holds(sheet: &Sheet, names: &[Name], stem: &str) -> bool {
    names.iter().any(|name| sheet.stems_of(name).any(|held| held.name == *stem))
}

/// The gain of a stem in an alternate.
fn gain(sheet: &Sheet, alternate: &Alternate, stem: &str) -> f64 {
    let kept = alternate.only.is_empty() || holds(sheet, &alternate.only, stem);
    if !kept || holds(sheet, &alternate.mute, stem) {
        return 0.0;
    }
    let moved = alternate.offsets.iter().filter(|(name, _)| holds(sheet, std::slice::from_ref(name), stem));
    let db: f64 = moved.map(|(_, db)| db).sum();
    if db == 0.0 { 1.0 } else { gain_from_db(db) }
}

impl Lanes {
    /// Stems that always go the same ways share a lane; those that always go with the residue need none.
    pub fn of(sheet: &Sheet, heard: &[String], alternates: &[&Alternate], stem_prints: &[&[Group]]) -> Self {
        let residue = Ways {
            gains: alternates.iter().map(|alternate| if alternate.only.is_empty() { 1.0 } else { 0.0 }).collect(),
            groups: stem_prints.iter().map(|groups| groups.len()).collect(),
        };
        let mut lanes: Vec<(Ways, Vec<String>)> = Vec::new();
        for stem in heard {
            let group = |groups: &&[Group]| groups.iter().position(|(_, stems)| stems.contains(stem));
            let ways = Ways {
                gains: alternates.iter().map(|alternate| gain(sheet, alternate, stem)).collect(),
                groups: stem_prints.iter().map(|groups| group(groups).unwrap_or(groups.len())).collect(),
            };
            match lanes.iter_mut().find(|(known, _)| *known == ways) {
                Some((_, stems)) => stems.push(stem.clone()),
                None if ways == residue => {}
                None => lanes.push((ways, vec![stem.clone()])),
            }
        }
        let ways: Vec<&Ways> = lanes.iter().map(|(ways, _)| ways).chain([&residue]).collect();
        let in_group = |set: usize, group: usize| {
            ways.iter().enumerate().filter(|(_, ways)| ways.groups[set] == group).map(|(lane, _)| lane).collect()
        };
        Self {
            alternates: (0..alternates.len()).map(|i| ways.iter().map(|ways| ways.gains[i]).collect()).collect(),
            stem_prints: (stem_prints.iter().enumerate())
                .map(|(set, groups)| (0..=groups.len()).map(|group| in_group(set, group)).collect())
                .collect(),
            followers: lanes.into_iter().map(|(_, stems)| stems).collect(),
        }
    }
}

/// Where the sound of a stem goes: its gain in each alternate, its group in each print in stems.
#[derive(PartialEq)]
struct Ways {
    gains: Vec<f64>,
    groups: Vec<usize>,
}
