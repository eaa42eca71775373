//! Spread: makes the middle wide by adding a decorrelated copy of it to the sides only.
//!
//! `M = (L + R) / 2` goes through a low cut and a high cut (Butterworth, 12 dB an octave), so that the low end stays
//! centred and, where wanted, the top too, and through a chain of all-passes `(-c + z^-m) / (1 - c z^-m)` (Schroeder,
//! "Natural Sounding Artificial Reverberation", JAES 10, 1962), which smears it in time and leaves its spectrum flat.
//! The result `D` is added to the left and taken from the right: the mono sum does not change at all.
//!
//! With the amount `g` as a gain, the correlation of the channels between the corners is, for a centred source,
//! `(1 - g²) / sqrt((1 + g²)² - 4 r² g²)`, where `r = ` the product of the chain's `-c`, 0.06, is what `D` keeps in
//! common with `M`: 0.78 at -9 dB, 0.60 at -6 dB, 0 at 0 dB. Outside the corners it goes to 1.

use units::random::{GOLDEN, scramble, share};
use units::{At, Block, Frame, Param, Settings, Spec, Unit, Value, gain_from_db};

use crate::ramp::Ramp;
use crate::space::{
    self, CHUNK_FRAMES,
    all_pass::{self, AllPassChain},
    cuts::{Cuts, CutsMemory, HIGH_CUT_OFF_HZ},
    side::add_side,
};
use crate::{BuildError, Context, Processor};

/// Level of the copy.
pub const AMOUNT_DB: Param = Param::number(
    "amount_db",
    Unit::Decibel,
    [-60.0, 0.0],
    -9.0,
    "How loud the decorrelated copy in the sides is, against the middle.",
);
/// Corner of the low cut.
pub const FROM_HZ: Param =
    Param::number("from_hz", Unit::Hertz, [20.0, 2000.0], 150.0, "Below this corner everything stays centred.");
/// Corner of the high cut; the top of its range is off.
pub const TO_HZ: Param = Param::number(
    "to_hz",
    Unit::Hertz,
    [1000.0, HIGH_CUT_OFF_HZ],
    HIGH_CUT_OFF_HZ,
    "Above this corner everything stays centred; 20 kHz is off.",
);
/// Time over which the copy is smeared.
pub const LENGTH_MS: Param = Param::number(
    "length_ms",
    Unit::Millisecond,
    [2.0, 60.0],
    20.0,
    "Over what time the copy is smeared: short is dense, long turns into a room; taken up when playing starts anew.",
);
/// Choice of the smear.
pub const SEED: Param = Param::number(
    "seed",
    Unit::Plain,
    [1.0, 999.0],
    1.0,
    "Picks another smear of the same kind; two spreads with different seeds do not add up.",
);

/// The spread's description.
pub static SPEC: Spec = Spec {
    name: "spread",
    title: "spread",
    summary: "Widens what stands in the middle and leaves the mono sum as it is.",
    source: "A chain of all-passes after Schroeder, “Natural Sounding Artificial Reverberation”, JAES 10, 1962, \
             added to the side alone.",
    caution: "A voice that is spread is less sure of its place: use it on what stands behind.",
    sentence: "adds the middle to the sides at {amount_db}, decorrelated over {length_ms}, from {from_hz} up[ to {to_hz}][; seed {seed}]",
    params: &[AMOUNT_DB, FROM_HZ, TO_HZ, LENGTH_MS, SEED],
    rows: None,
    outside_key: false,
};

/// All-passes in the chain.
const STAGES: usize = 4;
/// Their coefficient: three passes of the longest are then 18 dB down.
const COEFFICIENT: f64 = 0.5;
/// How the length is shared out among them, before the seed moves each by up to [`JITTER`] of itself.
const SHARES: [f64; STAGES] = [0.43, 0.28, 0.18, 0.11];
const JITTER: f64 = 0.12;

/// A spread.
pub struct Spread {
    settings: Settings,
    rate_hz: f64,
    amount: Ramp,
    cuts: Cuts,
    /// Delays of the all-passes.
    delays: [usize; STAGES],
    lanes: Vec<Lane>,
}

struct Lane {
    cuts: CutsMemory,
    chain: AllPassChain,
}

/// Builds a spread.
///
/// # Errors
/// Never.
pub fn build(settings: &Settings, context: &Context<'_>) -> Result<Box<dyn Processor>, BuildError> {
    let rate_hz = context.rate_hz;
    let lane = || Lane { cuts: CutsMemory::default(), chain: AllPassChain::new(COEFFICIENT, longest_delays(rate_hz)) };
    let mut spread = Spread {
        settings: settings.clone(),
        rate_hz,
        amount: Ramp::at(0.0),
        cuts: Cuts::new(0.0, HIGH_CUT_OFF_HZ, rate_hz),
        delays: [1; STAGES],
        lanes: (0..context.lanes).map(|_| lane()).collect(),
    };
    spread.derive();
    spread.reset();
    Ok(Box::new(spread))
}

/// Odd delays that share out the length. Every seed and stage has a random number of its own.
fn delays_of(settings: &Settings, rate_hz: f64) -> [usize; STAGES] {
    let frames = settings.number(&LENGTH_MS) * 1e-3 * rate_hz;
    let seed = settings.number(&SEED).round() as u64;
    std::array::from_fn(|stage| {
        let random = share(scramble((seed * STAGES as u64 + stage as u64).wrapping_mul(GOLDEN)));
        (frames * SHARES[stage] * (1.0 + JITTER * (2.0 * random - 1.0))) as usize | 1
    })
}

/// Delays that no seed exceeds at the longest length.
fn longest_delays(rate_hz: f64) -> [usize; STAGES] {
    let units::Kind::Number { high: longest_ms, .. } = LENGTH_MS.kind else { unreachable!("a number") };
    SHARES.map(|share| (longest_ms * 1e-3 * rate_hz * share * (1.0 + JITTER)) as usize + 2)
}

impl Spread {
    /// Takes over what the settings say; all but the delays, which would click.
    fn derive(&mut self) {
        let s = &self.settings;
        self.amount.go_to(gain_from_db(s.number(&AMOUNT_DB)));
        self.cuts.set(s.number(&FROM_HZ), s.number(&TO_HZ), self.rate_hz);
    }

    fn process_chunk(&mut self, block: &mut Block<'_>) {
        let frames = block.frames();
        for (lane, signal) in self.lanes.iter_mut().zip(block.lanes_mut()) {
            add_side(self.amount, signal, |mid| {
                self.cuts.process_mono(&mut lane.cuts, mid);
                lane.chain.process(mid);
            });
        }
        space::pass(&mut self.amount, frames);
        self.cuts.pass(frames);
    }
}

impl Processor for Spread {
    fn process(&mut self, block: &mut Block<'_>, _outside_key: Option<&[Frame]>) {
        for done in (0..block.frames()).step_by(CHUNK_FRAMES) {
            let frames = CHUNK_FRAMES.min(block.frames() - done);
            self.process_chunk(&mut block.part(done, frames));
        }
    }

    fn set(&mut self, at: At, value: f64) {
        self.settings.set(at, Value::Number(value));
        self.derive();
    }

    fn reset(&mut self) {
        self.amount.finish();
        self.cuts.finish();
        self.delays = delays_of(&self.settings, self.rate_hz);
        for lane in &mut self.lanes {
            lane.cuts = CutsMemory::default();
            lane.chain.set_delays(&self.delays);
            lane.chain.clear();
        }
    }

    fn tail_frames(&self) -> usize {
        self.cuts.tail_frames() + all_pass::tail_frames(COEFFICIENT, self.delays)
    }
}

#[cfg(test)]
mod tests;
