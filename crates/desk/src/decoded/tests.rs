//! Stretches of a song, there and back through codecs.

use super::*;
use crate::session::Session;
use crate::testing::{FRAMES, Song};

const WAY: &str = "mp3 128";

/// A stretch of the test song's first print.
fn stretch(session: &Session, codec: &str, index: i64) -> Stretch {
    let way = (0, codec.parse().expect("a codec"));
    Wanted { scene: Arc::new(session.scene()), way, index }.make().expect("it can be made")
}

/// The print, plain.
fn print(session: &Session) -> Vec<Frame> {
    let way = [(0, Through::Nothing)];
    let heard = passage::render(&Arc::new(session.scene()), &way, (0, FRAMES), &AtomicBool::new(false));
    heard.expect("it renders").expect("all of it").swap_remove(0)
}

/// Level of what a codec adds, against the programme.
fn error_db(plain: &[Frame], heard: &[Frame]) -> f64 {
    let power = |frames: &mut dyn Iterator<Item = f64>| frames.map(|x| x * x).sum::<f64>();
    let error = power(&mut plain.iter().zip(heard).map(|(a, b)| a[0] - b[0]));
    units::db_from_power(error / power(&mut plain.iter().map(|frame| frame[0])))
}

#[test]
fn a_stretch_lies_where_the_print_does_and_sounds_like_the_file_that_is_delivered() {
    let song = Song::new();
    let session = Session::open(&song.sheet()).expect("it opens");
    let plain = print(&session);
    for codec in ["mp3 320", "mp3 128", "opus 128", "vorbis 192"] {
        // The whole print at once, as a file is made of it.
        let whole = decoded(&plain, 48_000, codec.parse().expect("a codec")).expect("it can be made");
        for index in [0, 1] {
            let made = stretch(&session, codec, index);
            let from = index as usize * 192_000;
            // At the end of the song the encoder hears silence come, in the file as here.
            let to = (from + 192_000).min(FRAMES - 4_800);
            let frames = &made.frames[..to - from];
            let fit = measure::align(&plain[from..to], frames, 4_800).expect("it sounds");
            assert!(fit.delay_samples.abs() < 0.5, "{codec}: {fit:?}");
            let [ours, delivered] = [frames, &whole[from..to]].map(|heard| error_db(&plain[from..to], heard));
            assert!(
                (ours - delivered).abs() < 0.5,
                "{codec}, stretch {index}: {ours:.2} dB, as a file {delivered:.2} dB"
            );
        }
    }
}

#[test]
fn stretches_fade_over_into_each_other_and_say_nothing_of_what_is_not_there() {
    let way = (0, WAY.parse().expect("a codec"));
    let mut decoded = Decoded::new(48_000.0);
    decoded.way = Some(way);
    let length = usize::try_from(decoded.length).expect("frames");
    for (index, level) in [(3, 0.5), (4, 0.25)] {
        decoded.stretches.insert(index, vec![[level; 2]; length + decoded.fade]);
    }
    let seam = 4 * length as i64;
    let piece = decoded.piece(way, seam - 240, 960).expect("both are there");
    assert!(piece[..240].iter().all(|frame| frame[0] == 0.5) && piece[720..].iter().all(|frame| frame[0] == 0.25));
    assert!(
        piece.windows(2).all(|pair| (pair[1][0] - pair[0][0]).abs() <= 0.25 / 480.0 + 1e-12),
        "a straight line between"
    );
    assert_eq!(decoded.piece(way, 5 * length as i64 - 100, 480), None, "the next is not there");
    assert_eq!(decoded.piece((1, way.1), seam, 480), None, "that is another print");
    decoded.forget();
    assert_eq!(decoded.piece(way, seam, 480), None, "the network is another");
    assert!(decoded.fading(way, seam, 480).is_some(), "but what sounded can fade out");
}

#[test]
fn what_is_heard_next_is_made_first_and_memory_does_not_grow() {
    let song = Song::new();
    let session = Session::open(&song.sheet()).expect("it opens");
    let scene = Arc::new(session.scene());
    let way = (0, WAY.parse().expect("a codec"));
    let mut decoded = Decoded::new(48_000.0);
    let at = 30 * 48_000;
    // Whatever is asked for lies in a loop of two minutes, and is made at once.
    let mut order = Vec::new();
    for step in 0..40 {
        let place = at + step * 4 * 48_000;
        let Some(wanted) = decoded.next(&scene, Some(way), Some((0, 120 * 48_000)), place % (120 * 48_000)) else {
            continue;
        };
        order.push(wanted.index);
        assert!(decoded.next(&scene, Some(way), None, place).is_none(), "one at a time");
        let frames = vec![units::SILENCE; 480];
        let made = Stretch { scene: scene.clone(), way, index: wanted.index, frames };
        decoded.take(Ok(made), &scene, place % (120 * 48_000)).expect("it was made");
        assert!(decoded.stretches.len() <= KEPT);
    }
    assert_eq!(order[0], 7, "the stretch that is heard comes first: {order:?}");
    assert!(order.contains(&0), "and the start of the loop is there before it comes round: {order:?}");
    // A stretch of a network that is no more is not taken.
    let other = Stretch { scene: Arc::new(session.scene()), way, index: 99, frames: Vec::new() };
    decoded.take(Ok(other), &scene, at).expect("it was made");
    assert!(!decoded.stretches.contains_key(&99));
}
