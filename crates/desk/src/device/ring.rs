//! The way from the player to a sound card. A card asks for frames on a thread that may never wait: a ring without locks.

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use rtrb::{Consumer, Producer, RingBuffer};
use units::Frame;

use crate::take::piece_frames;

/// What is to wait in the ring, in pieces of 10 ms, and how many must wait before sound starts: as on the page.
const WAITING_PIECES: usize = 6;
const ENOUGH_PIECES: usize = 4;
/// Frames over which sound begins, so that it never begins with a jump.
const FADE: f32 = 128.0;
/// By how much the last value dies away, frame by frame, where sound breaks off; below the second it is silence.
const DYING: f32 = 0.99;
const SILENT: f32 = 1e-6;
const CHANNELS: usize = 2;

/// A ring for a rate, with its ends.
pub(crate) fn ring(rate_hz: f64) -> (Producing, Tap, Grants) {
    let piece = piece_frames(rate_hz);
    let (producer, ring) = RingBuffer::new(CHANNELS * WAITING_PIECES * piece);
    let taken = Arc::new(AtomicUsize::new(0));
    let grants = Grants { piece, granted: 0, taken: taken.clone() };
    let tap = Tap { ring, taken, enough: ENOUGH_PIECES * piece, sounds: false, fade: 0.0, last: [0.0; CHANNELS] };
    (Producing(producer), tap, grants)
}

/// Where the player's pieces go.
pub(crate) struct Producing(Producer<f32>);

impl Producing {
    /// Takes a piece. There is room for it: it was granted.
    pub(crate) fn push(&mut self, frames: &[Frame]) {
        for sample in frames.as_flattened() {
            let _ = self.0.push(*sample as f32);
        }
    }
}

/// Where a sound card takes its frames from.
pub(crate) struct Tap {
    ring: Consumer<f32>,
    taken: Arc<AtomicUsize>,
    enough: usize,
    sounds: bool,
    fade: f32,
    last: [f32; CHANNELS],
}

impl Tap {
    /// Fills the frames of a card: left and right first, the others with silence; a card of one channel gets their mean.
    /// Where nothing waits, what sounded last dies away.
    pub(crate) fn fill(&mut self, out: &mut [f32], channels: usize) {
        let (wanted, waiting) = (out.len() / channels, self.ring.slots() / CHANNELS);
        if !self.sounds && waiting >= self.enough {
            (self.sounds, self.fade) = (true, 0.0);
        }
        let frames = if self.sounds { waiting.min(wanted) } else { 0 };
        for (index, frame) in out.chunks_mut(channels).enumerate() {
            if index < frames {
                self.fade = (self.fade + 1.0 / FADE).min(1.0);
                self.last = [(); CHANNELS].map(|()| self.fade * self.ring.pop().unwrap_or_default());
            } else {
                self.last = self.last.map(|x| if x.abs() < SILENT { 0.0 } else { DYING * x });
            }
            frame.fill(0.0);
            match frame {
                [one] => *one = f32::midpoint(self.last[0], self.last[1]),
                [left, right, ..] => [*left, *right] = self.last,
                [] => {}
            }
        }
        self.sounds &= frames == wanted;
        self.taken.fetch_add(frames, Ordering::Release);
    }
}

/// What grants the player more.
pub(crate) struct Grants {
    piece: usize,
    granted: usize,
    taken: Arc<AtomicUsize>,
}

impl Grants {
    /// Frames that there is room for now and that were not granted before.
    pub(crate) fn due(&mut self) -> usize {
        let room = self.taken.load(Ordering::Acquire) + WAITING_PIECES * self.piece - self.granted;
        let due = room - room % self.piece;
        self.granted += due;
        due
    }
}

#[cfg(test)]
mod tests {
    use std::sync::mpsc;
    use std::time::Duration;

    use super::*;
    use crate::player::{Ears, Order, Player, Voice};
    use crate::session::Session;
    use crate::testing::Song;

    const PIECE: usize = 480;

    /// Frames that tell their place.
    fn counted(from: usize) -> Vec<Frame> {
        (from..from + PIECE).map(|n| [n as f64, -(n as f64)]).collect()
    }

    #[test]
    fn no_frame_is_lost_or_repeated_at_whatever_size_a_card_takes() {
        for (channels, take) in [(1, 64), (2, 441), (4, 128), (6, 1024)] {
            let (mut producing, mut tap, mut grants) = ring(48_000.0);
            let (mut sent, mut heard) = (0, Vec::new());
            while heard.len() < 20_000 {
                let due = grants.due();
                assert!(due % PIECE == 0 && due <= WAITING_PIECES * PIECE);
                for _ in 0..due / PIECE {
                    producing.push(&counted(sent));
                    sent += PIECE;
                }
                let mut out = vec![1.0_f32; channels * take];
                tap.fill(&mut out, channels);
                heard.extend(out.chunks(channels).map(<[f32]>::to_vec));
            }
            for (n, frame) in heard.iter().enumerate().skip(FADE as usize) {
                let n = n as f32;
                let expected: &[f32] = if channels == 1 { &[0.0] } else { &[n, -n] };
                assert!(frame.starts_with(expected), "{channels} channels, at {n}: {frame:?}");
                assert!(frame[expected.len()..].iter().all(|x| *x == 0.0), "it is stereo: {frame:?}");
            }
        }
    }

    #[test]
    fn where_it_runs_dry_sound_dies_away_and_comes_in_again_softly() {
        let (mut producing, mut tap, mut grants) = ring(48_000.0);
        let ones = vec![[1.0, 1.0]; PIECE];
        let take = |tap: &mut Tap, frames: usize| {
            let mut out = vec![0.5_f32; CHANNELS * frames];
            tap.fill(&mut out, CHANNELS);
            out.chunks(CHANNELS).map(|frame| frame[0]).collect::<Vec<f32>>()
        };
        assert!(take(&mut tap, 100).iter().all(|x| *x == 0.0), "nothing has come yet");
        assert_eq!(grants.due(), WAITING_PIECES * PIECE);
        (1..ENOUGH_PIECES).for_each(|_| producing.push(&ones));
        assert!(take(&mut tap, 100).iter().all(|x| *x == 0.0), "it waits until enough has come");
        producing.push(&ones);
        let mut heard = take(&mut tap, 5 * PIECE);
        heard.extend(take(&mut tap, 2000));
        assert_eq!(grants.due(), ENOUGH_PIECES * PIECE, "what was taken is granted again");
        assert!(heard[4000..].iter().all(|x| *x == 0.0), "silence in the end");
        (0..ENOUGH_PIECES).for_each(|_| producing.push(&ones));
        heard.extend(take(&mut tap, PIECE));
        let step = heard.windows(2).map(|pair| (pair[1] - pair[0]).abs()).fold(0.0, f32::max);
        assert!(step < 0.011 && heard[PIECE] == 1.0, "no jump: {step}");
        assert_eq!(heard[heard.len() - 1], 1.0);
    }

    #[test]
    fn a_card_gets_what_the_player_plays() {
        let song = Song::new();
        let session = Session::open(&song.sheet()).expect("it opens");
        let (orders, received) = mpsc::channel();
        let (mut producing, mut tap, mut grants) = ring(48_000.0);
        let (heard, pieces) = mpsc::channel();
        let ears = Ears {
            sound: Box::new(move |piece| {
                producing.push(&piece.frames);
                heard.send(piece.frames).expect("the test waits");
            }),
            now: Box::new(|_| ()),
            fault: Box::new(|fault| panic!("{fault:?}")),
        };
        let voice = Voice { monitor_db: 0.0, ..session.voice() };
        let player = Player::new(received, orders.clone(), ears, Arc::new(session.scene()), voice);
        let player = std::thread::spawn(move || player.run());
        orders.send(Order::Play).expect("it listens");
        let (mut card, mut sent) = (Vec::new(), Vec::new());
        while card.len() < 2 * 48_000 {
            let due = grants.due();
            orders.send(Order::Credit(due)).expect("it listens");
            for _ in 0..due / PIECE {
                sent.extend(pieces.recv_timeout(Duration::from_secs(60)).expect("it plays"));
            }
            let mut out = vec![0.0_f32; CHANNELS * 128];
            tap.fill(&mut out, CHANNELS);
            card.extend(out.chunks(CHANNELS).map(|frame| [frame[0], frame[1]]));
        }
        orders.send(Order::End).expect("it listens");
        player.join().expect("it ended well");
        let sent: Vec<[f32; 2]> = sent.iter().map(|frame| frame.map(|x| x as f32)).collect();
        assert!(card[FADE as usize..] == sent[FADE as usize..card.len()], "frame for frame");
        assert!(card.iter().any(|frame| frame[0].abs() > 0.01), "and it sounds");
    }
}
