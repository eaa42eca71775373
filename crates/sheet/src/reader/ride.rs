//! Rides: numbers that move over the song.

use units::{At, Kind, Param, Unit};

use super::Reader;
use super::fields::Fields;
use super::forms;
use super::report::{Fault, Report};
use crate::keys;
use crate::model::{Link, Ride, Send, Target};
use crate::tree::{Tree, Written};

/// The rides of a node. `whole` tells whether its chain could be read; if not, rides of missing processors are let pass.
pub(super) fn read_rides(
    reader: &Reader<'_>,
    node: &Fields<'_>,
    chain: &[Link],
    whole: bool,
    sends: &[Send],
) -> Vec<Ride> {
    let mut rides: Vec<Ride> = Vec::new();
    for fields in node.entries("rides", &keys::RIDE) {
        let Some(what) = fields.text(&keys::WHAT) else { continue };
        let found = Targets { chain, sends, report: reader.report }.find(&what);
        let (what_moves, param) = match found {
            Ok(found) => found,
            Err(fault) => {
                if whole || fault.code != "unknown-processor" {
                    reader.report.fail_at(fields.at(), what.place(), fault);
                }
                continue;
            }
        };
        let hold_drive = fields.switch(&keys::HOLD_DRIVE);
        if let Some(fault) = clash(&rides, what_moves, hold_drive, &what) {
            reader.report.fail_at(fields.at(), what.place(), fault);
        }
        let points = read_points(reader, &fields, &param);
        rides.push(Ride { what: what_moves, points, hold_drive, place: what.place() });
    }
    rides
}

fn clash(rides: &[Ride], target: Target, hold_drive: bool, what: &str) -> Option<Fault> {
    if rides.iter().any(|ride| ride.what == target) {
        let message = format!("`{what}` has a ride already.");
        return Some(Fault::new("ride-twice", message, "Put all points into one ride."));
    }
    if hold_drive && !matches!(target, Target::Level | Target::SendLevel(_)) {
        let message = format!("`hold_drive` means nothing for `{what}`.");
        return Some(Fault::new("hold-drive", message, "Leave it out, or ride `level_db` or the level of a send."));
    }
    None
}

/// What there is to ride in a node.
struct Targets<'a> {
    chain: &'a [Link],
    sends: &'a [Send],
    report: &'a Report<'a>,
}

impl Targets<'_> {
    fn find(&self, what: &str) -> Result<(Target, Param), Fault> {
        let own = [(keys::LEVEL, Target::Level), (keys::TRIM, Target::Trim), (keys::PAN, Target::Pan)];
        if let Some((key, target)) = own.iter().find(|(key, _)| key.name == what) {
            return key.param().map(|param| (*target, param)).ok_or_else(|| cannot_ride(what));
        }
        if let Some(rest) = what.strip_prefix("send ") {
            return self.send(rest);
        }
        let Some((processor, rest)) = what.split_once('.') else {
            let fixed = [keys::POLARITY.name, keys::DELAY.name, keys::MUTE.name, keys::TO.name, keys::CHAIN.name];
            if fixed.contains(&what) {
                return Err(cannot_ride(what));
            }
            let remedy = self.report.suggestion(what, own.iter().map(|(key, _)| key.name));
            return Err(Fault::new("unknown-target", format!("There is no `{what}` to ride."), remedy));
        };
        self.processor(what, processor, rest)
    }

    fn send(&self, rest: &str) -> Result<(Target, Param), Fault> {
        let level = keys::SEND_LEVEL.name;
        let Some(name) = rest.strip_suffix(level).and_then(|name| name.strip_suffix('.')) else {
            let message = format!("`send {rest}` is not the level of a send.");
            return Err(Fault::new("unknown-target", message, format!("Write `send BUS.{level}`.")));
        };
        let index = self.sends.iter().position(|send| send.to == *name);
        index.zip(keys::SEND_LEVEL.param()).map(|(index, param)| (Target::SendLevel(index), param)).ok_or_else(|| {
            let remedy = self.report.suggestion(name, self.sends.iter().map(|send| send.to.as_str()));
            Fault::new("unknown-target", format!("There is no send to `{name}` here."), remedy)
        })
    }

    fn processor(&self, what: &str, processor: &str, rest: &str) -> Result<(Target, Param), Fault> {
        let (name, number) = numbered(processor);
        let mut same = self.chain.iter().enumerate().filter(|(_, link)| link.settings.spec().name == name);
        let Some((link, entry)) = number.checked_sub(1).and_then(|skip| same.nth(skip)) else {
            let message = format!("There is no `{processor}` in this chain.");
            let remedy = self.report.suggestion(name, self.chain.iter().map(|link| link.settings.spec().name));
            return Err(Fault::new("unknown-processor", message, remedy));
        };
        let spec = entry.settings.spec();
        let (row, params, name) = match (rest.split_once('.'), spec.rows) {
            (Some((list, name)), Some(rows)) if numbered(list).0 == rows.name => {
                let number = numbered(list).1;
                if number == 0 || number > entry.settings.row_count() {
                    let message = format!("There is no `{list}` in this {}.", spec.title);
                    let remedy = format!("Its last is {} {}.", rows.singular, entry.settings.row_count());
                    return Err(Fault::new("unknown-target", message, remedy));
                }
                (Some(number - 1), rows.params, name)
            }
            _ => (None, spec.params, rest),
        };
        let Some(param) = params.iter().position(|param| param.name == name) else {
            let message = format!("`{name}` is not a parameter of {}.", spec.name);
            let remedy = self.report.suggestion(name, params.iter().map(|param| param.name));
            return Err(Fault::new("unknown-target", message, remedy));
        };
        match params[param].kind {
            Kind::Number { .. } => Ok((Target::Processor { link, at: At { row, param } }, params[param])),
            _ => Err(cannot_ride(what)),
        }
    }
}

fn cannot_ride(what: &str) -> Fault {
    let message = format!("`{what}` cannot ride.");
    Fault::new("cannot-ride", message, "Only numbers ride: levels, pan, and the numbers of processors.")
}

/// `eq 2` is the second `eq`; without a number, the first.
pub(super) fn numbered(word: &str) -> (&str, usize) {
    match word.rsplit_once(' ') {
        Some((name, number)) => number.parse().map_or((word, 1), |number| (name, number)),
        None => (word, 1),
    }
}

fn read_points(reader: &Reader<'_>, fields: &Fields<'_>, param: &Param) -> Vec<(f64, f64)> {
    let Kind::Number { unit, low, high, .. } = param.kind else { return Vec::new() };
    let items = fields.list(keys::POINTS.name);
    if let (true, Some(entry)) = (items.is_empty(), fields.get(keys::POINTS.name))
        && entry.item.list().is_some()
    {
        fields.fail(&entry.item, Fault::new("empty", "This ride has no points.", "Write `[[TIME, VALUE], …]`."));
    }
    let mut points: Vec<(f64, f64)> = Vec::new();
    for item in items {
        let point = read_point(reader, item, param.name, (unit, [low, high]));
        let (secs, value) = match point {
            Ok(point) => point,
            Err((written, fault)) => {
                fields.fail(written, fault);
                continue;
            }
        };
        if let Some((before, _)) = points.last().filter(|(before, _)| *before >= secs) {
            let message = format!("This point, at {secs} s, does not come after the one before it, at {before} s.");
            fields.fail(item, Fault::new("ride-order", message, "Write points in order of time, each time once."));
        }
        points.push((secs, value));
    }
    points
}

fn read_point<'w>(
    reader: &Reader<'_>,
    item: &'w Written,
    name: &str,
    (unit, range): (Unit, [f64; 2]),
) -> Result<(f64, f64), (&'w Written, Fault)> {
    let Some([time, value]) = item.list() else {
        let fault = Fault::new("wrong-type", "This is not a point of a ride.", "Write `[TIME, VALUE]`.");
        return Err((item, fault));
    };
    let secs = reader.clock.secs(time, reader.report).map_err(|fault| (time, fault))?;
    let Tree::Number(number) = value.value else {
        let message = format!("`{name}` takes a number, not {}.", value.what());
        let remedy = format!("Write a number from {}.", forms::range(unit, range));
        return Err((value, Fault::new("wrong-type", message, remedy)));
    };
    forms::in_range(name, number, unit, range).map(|number| (secs, number)).map_err(|fault| (value, fault))
}
