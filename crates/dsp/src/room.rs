//! Room: a synthetic room, from very tight to a hall.
//!
//! The first reflections come from the image sources of a box (Allen and Berkley, JASA 65(4), 1979): two loudspeakers,
//! two receivers, reflections off up to two walls (`room/shape.rs`). The rest comes from a feedback delay network
//! (`room/network.rs`): 16 lines, a lossless matrix, and per line the loss that its length calls for (Jot and Chaigne,
//! AES 90th convention, 1991).
//!
//! One law governs the decay: whatever is delayed by t seconds has lost 60 t / T(f) dB, on every path, with
//!
//! ```text
//! 1/T(f) = (1/decay_s) (1 + (1/low_decay_ratio - 1) l(f) + (1/high_decay_ratio - 1) h(f))
//! l(f) = 1 / (1 + (f / low_corner_hz)^2),   h(f) = 1 - 1 / (1 + (f / high_corner_hz)^2)
//! ```
//!
//! so with both ratios at 1 every octave takes `decay_s`. Levels follow the room: the energy of the images in a second,
//! 4 pi c / V times the square of the distance, sets the late part against the early one; the whole is then scaled so
//! that noise comes out of the middle as strong as it went in, whatever the size and the decay.
//!
//! The network gives a middle and a side that are orthogonal. The side is added with opposite signs, `spread_percent` of
//! it: left plus right does not change with the spread. 100% leaves the side 6.5 dB below the middle, which costs
//! 0.9 dB in mono.
//!
//! Linear and, but for the slow modulation by the clock, time-invariant: followers go through rooms of their own.

use units::{Frame, Kind, Param, Settings, Spec, Unit, gain_from_db};

use crate::{
    BuildError, Context, Processor,
    ramp::Ramp,
    space::{
        self, SILENT,
        cuts::{Cuts, CutsMemory, HIGH_CUT_OFF_HZ},
        return_path::{MIX, PRE_DELAY, ReturnPath, Space},
        side::FULL_SPREAD_GAIN,
    },
};
use decay::Decay;
use early::{Early, EarlyMemory};
use network::{Network, NetworkMemory};
use shape::Shape;

mod decay;
mod early;
mod network;
mod shape;

/// Decay time.
pub const DECAY: Param =
    Param::number("decay_s", Unit::Second, [0.1, 12.0], 0.6, "Time in which the sound of the room falls by 60 dB.");
/// Size.
pub const SIZE: Param = Param::number(
    "size_m",
    Unit::Metre,
    [2.0, 60.0],
    8.0,
    "Length of the room: larger sets its reflections further apart. Walls that would swallow more than 60 % draw it in.",
);
/// Distance.
pub const DISTANCE: Param = Param::number(
    "distance_m",
    Unit::Metre,
    [0.3, 30.0],
    2.0,
    "How far away the source stands: nearer leaves a gap before the first reflections, farther closes it.",
);
/// Decay of the lows.
pub const LOW_RATIO: Param = Param::number(
    "low_decay_ratio",
    Unit::Plain,
    [0.25, 2.0],
    1.0,
    "Decay of the lows as a multiple of the decay time.",
);
/// Where the lows end.
pub const LOW_CORNER: Param = Param::number(
    "low_corner_hz",
    Unit::Hertz,
    [50.0, 600.0],
    200.0,
    "Where the decay of the lows is half way to its own.",
);
/// Decay of the highs.
pub const HIGH_RATIO: Param = Param::number(
    "high_decay_ratio",
    Unit::Plain,
    [0.1, 1.5],
    1.0,
    "Decay of the highs as a multiple of the decay time; soft walls and air make it less than 1.",
);
/// Where the highs begin.
pub const HIGH_CORNER: Param = Param::number(
    "high_corner_hz",
    Unit::Hertz,
    [1000.0, 12_000.0],
    4000.0,
    "Where the decay of the highs is half way to its own.",
);
/// Diffusion.
pub const DIFFUSION: Param =
    Param::number("diffusion_percent", Unit::Percent, [0.0, 100.0], 80.0, "How fast single echoes blur into a wash.");
/// Modulation.
pub const MODULATION: Param = Param::number(
    "modulation_percent",
    Unit::Percent,
    [0.0, 100.0],
    0.0,
    "How much the room slowly stirs, which smooths long tails; 0 % stands still.",
);
/// Low cut of the return.
pub const LOW_CUT: Param = Param { kind: number(Unit::Hertz, [0.0, 2000.0], 100.0), ..space::cuts::LOW_CUT };
/// High cut of the return.
pub const HIGH_CUT: Param =
    Param { kind: number(Unit::Hertz, [200.0, HIGH_CUT_OFF_HZ], 8000.0), ..space::cuts::HIGH_CUT };
/// Spread.
pub const SPREAD: Param = Param { kind: number(Unit::Percent, [0.0, 200.0], 100.0), ..space::side::SPREAD };
/// Level of the first reflections.
pub const EARLY: Param = Param::number(
    "early_db",
    Unit::Decibel,
    [-60.0, 12.0],
    0.0,
    "Level of the first reflections against what the room would give.",
);
/// Level of the tail.
pub const LATE: Param =
    Param::number("late_db", Unit::Decibel, [-60.0, 12.0], 0.0, "Level of the tail against what the room would give.");

const fn number(unit: Unit, [low, high]: [f64; 2], default: f64) -> Kind {
    Kind::Number { unit, low, high, default }
}

/// Description.
pub const SPEC: Spec = Spec {
    name: "room",
    title: "room",
    summary: "A room around the source, from very tight to a hall.",
    source: "Image sources of a box (Allen and Berkley, JASA 65(4), 1979) and a feedback delay network with \
             losses by length (Jot and Chaigne, 90th AES Convention, 1991); decay measured after ISO 3382-1.",
    caution: "A pre-delay of t ms cancels at 500 / t Hz. One room for all parts holds a mix together; many pull \
             it apart.",
    sentence: "a room of {size_m}, heard from {distance_m}, that falls by 60 dB in {decay_s}\
               [; its lows, below {low_corner_hz}, take {low_decay_ratio} times as long]\
               [; its highs, above {high_corner_hz}, take {high_decay_ratio} times as long]\
               [; it waits {pre_delay_ms} first][; diffusion {diffusion_percent}][; it stirs by {modulation_percent}]\
               [; first reflections {early_db}][; tail {late_db}][; cut below {low_cut_hz}][; cut above {high_cut_hz}]\
               [; spread {spread_percent} in the side only][; {mix_percent} of the output]",
    params: &[
        DECAY,
        SIZE,
        DISTANCE,
        PRE_DELAY,
        LOW_RATIO,
        LOW_CORNER,
        HIGH_RATIO,
        HIGH_CORNER,
        DIFFUSION,
        MODULATION,
        EARLY,
        LATE,
        LOW_CUT,
        HIGH_CUT,
        SPREAD,
        MIX,
    ],
    rows: None,
    outside_key: false,
};

/// What one lane remembers.
struct Memory {
    early: EarlyMemory,
    late: NetworkMemory,
    cuts: CutsMemory,
}

/// The room itself.
struct Room {
    rate_hz: f64,
    early: Early,
    late: Network,
    early_gain: Ramp,
    late_gain: Ramp,
    cuts: Cuts,
    spread: Ramp,
}

/// Builds a room.
///
/// # Errors
/// None at present.
pub fn build(settings: &Settings, context: &Context<'_>) -> Result<Box<dyn Processor>, BuildError> {
    Ok(Box::new(ReturnPath::new(settings, context, Room::new(settings, context))))
}

impl Room {
    fn new(settings: &Settings, context: &Context<'_>) -> Self {
        let rate_hz = context.rate_hz;
        let (shape, decay) = (shape(settings), decay(settings, rate_hz));
        Self {
            rate_hz,
            early: Early::new(&shape, &decay),
            late: Network::new(&shape, &decay, context.first_frame),
            early_gain: Ramp::at(0.0),
            late_gain: Ramp::at(0.0),
            cuts: Cuts::new(0.0, HIGH_CUT_OFF_HZ, rate_hz),
            spread: Ramp::at(0.0),
        }
    }

    fn ramps(&mut self) -> [&mut Ramp; 3] {
        [&mut self.early_gain, &mut self.late_gain, &mut self.spread]
    }
}

impl Space for Room {
    type Memory = Memory;

    fn memory(&self) -> Memory {
        Memory {
            early: EarlyMemory::new(self.rate_hz),
            late: NetworkMemory::new(self.rate_hz),
            cuts: CutsMemory::default(),
        }
    }

    fn clear(&self, memory: &mut Memory) {
        memory.early.clear();
        memory.late.clear();
        memory.cuts = CutsMemory::default();
    }

    fn set(&mut self, s: &Settings) {
        let (shape, decay) = (shape(s), decay(s, self.rate_hz));
        self.early.set(&shape, &decay);
        self.late.set(&shape, &decay, s.number(&DIFFUSION) / 100.0, s.number(&MODULATION) / 100.0);
        let late_energy = shape.late_energy_per_second();
        let whole = self.early.energy() + late_energy * shape.late_seconds(decay.mid_s());
        let scale = 1.0 / whole.sqrt();
        self.early_gain.go_to(scale * gain_from_db(s.number(&EARLY)));
        self.late_gain.go_to(scale * gain_from_db(s.number(&LATE)) * (late_energy * self.late.seconds()).sqrt());
        self.cuts.set(s.number(&LOW_CUT), s.number(&HIGH_CUT), self.rate_hz);
        self.spread.go_to(s.number(&SPREAD) / 100.0 * FULL_SPREAD_GAIN);
    }

    fn finish(&mut self) {
        self.early.finish();
        self.late.finish();
        self.cuts.finish();
        self.ramps().into_iter().for_each(Ramp::finish);
    }

    fn steady_frames(&self, most: usize) -> usize {
        self.late.steady_frames(self.early.steady_frames(most))
    }

    fn prepare(&mut self, key: &[Frame]) {
        self.late.stir(key.len());
    }

    fn answer(&mut self, memory: &mut Memory, signal: &mut [Frame]) {
        let (mut early, mut late) = (SILENT, SILENT);
        let (early, late) = (&mut early[..signal.len()], &mut late[..signal.len()]);
        self.early.process(&mut memory.early, signal, early);
        self.late.process(&mut memory.late, signal, late);
        let (mut early_gain, mut late_gain, mut spread) = (self.early_gain, self.late_gain, self.spread);
        // Both parts give a middle and a side.
        for (out, (early, late)) in signal.iter_mut().zip(early.iter().zip(late.iter())) {
            let (e, l, g) = (early_gain.next_value(), late_gain.next_value(), spread.next_value());
            let (mid, side) = (e * early[0] + l * late[0], g * (e * early[1] + l * late[1]));
            *out = [mid + side, mid - side];
        }
        self.cuts.process(&mut memory.cuts, signal);
    }

    fn pass(&mut self, frames: usize) {
        self.early.pass(frames);
        self.late.pass(frames);
        self.cuts.pass(frames);
        self.ramps().into_iter().for_each(|ramp| space::pass(ramp, frames));
    }

    /// Twice the longest decay takes 120 dB.
    fn tail_frames(&self, s: &Settings) -> usize {
        let longest = s.number(&DECAY) * s.number(&LOW_RATIO).max(s.number(&HIGH_RATIO)).max(1.0);
        (2.0 * longest * self.rate_hz).ceil() as usize + self.cuts.tail_frames()
    }
}

fn shape(settings: &Settings) -> Shape {
    Shape::new(settings.number(&SIZE), settings.number(&DISTANCE), settings.number(&DECAY))
}

fn decay(settings: &Settings, rate_hz: f64) -> Decay {
    Decay::new(
        settings.number(&DECAY),
        [settings.number(&LOW_RATIO), settings.number(&HIGH_RATIO)],
        [settings.number(&LOW_CORNER), settings.number(&HIGH_CORNER)],
        rate_hz,
    )
}

#[cfg(test)]
mod tests;
