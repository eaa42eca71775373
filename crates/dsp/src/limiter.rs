//! True-peak limiter: nothing above the ceiling, not even between the samples.
//!
//! A stage reads the peaks of the key eight points a sample (`peaks`), finds a gain that keeps them under the ceiling
//! (`gain`) and applies it to every lane, delayed. A gain that moves bends what lies between the samples a little; so
//! a second, shorter stage reads the output of the first and takes away the hundredths of a decibel that are left over.
//! Ahead of both may stand a clipper (`clipper`) that takes a declared share of the excess. Latency is that of all
//! stages: at 48 kHz the look-ahead and 14 ms, with the clipper 16 ms.
//!
//! Where several true peaks are possible (full-level noise up to half the rate), meters of 96 to 512 taps a point agree to the
//! ceiling; an infinitely long one may read such signals up to 0.5 dB higher. Music has nothing there.
//!
//! Distortion of full-level tones limited by 6 dB, at the default times: 0.11 % at 50 Hz, 0.002 % at 100 Hz, none at 1 kHz,
//! intermodulation of 60 Hz and 7 kHz (SMPTE RP 120) 0.06 %.

mod clipper;
mod gain;
mod interpolator;
mod peaks;

#[cfg(test)]
mod tests;

use crate::lag::Lag;
use crate::ramp::Ramp;
use crate::{BuildError, Context, Processor};
use clipper::Clipper;
use gain::{GainCurve, Release};
use peaks::{PIECE, Peaks};
use units::{At, Block, Frame, Param, Settings, Spec, Unit, Value, db_from_gain, frames_from_ms, gain_from_db};

/// What is never exceeded.
pub const CEILING_DBTP: Param =
    Param::number("ceiling_dbtp", Unit::Decibel, [-12.0, 0.0], -1.0, "The true peak that is never exceeded.");
/// Gain before it.
pub const GAIN_DB: Param =
    Param::number("gain_db", Unit::Decibel, [0.0, 24.0], 0.0, "Gain before the limiter: how far it is driven.");
/// Time it sees ahead.
pub const LOOK_AHEAD_MS: Param = Param::number(
    "look_ahead_ms",
    Unit::Millisecond,
    [0.5, 10.0],
    3.0,
    "How long the gain takes to make room for a peak; longer is cleaner, shorter keeps hits sharp.",
);
/// Time to let go.
pub const RELEASE_MS: Param = Param::number(
    "release_ms",
    Unit::Millisecond,
    [5.0, 1000.0],
    80.0,
    "The time it takes to let go (63 % of the way); short is loud, long is calm.",
);
/// Release after the programme.
pub const AUTO_RELEASE: Param = Param::switch(
    "auto_release",
    true,
    "Lets go of brief peaks in the release time and of steady ones up to ten times slower.",
);

/// Share of the clipper.
pub const CLIP_PERCENT: Param = Param::number(
    "clip_percent",
    Unit::Percent,
    [0.0, 100.0],
    0.0,
    "How much of the excess, in dB, a clipper takes before the limiter (at 0 there is no clipper, also for rides).",
);

/// The limiter.
pub const SPEC: Spec = Spec {
    name: "limiter",
    title: "limiter",
    summary: "Keeps the true peak under a ceiling.",
    source: "Smoothing over a look-ahead by the order-statistics route: P. Hämäläinen, “Smoothing of the Control \
             Signal without Clipped Output in Digital Peak Limiters” (DAFx-02); true peaks by interpolation, \
             finer than Annex 2 of ITU-R BS.1770-5.",
    caution: "More than 3 to 4 dB on the loudest bars is heard (common practice, no source). A codec moves the \
             peaks again: let the print survive the one that it is for.",
    sentence: "No true peak above {ceiling_dbtp}[, driven by {gain_db}]; it sees {look_ahead_ms} ahead and takes \
        {release_ms} to let go[; release by the programme: {auto_release}][; a clipper ahead takes \
        {clip_percent} of the excess]",
    params: &[CEILING_DBTP, GAIN_DB, LOOK_AHEAD_MS, RELEASE_MS, AUTO_RELEASE, CLIP_PERCENT],
    rows: None,
    outside_key: false,
};

/// Look-ahead and release of the second stage in ms.
const SECOND_STAGE_MS: [f64; 2] = [1.0, 20.0];

/// Peaks, gain, and the delay that lets the one act on the other.
struct Stage {
    peaks: Peaks,
    gain: GainCurve,
    release: Release,
    lag: Lag,
}

impl Stage {
    fn new(look_ahead_ms: f64, release: Release, context: &Context<'_>) -> Self {
        let gain = GainCurve::new(frames_from_ms(look_ahead_ms, context.rate_hz));
        let lag = Lag::new(context.lanes, peaks::DELAY + gain.delay());
        Self { peaks: Peaks::new(), gain, release, lag }
    }

    fn delay(&self) -> usize {
        peaks::DELAY + self.gain.delay()
    }

    fn reset(&mut self) {
        self.peaks.reset();
        self.gain.reset();
        self.lag.reset();
    }

    /// Keeps a piece of the stream under the ceiling; gives its least gain.
    fn process(&mut self, block: &mut Block<'_>, ceiling: f64) -> f64 {
        let frames = block.frames();
        let mut peaks = [0.0; PIECE];
        let peaks = &mut peaks[..frames];
        let over = self.peaks.read(block.lane(0), ceiling, peaks);
        self.lag.process(block);
        if !over && self.gain.is_at_rest() {
            return 1.0;
        }
        for peak in peaks.iter_mut() {
            *peak = self.gain.next(*peak, ceiling, &self.release);
        }
        let gains = &*peaks;
        for lane in block.lanes_mut() {
            for (frame, gain) in lane.iter_mut().zip(gains) {
                *frame = [frame[0] * gain, frame[1] * gain];
            }
        }
        gains.iter().fold(1.0, |least, gain| gain.min(least))
    }
}

/// The limiter's state. See the module's description.
pub struct Limiter {
    settings: Settings,
    rate_hz: f64,
    ceiling: f64,
    drive: Ramp,
    clipper: Option<Clipper>,
    stages: [Stage; 2],
    least_gain: f64,
}

/// Builds it.
///
/// # Errors
/// None: every setting in range can be had.
pub fn build(settings: &Settings, context: &Context<'_>) -> Result<Box<dyn Processor>, BuildError> {
    Ok(Box::new(Limiter::new(settings, context)))
}

impl Limiter {
    fn new(settings: &Settings, context: &Context<'_>) -> Self {
        let [second_ahead_ms, second_release_ms] = SECOND_STAGE_MS;
        let first = Stage::new(settings.number(&LOOK_AHEAD_MS), release_of(settings, context.rate_hz), context);
        let second = Stage::new(second_ahead_ms, Release::new(second_release_ms, false, context.rate_hz), context);
        Self {
            settings: settings.clone(),
            rate_hz: context.rate_hz,
            ceiling: gain_from_db(settings.number(&CEILING_DBTP)),
            drive: Ramp::at(gain_from_db(settings.number(&GAIN_DB))),
            clipper: (settings.number(&CLIP_PERCENT) > 0.0).then(|| Clipper::new(context.lanes)),
            stages: [first, second],
            least_gain: 1.0,
        }
    }

    fn piece(&mut self, block: &mut Block<'_>) {
        self.drive_lanes(block);
        let share = self.settings.number(&CLIP_PERCENT) / 100.0;
        let clipped = self.clipper.as_mut().map_or(1.0, |clipper| clipper.process(block, self.ceiling, share));
        let [first, second] = &mut self.stages;
        let gain = clipped * first.process(block, self.ceiling) * second.process(block, self.ceiling);
        self.least_gain = self.least_gain.min(gain);
    }

    fn drive_lanes(&mut self, block: &mut Block<'_>) {
        if self.drive.is_at_rest() && self.drive.value() == 1.0 {
            return;
        }
        let start = self.drive;
        for lane in block.lanes_mut() {
            self.drive = start;
            for frame in lane {
                let gain = self.drive.next_value();
                *frame = [frame[0] * gain, frame[1] * gain];
            }
        }
    }
}

fn release_of(settings: &Settings, rate_hz: f64) -> Release {
    Release::new(settings.number(&RELEASE_MS), settings.switch(&AUTO_RELEASE), rate_hz)
}

impl Processor for Limiter {
    fn process(&mut self, block: &mut Block<'_>, _outside_key: Option<&[Frame]>) {
        self.least_gain = 1.0;
        let frames = block.frames();
        for from in (0..frames).step_by(PIECE) {
            self.piece(&mut block.part(from, PIECE.min(frames - from)));
        }
    }

    fn set(&mut self, at: At, value: f64) {
        self.settings.set(at, Value::Number(value));
        self.ceiling = gain_from_db(self.settings.number(&CEILING_DBTP));
        self.stages[0].release = release_of(&self.settings, self.rate_hz);
        let drive = gain_from_db(self.settings.number(&GAIN_DB));
        if self.drive.target() != drive {
            self.drive.go_to(drive);
        }
    }

    fn reset(&mut self) {
        if let Some(clipper) = &mut self.clipper {
            clipper.reset();
        }
        self.stages.iter_mut().for_each(Stage::reset);
        self.drive.finish();
        self.least_gain = 1.0;
    }

    fn latency_frames(&self) -> usize {
        let clipper = self.clipper.as_ref().map_or(0, Clipper::latency_frames);
        clipper + self.stages.iter().map(Stage::delay).sum::<usize>()
    }

    fn gain_reduction_db(&self) -> Option<f64> {
        Some(db_from_gain(self.least_gain))
    }
}
