//! Two sounds of one passage in memory, equally loud, to be compared: switched at the same frame, looped, and never cut
//! hard.

use std::f64::consts::PI;
use std::sync::Arc;

use listening::blind::Side;
use measure::LoudnessMeter;
use units::{Frame, SILENCE, gain_from_db};

/// How long sound takes to fade out, and to fade in, where it changes: a raised cosine of 5 ms each way and no crossfade,
/// in which a difference in polarity or delay would give itself away (Rec. ITU-R BS.1534-3).
const FADE_MS: f64 = 5.0;
/// Two sounds that differ by less than half a step of 24 bits are the same.
const SAME: f64 = 1.0 / (1_u64 << 24) as f64;

/// Two sounds of one passage, equally loud.
pub struct Pair {
    from: i64,
    fade: usize,
    sides: [Vec<Frame>; 2],
    turned_down_db: [f64; 2],
}

/// Why two sounds cannot be compared.
#[derive(Debug, PartialEq, Eq)]
pub enum Unfit {
    /// One of them is silent.
    Silent(usize),
    /// They are the same.
    Same,
}

impl Pair {
    /// Two sounds of a passage that starts at a frame of the song; the louder is turned down.
    ///
    /// # Errors
    /// One is silent, or both are the same.
    pub fn new(rate_hz: f64, from: i64, mut sides: [Vec<Frame>; 2]) -> Result<Self, Unfit> {
        let mut lufs = [0.0; 2];
        for (index, (lufs, side)) in lufs.iter_mut().zip(&sides).enumerate() {
            let mut meter = LoudnessMeter::new(rate_hz);
            meter.push(side);
            *lufs = meter.integrated_lufs().ok_or(Unfit::Silent(index))?;
        }
        let quieter = lufs[0].min(lufs[1]);
        let turned_down_db = lufs.map(|lufs| quieter - lufs);
        for (side, db) in sides.iter_mut().zip(turned_down_db) {
            let gain = gain_from_db(db);
            side.iter_mut().for_each(|frame| *frame = frame.map(|x| x * gain));
        }
        let [a, b] = &sides;
        let apart = |(a, b): (&Frame, &Frame)| (a[0] - b[0]).abs().max((a[1] - b[1]).abs());
        if a.iter().zip(b).all(|pair| apart(pair) < SAME) {
            return Err(Unfit::Same);
        }
        Ok(Self { from, fade: units::frames_from_ms(FADE_MS, rate_hz), sides, turned_down_db })
    }

    /// By how much each was turned down.
    #[must_use]
    pub fn turned_down_db(&self) -> [f64; 2] {
        self.turned_down_db
    }

    fn frames(&self) -> usize {
        self.sides[0].len()
    }

    /// A frame of one of them, faded at both ends of the passage.
    fn frame(&self, side: Side, at: usize) -> Frame {
        let Some(frame) = self.sides[side as usize].get(at) else { return SILENCE };
        let gain = raised_cosine(at.min(self.frames() - 1 - at), self.fade);
        frame.map(|x| x * gain)
    }
}

/// 0 at the start, 1 after so many frames.
fn raised_cosine(at: usize, frames: usize) -> f64 {
    if at >= frames { 1.0 } else { 0.5 - 0.5 * libm::cos(PI * at as f64 / frames as f64) }
}

/// A pair that plays, over and over.
pub struct Comparing {
    pair: Arc<Pair>,
    at: usize,
    side: Side,
    /// What goes on, and where if not here, from the middle of the next piece.
    then: Option<(Side, Option<usize>)>,
}

impl Comparing {
    /// From the start of the passage.
    #[must_use]
    pub fn new(pair: Arc<Pair>) -> Self {
        Self { pair, at: 0, side: Side::A, then: None }
    }

    /// The frame of the song that comes next.
    #[must_use]
    pub fn at(&self) -> i64 {
        self.pair.from + self.at as i64
    }

    /// Goes on with one of the two at the same frame. If that is the one which plays, it fades out and in all the same.
    pub fn switch(&mut self, side: Side) {
        let to = self.then.and_then(|(_, to)| to);
        self.then = Some((side, to));
    }

    /// Goes on from a frame of the song.
    pub fn seek(&mut self, at: i64) {
        let to = usize::try_from(at - self.pair.from).unwrap_or(0).min(self.pair.frames().saturating_sub(1));
        let side = self.then.map_or(self.side, |(side, _)| side);
        self.then = Some((side, Some(to)));
    }

    /// The next frames.
    pub fn piece(&mut self, frames: usize) -> Vec<Frame> {
        let half = frames / 2;
        let then = self.then.take();
        let mut out = Vec::with_capacity(frames);
        for index in 0..frames {
            if let (Some((side, to)), true) = (then, index == half) {
                self.side = side;
                self.at = to.unwrap_or(self.at);
            }
            let away = if index < half { half - 1 - index } else { index - half };
            let gain = if then.is_some() { raised_cosine(away, self.pair.fade.min(half)) } else { 1.0 };
            out.push(self.pair.frame(self.side, self.at).map(|x| x * gain));
            self.at = (self.at + 1) % self.pair.frames();
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE_HZ: f64 = 48_000.0;
    const PIECE: usize = 480;

    fn tone(hz: f64, gain: f64) -> Vec<Frame> {
        let wave = |n: usize| gain * libm::sin(std::f64::consts::TAU * hz * n as f64 / RATE_HZ);
        (0..48_000).map(|n| [wave(n); 2]).collect()
    }

    fn largest_step(frames: &[Frame]) -> f64 {
        frames.windows(2).map(|pair| (pair[1][0] - pair[0][0]).abs()).fold(0.0, f64::max)
    }

    #[test]
    fn both_are_equally_loud_within_a_tenth_of_a_unit_and_none_is_turned_up() {
        // Matching tolerance for such comparisons: 0.1 dB (Clark, JAES 30, 1982; the figure from memory).
        let pair = Pair::new(RATE_HZ, 0, [tone(997.0, 0.1), tone(3000.0, 0.4)]).expect("they can be compared");
        let lufs = pair.sides.each_ref().map(|side| {
            let mut meter = LoudnessMeter::new(RATE_HZ);
            meter.push(side);
            meter.integrated_lufs().expect("it sounds")
        });
        assert!((lufs[0] - lufs[1]).abs() < 0.01, "{lufs:?}");
        assert!(pair.turned_down_db()[0] == 0.0 && pair.turned_down_db()[1] < -12.0, "{:?}", pair.turned_down_db());
    }

    #[test]
    fn silence_and_the_same_twice_are_no_comparison() {
        let silence = vec![SILENCE; 48_000];
        assert_eq!(Pair::new(RATE_HZ, 0, [tone(997.0, 0.1), silence]).err(), Some(Unfit::Silent(1)));
        // Half as loud is the same, once it is as loud.
        assert_eq!(Pair::new(RATE_HZ, 0, [tone(997.0, 0.1), tone(997.0, 0.05)]).err(), Some(Unfit::Same));
    }

    #[test]
    fn it_switches_at_the_same_frame_and_nothing_tells_which_one_comes() {
        // The second is the first upside down: a crossfade would dip, a hard cut would click.
        let first = tone(997.0, 0.1);
        let second: Vec<Frame> = first.iter().map(|frame| frame.map(|x| -x)).collect();
        let pair = Arc::new(Pair::new(RATE_HZ, 1000, [first.clone(), second]).expect("they can be compared"));
        let mut comparing = Comparing::new(pair.clone());
        assert_eq!(comparing.at(), 1000);
        comparing.piece(PIECE);
        let loudness_of_switch = |comparing: &mut Comparing, side: Side| {
            comparing.switch(side);
            let out = comparing.piece(PIECE);
            assert!(largest_step(&out) <= 1.1 * largest_step(&first), "nothing clicks");
            out.iter().map(|frame| frame[0] * frame[0]).sum::<f64>()
        };
        let to_other = loudness_of_switch(&mut comparing, Side::B);
        comparing.piece(PIECE);
        let to_same = loudness_of_switch(&mut comparing, Side::B);
        assert!((to_other / to_same - 1.0).abs() < 0.05, "{to_other} {to_same}");
        let out = comparing.piece(PIECE);
        for (index, frame) in out.iter().enumerate() {
            assert!((frame[0] + first[4 * PIECE + index][0]).abs() < 1e-12, "the other one, at the same frame");
        }
    }

    #[test]
    fn it_comes_round_without_a_jump() {
        let pair = Pair::new(RATE_HZ, 0, [tone(997.0, 0.1), tone(500.0, 0.1)]).expect("they can be compared");
        let mut comparing = Comparing::new(Arc::new(pair));
        let out: Vec<Frame> = (0..250).flat_map(|_| comparing.piece(PIECE)).collect();
        assert!(largest_step(&out) <= 1.01 * largest_step(&tone(997.0, 0.1)));
        assert_eq!(comparing.at(), (250 * PIECE as i64) % 48_000);
        comparing.seek(12_345);
        comparing.piece(PIECE);
        assert_eq!(comparing.at(), 12_345 + PIECE as i64 / 2);
    }
}
