//! How one component of the signal is worked on while the other passes as it is.
//!
//! Middle and side are `M = (L + R) / 2` and `S = (L - R) / 2`. What changes in one of them is added to both channels
//! (taken from the right for the side), so the other is not even computed.

use units::Frame;

/// The component that is worked on, in the order of the sheet's words.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Route {
    /// Both channels.
    Both,
    /// The middle.
    Mid,
    /// The sides.
    Side,
    /// The left channel.
    Left,
    /// The right channel.
    Right,
}

impl Route {
    /// The sheet's words.
    pub const WORDS: &'static [&'static str] = &["both", "mid", "side", "left", "right"];

    /// All routes in the order of their words.
    pub const ALL: [Self; 5] = [Self::Both, Self::Mid, Self::Side, Self::Left, Self::Right];

    /// The component alone. A single one leaves the other channel's place silent.
    #[inline]
    #[must_use]
    pub fn component(self, frame: Frame) -> Frame {
        match self {
            Self::Both => frame,
            Self::Mid => [0.5 * (frame[0] + frame[1]), 0.0],
            Self::Side => [0.5 * (frame[0] - frame[1]), 0.0],
            Self::Left => [frame[0], 0.0],
            Self::Right => [0.0, frame[1]],
        }
    }

    /// Takes the component out.
    pub fn take(self, frames: &[Frame], work: &mut [Frame]) {
        for (work, frame) in work.iter_mut().zip(frames) {
            *work = self.component(*frame);
        }
    }

    /// Puts the worked component back in place of the one in `frames`.
    pub fn give(self, work: &[Frame], frames: &mut [Frame]) {
        for (work, frame) in work.iter().zip(frames) {
            match self {
                Self::Both => *frame = *work,
                Self::Left => frame[0] = work[0],
                Self::Right => frame[1] = work[1],
                Self::Mid => {
                    let change = work[0] - self.component(*frame)[0];
                    *frame = [frame[0] + change, frame[1] + change];
                }
                Self::Side => {
                    let change = work[0] - self.component(*frame)[0];
                    *frame = [frame[0] + change, frame[1] - change];
                }
            }
        }
    }
}
