//! Where the song starts in past revisions: found behind the scenes, by aligning a print of theirs with the same print now.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use super::Shared;
use crate::behind;
use crate::passage;
use crate::protocol::{Ear, Through};

/// The stretch that is aligned, and how far a start is looked for.
const STRETCH_S: f64 = 12.0;
const FARTHEST_S: f64 = 4.0;
/// Where in the song it lies: past its beginning, where most songs have all their parts.
const PART: f64 = 0.4;
/// Below this correlation two prints are taken as different recordings, and left where they are. Common practice, no source.
const LEAST_CORRELATION: f64 = 0.3;

/// Aligns what is at hand and was not aligned yet, on a thread of its own.
pub(crate) fn align(shared: &Arc<Shared>) {
    if shared.aligning.swap(true, Ordering::SeqCst) {
        return;
    }
    let shared = shared.clone();
    behind::spawn(move || {
        while align_one(&shared).is_some() {}
        shared.aligning.store(false, Ordering::SeqCst);
    });
}

/// Aligns one revision; none if there is nothing to do.
fn align_one(shared: &Shared) -> Option<()> {
    let (scene, ways, programme, from) = {
        let session = shared.session();
        let earlier = session.unaligned()?;
        let now = session.output(&earlier.print).unwrap_or(0);
        let ways = [now, session.output(&earlier.programme)?].map(|output| (output, Through::Nothing));
        let scene = session.scene_of(&Ear::default());
        let from = (PART * scene.plan.song_frames as f64) as i64;
        (Arc::new(scene), ways, earlier.programme, from)
    };
    let frames = |secs: f64| usize::try_from(units::frames_from_secs(secs, scene.plan.rate_hz)).unwrap_or(0);
    let heard = passage::render(&scene, &ways, (from, frames(STRETCH_S)), &AtomicBool::new(false));
    let fit = match heard {
        Ok(Some(heard)) => measure::align(&heard[0], &heard[1], frames(FARTHEST_S)),
        // What cannot be read is told of when it is played.
        _ => None,
    };
    let late = fit.filter(|fit| fit.correlation >= LEAST_CORRELATION).map_or(0, |fit| fit.delay_samples.round() as i64);
    shared.session().align_earlier(&programme, late);
    if late != 0 {
        shared.play_scene();
    }
    Some(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::server::{Setup, open};
    use crate::testing::Song;

    #[test]
    fn a_print_of_before_plays_in_step_although_the_song_has_moved() {
        let song = Song::new();
        let sheet = song.sheet();
        assert!(prints::print(&prints::Order::of(&sheet, 1)).is_ok());
        // All recordings begin a quarter of a second later than they did.
        let text = std::fs::read_to_string(&sheet).expect("it is there");
        let later = text.replace("to = \"mix\"\n", "to = \"mix\"\nfrom = 0.25\n");
        std::fs::write(&sheet, later).expect("it can be written");
        let desk = open(&Setup { sheet, port: 0, threads: 1, device: None }).unwrap_or_else(|_| panic!("it opens"));
        let names = desk.shared.session().view().earlier;
        assert_eq!(
            names.iter().map(|e| e.name.as_str()).collect::<Vec<_>>(),
            ["for mastering of r001", "for approval of r001"]
        );
        assert!(align_one(&desk.shared).is_some() && align_one(&desk.shared).is_none());
        let session = desk.shared.session();
        let scene = Arc::new(session.scene());
        let ways = ["for mastering", "for mastering of r001"]
            .map(|name| (session.output(name).expect("it is there"), Through::Nothing));
        let heard = passage::render(&scene, &ways, (60_000, 96_000), &AtomicBool::new(false))
            .expect("it renders")
            .expect("all of it");
        let apart = heard[0].iter().zip(&heard[1]).map(|(a, b)| (a[0] - b[0]).abs()).fold(0.0, f64::max);
        // A file of 24 bits, with its dither.
        assert!(apart < 4.0 / f64::from(1 << 23), "in step to the sample: {apart}");
    }
}
