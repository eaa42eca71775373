//! What each return adds where it comes back, measured in the same pass as the print.

use std::collections::HashSet;

use engine::{Fault, Plan, Role, Sink, Taken};
use measure::blend::PartMeter;
use measure::envelope::Band;
use sheet::{Node, Sheet};

use crate::record::ReturnRecord;

/// Probes of one return: indices of steps.
pub struct Probes {
    name: String,
    into: String,
    /// The sum without it, and the sum with it, which all that come back there share.
    pub sums: [usize; 2],
    /// It alone.
    pub alone: usize,
}

/// Adds probes for every return that comes back to something else than a return.
pub fn probe(sheet: &Sheet, plan: &mut Plan) -> Vec<Probes> {
    let returns = returns_of(sheet);
    let mut found: Vec<Probes> = Vec::new();
    for bus in sheet.buses().filter(|bus| !bus.mute && returns.contains(bus.name.as_str())) {
        let Some(into) = bus.to.as_ref().filter(|into| !returns.contains(into.as_str())) else { continue };
        let step = |name: &str| plan.steps.iter().position(|step| step.role == Role::Bus && step.name == name);
        let (Some(from), Some(sum)) = (step(&bus.name), step(into)) else { continue };
        let engine::Feed::Sum(inputs) = &plan.steps[sum].feed else { continue };
        let own: Vec<bool> = inputs.iter().map(|input| input.from == from).collect();
        let shared = found.iter().find(|probes| *probes.into == **into).map(|probes| probes.sums[1]);
        let with = shared.unwrap_or_else(|| plan.probe(sum, &|_| true));
        let sums = [plan.probe(sum, &|path| !own[path]), with];
        let alone = plan.probe(sum, &|path| own[path]);
        found.push(Probes { name: bus.name.as_str().to_owned(), into: into.as_str().to_owned(), sums, alone });
    }
    found
}

/// Names of all returns: buses that are fed by sends, or by other returns, and by nothing else.
pub(crate) fn returns_of(sheet: &Sheet) -> HashSet<&str> {
    let mut returns: HashSet<&str> = sheet.buses().map(|bus| bus.name.as_str()).collect();
    returns.retain(|bus| {
        let fed =
            |node: &Node| node.to.as_ref().is_some_and(|to| *to == **bus) || node.sends.iter().any(|s| s.to == **bus);
        sheet.nodes.iter().any(fed)
    });
    loop {
        let routed = sheet.nodes.iter().filter(|node| !returns.contains(node.name.as_str()));
        let not: Vec<&str> = routed.filter_map(|node| node.to.as_deref()).filter(|to| returns.contains(to)).collect();
        if not.is_empty() {
            return returns;
        }
        returns.retain(|bus| !not.contains(bus));
    }
}

/// What is measured of a sum.
pub struct ProbeMeter(PartMeter);

/// The figures of a sum.
pub struct ProbeFigures {
    lufs: Option<f64>,
    crest_db: Option<f64>,
    width_db: Option<f64>,
    bands_db: [Option<f64>; 3],
}

impl ProbeMeter {
    /// A meter at a sample rate.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        Self(PartMeter::new(rate_hz))
    }

    /// The figures once all frames are in.
    #[must_use]
    pub fn finish(self) -> ProbeFigures {
        let part = self.0.finish();
        let band = |band| Some(part.envelope.power(band)).filter(|power| *power > 0.0);
        ProbeFigures {
            lufs: part.loudness.integrated_lufs(),
            crest_db: part.level.crest_db(),
            width_db: part.level.power().image().width_db,
            bands_db: [Band::Low, Band::Middle, Band::High].map(|of| band(of).map(units::db_from_power)),
        }
    }
}

impl Sink for &mut ProbeMeter {
    fn take(&mut self, taken: &Taken<'_>) -> Result<(), Fault> {
        self.0.push(taken.lane(0));
        Ok(())
    }
}

/// The record of a return from the figures of the sum without it and with it, and from its own loudness.
#[must_use]
pub fn record(probes: &Probes, [without, with]: [&ProbeFigures; 2], alone_lufs: Option<f64>) -> ReturnRecord {
    let difference = |a: Option<f64>, b: Option<f64>| a.zip(b).map(|(a, b)| a - b);
    ReturnRecord {
        name: probes.name.clone(),
        into: probes.into.clone(),
        under_lu: difference(alone_lufs, without.lufs),
        adds_lu: difference(with.lufs, without.lufs),
        adds_low_mid_high_db: [0, 1, 2].map(|band| difference(with.bands_db[band], without.bands_db[band])),
        adds_crest_db: difference(with.crest_db, without.crest_db),
        adds_width_db: difference(with.width_db, without.width_db),
    }
}

/// The record as a sentence.
#[must_use]
pub fn sentence(record: &ReturnRecord) -> String {
    let signed = |value: Option<f64>, unit: &str| value.map_or("nothing".to_owned(), |value| change(value, unit));
    let [low, mid, high] = record.adds_low_mid_high_db;
    format!(
        "{} adds {} to {}: {} below 250 Hz, {} up to 4 kHz, {} above; crest {}, width {}.",
        record.name,
        signed(record.adds_lu, "LU"),
        record.into,
        signed(low, "dB"),
        signed(mid, "dB"),
        signed(high, "dB"),
        signed(record.adds_crest_db, "dB"),
        signed(record.adds_width_db, "dB"),
    )
}

/// A change with its sign, a true minus among them: `+1.2 dB`, `−0.4 dB`, `0.0 dB`.
fn change(value: f64, unit: &str) -> String {
    let tenths = (value * 10.0).round() / 10.0;
    match tenths {
        0.0 => format!("0.0 {unit}"),
        _ if tenths < 0.0 => format!("\u{2212}{:.1} {unit}", -tenths),
        _ => format!("+{tenths:.1} {unit}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn changes_are_set_with_their_sign() {
        assert_eq!(change(1.25, "dB"), "+1.3 dB");
        assert_eq!(change(-0.44, "LU"), "\u{2212}0.4 LU");
        assert_eq!(change(-0.04, "LU"), "0.0 LU");
    }

    #[test]
    fn a_bus_of_returns_is_a_return_and_a_bus_of_stems_is_none() {
        let text = r#"
fairprint = 1
[song]
title = "Lantern Weather"
artist = "The Tin Orchard"
rate_hz = 48000
[[stem]]
name = "kick"
file = "kick.wav"
to = "band"
sends = [{ to = "room" }, { to = "crush" }]
[[bus]]
name = "band"
to = "mix"
[[bus]]
name = "room"
to = "space"
[[bus]]
name = "space"
to = "mix"
[[bus]]
name = "crush"
to = "mix"
[[bus]]
name = "mix"
[[print]]
name = "for mastering"
from = "mix"
files = [{ format = "wav", bits = 24 }]
"#;
        let (sheet, problems) = sheet::read(text, &[]);
        let sheet = sheet.unwrap_or_else(|| panic!("{problems:#?}"));
        let mut returns: Vec<&str> = returns_of(&sheet).into_iter().collect();
        returns.sort_unstable();
        assert_eq!(returns, ["crush", "room", "space"]);
    }
}
