//! What each return adds where it comes back, measured in the same pass as the print.

use engine::{Plan, Role};
use measure::Measured;
use sheet::Sheet;

use crate::record::ReturnRecord;

/// Probes of one return: indices of steps.
pub struct Probes {
    name: String,
    into: String,
    /// The sum without it, the sum with it, and it alone.
    pub steps: [usize; 3],
}

/// Adds probes for every return: a bus that nothing is routed to, fed by sends, that goes to another bus.
pub fn probe(sheet: &Sheet, plan: &mut Plan) -> Vec<Probes> {
    let mut found = Vec::new();
    for bus in sheet.buses().filter(|bus| !bus.mute) {
        let routed = sheet.nodes.iter().any(|node| node.to.as_ref() == Some(&bus.name));
        let sent = sheet.nodes.iter().any(|node| node.sends.iter().any(|send| send.to == bus.name));
        let (false, true, Some(into)) = (routed, sent, &bus.to) else { continue };
        let step = |name: &str| plan.steps.iter().position(|step| step.role == Role::Bus && step.name == name);
        let (Some(from), Some(sum)) = (step(&bus.name), step(into)) else { continue };
        let engine::Feed::Sum(inputs) = &plan.steps[sum].feed else { continue };
        let own: Vec<bool> = inputs.iter().map(|input| input.from == from).collect();
        let steps =
            [plan.probe(sum, &|path| !own[path]), plan.probe(sum, &|_| true), plan.probe(sum, &|path| own[path])];
        found.push(Probes { name: bus.name.as_str().to_owned(), into: into.as_str().to_owned(), steps });
    }
    found
}

/// The record of a return from the measures at its probes.
#[must_use]
pub fn record(probes: &Probes, [without, with, alone]: [&Measured; 3]) -> ReturnRecord {
    let difference = |a: Option<f64>, b: Option<f64>| a.zip(b).map(|(a, b)| a - b);
    let (was, is) = (&without.measures, &with.measures);
    let band = |measured: &Measured, low: f64, high: f64| {
        let power = measured.spectrum.power(low, high).mean();
        (power > 0.0).then(|| units::db_from_power(power))
    };
    let change = |low, high| difference(band(with, low, high), band(without, low, high));
    ReturnRecord {
        name: probes.name.clone(),
        into: probes.into.clone(),
        under_lu: difference(alone.measures.integrated_lufs, was.integrated_lufs),
        adds_lu: difference(is.integrated_lufs, was.integrated_lufs),
        adds_low_mid_high_db: [change(20.0, 250.0), change(250.0, 4000.0), change(4000.0, 20_000.0)],
        adds_crest_db: difference(is.crest_db, was.crest_db),
        adds_width_db: difference(with.stereo.width_db, without.stereo.width_db),
    }
}

/// The record as a sentence.
#[must_use]
pub fn sentence(record: &ReturnRecord) -> String {
    let signed =
        |value: Option<f64>, unit: &str| value.map_or("nothing measurable".to_owned(), |v| format!("{v:+.1} {unit}"));
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
