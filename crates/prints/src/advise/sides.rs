//! Side effects, stem by stem: what each move of middle and sides, and each return, does to a stem's image, to its level
//! in mono and to its low end.
//!
//! Stems are heard apart as in the ledger, over the same passages, with their stereo powers ahead of and behind each move,
//! and with and without each return.
//!
//! - **Mono**: power of both channels over that of the fold-down `(L+R)/2`, as `(M + S) / M`: what mono loses.
//! - **Image**: right over left in power; the shift is its change.
//! - **Far speaker**: for a stem that leans to one side by 6 dB or more, the other side's power over this one's, and
//!   whether it plays there upside down. For gains `m` and `s` of middle and sides a stem on one side alone plays at
//!   `(m+s)/2` there and at `(m-s)/2` opposite: 3 dB more side gives +1.6 dB and, upside down, -13.7 dB.
//! - **Low end** (returns, below 250 Hz): power with the return over the power without it.

use engine::{Fault, Sink, Taken};
use measure::envelope::Filter;
use measure::stereo::StereoPower;
use serde::Serialize;
use units::{Problem, Settings, Severity, Value, db_from_power};

use super::taps::Taps;

/// Lean from which a stem counts as one-sided.
const ONE_SIDED_DB: f64 = 6.0;
/// Where the low end of a stem ends.
const LOW_HZ: f64 = 250.0;
/// Changes that are written down.
const WORTH_DB: f64 = 0.3;
/// Changes that are worth a finding: mono, image, far speaker (and how soft that must have been before), low end. Common
/// practice, no source.
const MONO_DB: f64 = 2.0;
const SHIFT_DB: f64 = 3.0;
const FAR_DB: [f64; 2] = [-12.0, -20.0];
const LOW_DB: f64 = -1.0;
/// Softer than this under the loudest stem there, a stem is not judged.
const SOFT_DB: f64 = -40.0;

/// What one move or return does to one stem.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SideRecord {
    /// The node and processor, or the return.
    pub by: String,
    /// The stem.
    pub stem: String,
    /// What mono loses of it, before and after.
    pub mono_loss_db: [Option<f64>; 2],
    /// Right over left, before and after.
    pub balance_db: [Option<f64>; 2],
    /// The far speaker over the near one, before and after, for a stem that leans to one side; none where it is silent.
    pub far_db: [Option<f64>; 2],
    /// Whether it plays upside down in the far speaker, afterwards.
    pub far_turned: bool,
    /// What the return does to its low end; for returns alone.
    pub low_end_db: Option<f64>,
}

/// Where a move or return is heard.
pub(super) struct SideTaps {
    moves: Vec<Move>,
}

struct Move {
    by: String,
    /// Steps before and after.
    steps: [usize; 2],
    is_return: bool,
}

/// Taps on all moves of middle and sides and on all returns that come back to something else than a return.
pub(super) fn ask(taps: &mut Taps<'_>) -> SideTaps {
    let mut moves = Vec::new();
    for place in &taps.apart.links {
        let step = &taps.whole.steps[place.step];
        let link = &step.links[place.link];
        if !link.off && is_one_sided(&link.settings) {
            let same =
                |link: &&engine::PlanLink| link.settings.spec().name == step.links[place.link].settings.spec().name;
            let number = step.links[..=place.link].iter().filter(same).count();
            let several = step.links.iter().filter(same).count() > 1;
            let number = if several { format!(" {number}") } else { String::new() };
            let by = format!("{}, {}{number}", step.name, link.settings.spec().title);
            moves.push(Move { by, steps: [place.before, place.after], is_return: false });
        }
    }
    for bus in taps.returning() {
        let Some(into) = bus.to.as_ref().filter(|into| !taps.returns.contains(into.as_str())) else { continue };
        let (Some(from), Some(sum)) = (taps.step_of(&bus.name), taps.step_of(into)) else { continue };
        let (end, inputs) = (taps.apart.ends[from], taps.inputs(sum).to_vec());
        let others = inputs.iter().filter(|input| input.from != end).cloned().collect();
        let steps = [others, inputs].map(|inputs| taps.listen(sum, inputs));
        moves.push(Move { by: bus.name.as_str().to_owned(), steps, is_return: true });
    }
    SideTaps { moves }
}

/// Whether a processor does to middle and sides, or to left and right, what it does not do to the other.
fn is_one_sided(settings: &Settings) -> bool {
    let spec = settings.spec();
    let of = spec.param("of").map(|(index, _)| &settings.values()[index]);
    ["width", "spread"].contains(&spec.name) || (spec.name == "eq" && of.is_some_and(|of| *of != Value::Choice(0)))
}

/// One lane's powers.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct LaneImage {
    whole: StereoPower,
    low: f64,
}

/// Hears the powers of every lane.
pub(super) struct ImageSink {
    skip: usize,
    cuts: Vec<[Filter; 2]>,
    pub lanes: Vec<LaneImage>,
}

impl ImageSink {
    pub(super) fn new(lanes: usize, rate_hz: f64, skip: usize) -> Self {
        let cut = Filter::low_pass(LOW_HZ, rate_hz);
        Self { skip, cuts: vec![[cut; 2]; lanes], lanes: vec![LaneImage::default(); lanes] }
    }
}

impl Sink for &mut ImageSink {
    fn take(&mut self, taken: &Taken<'_>) -> Result<(), Fault> {
        let skip = self.skip.min(taken.lane(0).len());
        self.skip -= skip;
        for (lane, (image, [one, two])) in self.lanes.iter_mut().zip(&mut self.cuts).enumerate() {
            for (n, x) in taken.lane(lane).iter().enumerate() {
                let [left, right] = two.next(one.next(*x));
                if n >= skip {
                    image.whole.left += x[0] * x[0];
                    image.whole.right += x[1] * x[1];
                    image.whole.product += x[0] * x[1];
                    image.low += left * left + right * right;
                }
            }
        }
        Ok(())
    }
}

impl LaneImage {
    /// Both stretches together.
    pub(super) fn add(&mut self, other: &Self) {
        self.whole.left += other.whole.left;
        self.whole.right += other.whole.right;
        self.whole.product += other.whole.product;
        self.low += other.low;
    }
}

impl SideTaps {
    /// All steps whose lanes are needed, in order.
    pub(super) fn steps(&self) -> Vec<usize> {
        self.moves.iter().flat_map(|one| one.steps).collect()
    }

    /// Records of all that changes, from the images of [`Self::steps`], stems from lane 1 on.
    pub(super) fn records(&self, stems: &[String], images: &[Vec<LaneImage>]) -> Vec<SideRecord> {
        let mut all = Vec::new();
        for (one, lanes) in self.moves.iter().zip(images.chunks(2)) {
            let [before, after] = [&lanes[0][1..=stems.len()], &lanes[1][1..=stems.len()]];
            let loudest = after.iter().fold(0.0f64, |most, image| most.max(image.whole.mean()));
            for (stem, pair) in stems.iter().zip(before.iter().zip(after)) {
                let level = db_from_power(pair.1.whole.mean() / loudest.max(f64::MIN_POSITIVE));
                if pair.0.whole.mean() > 0.0 && level > SOFT_DB {
                    all.push(record(one, stem, pair));
                }
            }
        }
        all.retain(is_worth_a_line);
        all
    }
}

fn record(one: &Move, stem: &str, (before, after): (&LaneImage, &LaneImage)) -> SideRecord {
    let images = [before, after].map(|lane| lane.whole.image());
    let StereoPower { left, right, .. } = before.whole;
    let leans = images[0].balance_db.map_or(left != right, |db| db.abs() >= ONE_SIDED_DB);
    let far = |lane: &LaneImage| {
        let StereoPower { left: other, right: own, .. } = lane.whole;
        let (near, far) = if right > left { (own, other) } else { (other, own) };
        (leans && near > 0.0 && far > 0.0).then(|| db_from_power(far / near))
    };
    let low = one.is_return && before.low > 0.0 && after.low > 0.0;
    SideRecord {
        by: one.by.clone(),
        stem: stem.to_owned(),
        mono_loss_db: images.map(|image| image.fold_down_loss_db),
        balance_db: images.map(|image| image.balance_db),
        far_db: [far(before), far(after)],
        far_turned: leans && after.whole.product < 0.0,
        low_end_db: low.then(|| db_from_power(after.low / before.low)),
    }
}

fn change([before, after]: [Option<f64>; 2]) -> Option<f64> {
    before.zip(after).map(|(before, after)| after - before)
}

fn is_worth_a_line(record: &SideRecord) -> bool {
    let moved = |pair| change(pair).is_some_and(|db: f64| db.abs() >= WORTH_DB);
    let far = record.far_db[1].is_some_and(|db| db > FAR_DB[1]) && (record.far_db[0].is_none() || moved(record.far_db));
    moved(record.mono_loss_db) || moved(record.balance_db) || far || record.low_end_db.is_some_and(|db| db < -WORTH_DB)
}

/// Findings of one record.
///
/// Codes `mono-loss` (2 dB more of a stem are lost in mono), `image-shift` (3 dB between left and right), `far-speaker`
/// (a one-sided stem plays in the far speaker at -12 dB or more, where it lay under -20 dB before), `low-end-lost` (a
/// return takes a decibel from a stem's low end). All common practice, no source.
pub(super) fn findings(record: &SideRecord) -> Vec<Problem> {
    let SideRecord { by, stem, .. } = record;
    let at = format!("stem {stem}");
    let mut found = Vec::new();
    let mut add = |severity, code, message: String, remedy: &str| {
        found.push(Problem::new(severity, code, &at, message, remedy.to_owned()));
    };
    if let Some(db) = change(record.mono_loss_db).filter(|db| *db >= MONO_DB) {
        let message = format!("Behind {by}, mono loses {db:.1} dB more of “{stem}”.");
        add(Severity::Warn, "mono-loss", message, "Widen less, or widen other stems than this one.");
    }
    let was_soft = record.far_db[0].is_none_or(|db| db < FAR_DB[1]);
    if let Some(db) = record.far_db[1].filter(|db| *db >= FAR_DB[0] && was_soft) {
        let how = if record.far_turned { ", with inverted polarity" } else { "" };
        let message =
            format!("Behind {by}, “{stem}” also plays in the far speaker, at {db:.1} dB of the near one{how}.");
        add(
            Severity::Warn,
            "far-speaker",
            message,
            "Make the move smaller, or make it ahead of this sum, on the stems that need it.",
        );
    } else if let Some(db) = change(record.balance_db).filter(|db| db.abs() >= SHIFT_DB) {
        let side = if db > 0.0 { "right" } else { "left" };
        let message = format!("Behind {by}, “{stem}” moves to the {side} by {:.1} dB.", db.abs());
        add(
            Severity::Note,
            "image-shift",
            message,
            "Fine if it is meant; if not, look at spread and at the link of left and right.",
        );
    }
    if let Some(db) = record.low_end_db.filter(|db| *db <= LOW_DB) {
        let message = format!("With {by}, “{stem}” has {:.1} dB less below 250 Hz than without.", -db);
        add(Severity::Warn, "low-end-lost", message, "Raise the low cut of the return, or move its delay.");
    }
    found
}
