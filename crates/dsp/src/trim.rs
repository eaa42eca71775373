//! Trim: a plain gain and a turn of polarity.

use units::{At, Block, Frame, Param, Settings, Spec, Unit, Value, gain_from_db};

use crate::ramp::Ramp;
use crate::{BuildError, Context, Processor};

/// Gain.
pub const GAIN_DB: Param =
    Param::number("gain_db", Unit::Decibel, [-60.0, 24.0], 0.0, "How much louder or quieter everything gets.");
/// Polarity.
pub const INVERT: Param = Param::switch("invert", false, "Inverts the polarity of both channels.");

/// The trim's description.
pub static SPEC: Spec = Spec {
    name: "trim",
    title: "trim",
    summary: "A plain gain, with polarity inverted where wanted.",
    source: "Decibels of amplitude, `10^(gain/20)` (IEC 60027-3).",
    caution: "A level ahead of a compressor or a drive changes what they do; a level behind them does not.",
    sentence: "changes the level by {gain_db}[, polarity inverted: {invert}]",
    params: &[GAIN_DB, INVERT],
    rows: None,
    outside_key: false,
};

/// A trim.
pub struct Trim {
    settings: Settings,
    gain: Ramp,
}

/// Builds a trim.
///
/// # Errors
/// Never.
pub fn build(settings: &Settings, _context: &Context<'_>) -> Result<Box<dyn Processor>, BuildError> {
    Ok(Box::new(Trim { settings: settings.clone(), gain: Ramp::at(gain_of(settings)) }))
}

fn gain_of(settings: &Settings) -> f64 {
    let gain = gain_from_db(settings.number(&GAIN_DB));
    if settings.switch(&INVERT) { -gain } else { gain }
}

fn scale(frames: &mut [Frame], gain: f64) {
    for frame in frames {
        *frame = [frame[0] * gain, frame[1] * gain];
    }
}

impl Processor for Trim {
    fn process(&mut self, block: &mut Block<'_>, _outside_key: Option<&[Frame]>) {
        let mut from = 0;
        while from < block.frames() && !self.gain.is_at_rest() {
            let gain = self.gain.next_value();
            block.part(from, 1).lanes_mut().for_each(|frames| scale(frames, gain));
            from += 1;
        }
        let (rest, gain) = (block.frames() - from, self.gain.value());
        block.part(from, rest).lanes_mut().for_each(|frames| scale(frames, gain));
    }

    fn set(&mut self, at: At, value: f64) {
        self.settings.set(at, Value::Number(value));
        self.gain.go_to(gain_of(&self.settings));
    }

    fn reset(&mut self) {
        self.gain.finish();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ramp::RAMP_FRAMES;

    fn run(trim: &mut dyn Processor, frames: usize) -> Vec<Frame> {
        let mut data = vec![[0.5, -0.25]; frames];
        trim.process(&mut Block::key_only(&mut data), None);
        data
    }

    #[test]
    fn it_multiplies_by_the_gain_of_the_decibels() {
        // IEC 60027-3: -20 dB is a tenth.
        let settings = Settings::defaults(&SPEC).with_number(&GAIN_DB, -20.0).with(&INVERT, Value::Switch(true));
        let mut trim = build(&settings, &Context::plain(48_000.0, 1)).unwrap();
        let out = run(trim.as_mut(), 3);
        assert!((out[2][0] + 0.05).abs() < 1e-15 && (out[2][1] - 0.025).abs() < 1e-15);
    }

    #[test]
    fn at_rest_it_changes_no_bit_and_a_move_glides() {
        let mut trim = build(&Settings::defaults(&SPEC), &Context::plain(48_000.0, 1)).unwrap();
        assert_eq!(run(trim.as_mut(), 5), vec![[0.5, -0.25]; 5]);
        trim.set(At { row: None, param: 0 }, -60.0);
        let out = run(trim.as_mut(), 40);
        let step = out.windows(2).map(|pair| (pair[1][0] - pair[0][0]).abs()).fold(0.0, f64::max);
        assert!(step < 0.5 / RAMP_FRAMES as f64 && (out[39][0] - 0.5e-3).abs() < 1e-15);
    }
}
