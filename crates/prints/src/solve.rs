//! Finding the gain ahead of the limiter that gives a print its loudness, and the ceiling that survives a codec.
//!
//! Each try is a render, so a good guess is worth a thought. Where nothing limits, a decibel of gain is a loudness unit.
//! A limiter takes some of that away, the more the further the gain drives the peaks past the ceiling; how much depends
//! on `gain - ceiling` alone, because a limiter that is driven harder and one whose ceiling is lowered by as much differ
//! by a gain. Measured on music, what it takes grows as the square of how far the gain is past the first peaks. So the
//! square root of it is nearly a straight line, and a line through the last two tries, under whatever ceilings they were
//! made, tells the next.

use engine::Fault;

/// How near to the target the search tries to come. The promise is 0.05 LU.
const AIM_LU: f64 = 0.02;

/// Renders after which the search gives up: a target beyond what the limiter lets through.
const MOST_TRIES: usize = 10;

/// Gains are rounded to this, so that they can be written down.
const GAIN_STEP_DB: f64 = 0.001;

/// Range of the gain ahead of the limiter: that of the processor `trim`.
pub(crate) const GAIN_RANGE_DB: [f64; 2] = [-60.0, 24.0];

/// Slope of that line until two tries have shown it: a print of a full song; common practice, no source.
const USUAL_BEND: f64 = 0.25;

/// Slopes that are believed, and the step from which two tries can tell one.
const BENDS: [f64; 2] = [0.02, 1.0];
const TELLING_STEP_DB: f64 = 0.05;

/// The farthest step that a guess may take beyond what has been tried.
const LONGEST_STEP_DB: f64 = 6.0;

/// A search that learns from its tries.
pub struct Search {
    /// Loudness without gain and limiter.
    free_lufs: f64,
    /// Slope of the root of what the limiter takes.
    bend: f64,
    last: Option<Try>,
}

/// Where a search ended.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Solved {
    /// Gain ahead of the limiter.
    pub gain_db: f64,
    /// Loudness with it; none if the print is silent.
    pub lufs: Option<f64>,
    /// Renders it took.
    pub tries: usize,
}

/// A try: how far the gain is above the ceiling, and the root of what the limiter took.
#[derive(Clone, Copy)]
struct Try {
    drive_db: f64,
    root: f64,
}

impl Search {
    /// A search for a print that is so loud without gain and limiter.
    #[must_use]
    pub fn new(free_lufs: f64) -> Self {
        Self { free_lufs, bend: USUAL_BEND, last: None }
    }

    /// Searches the gain that gives `target_lufs` under a ceiling (0 without a limiter). `render` renders with a gain and
    /// returns the integrated loudness; its last call is with the gain that is returned.
    ///
    /// # Errors
    /// Those of `render`.
    pub fn gain_for(
        &mut self,
        target_lufs: f64,
        ceiling_dbtp: f64,
        render: &mut dyn FnMut(f64) -> Result<Option<f64>, Fault>,
    ) -> Result<Solved, Fault> {
        let mut gain_db = self.guess(target_lufs, ceiling_dbtp);
        let mut tries = 1;
        loop {
            let lufs = render(gain_db)?;
            let Some(now) = lufs else { return Ok(Solved { gain_db, lufs, tries }) };
            self.learn(gain_db, ceiling_dbtp, now);
            let next = self.guess(target_lufs, ceiling_dbtp);
            if (target_lufs - now).abs() <= AIM_LU || next == gain_db || tries == MOST_TRIES {
                return Ok(Solved { gain_db, lufs, tries });
            }
            (gain_db, tries) = (next, tries + 1);
        }
    }

    fn learn(&mut self, gain_db: f64, ceiling_dbtp: f64, lufs: f64) {
        let now = Try { drive_db: gain_db - ceiling_dbtp, root: (self.free_lufs + gain_db - lufs).max(0.0).sqrt() };
        let before = self.last.replace(now);
        let telling = before.filter(|before| (now.drive_db - before.drive_db).abs() >= TELLING_STEP_DB);
        if let Some(before) = telling {
            let bend = (now.root - before.root) / (now.drive_db - before.drive_db);
            self.bend = bend.clamp(BENDS[0], BENDS[1]);
        }
    }

    /// The gain that should give a loudness. With `r` the root at the last try and `b` the bend, a step of `d` changes
    /// the loudness by `d - ((r + b d)² - r²)`; the smaller root of that equation is the step.
    fn guess(&self, target_lufs: f64, ceiling_dbtp: f64) -> f64 {
        let gain_db = match self.last {
            None => target_lufs - self.free_lufs,
            Some(Try { drive_db, root }) => {
                let reached = self.free_lufs + drive_db + ceiling_dbtp - root * root;
                let (slope, square) = (1.0 - 2.0 * root * self.bend, self.bend * self.bend);
                let under_root = (slope * slope - 4.0 * square * (target_lufs - reached)).max(0.0);
                let step = (slope - under_root.sqrt()) / (2.0 * square);
                drive_db + ceiling_dbtp + step.clamp(-LONGEST_STEP_DB, LONGEST_STEP_DB)
            }
        };
        (gain_db.clamp(GAIN_RANGE_DB[0], GAIN_RANGE_DB[1]) / GAIN_STEP_DB).round() * GAIN_STEP_DB
    }
}

/// The next ceiling to try when a codec's round trip came out at `decoded_dbtp` with the limiter at `ceiling_dbtp` and
/// the wanted ceiling is `wanted_dbtp`. None if it holds. Rounded down to a twentieth of a decibel, so that the last
/// bits of a decoder do not decide.
#[must_use]
pub fn next_ceiling(wanted_dbtp: f64, ceiling_dbtp: f64, decoded_dbtp: f64) -> Option<f64> {
    let over = decoded_dbtp - wanted_dbtp;
    (over > 0.0).then(|| ((ceiling_dbtp - over) * 20.0 - 0.5).floor() / 20.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    const FREE_LUFS: f64 = -20.0;

    /// A soft law that is none of the search's own: 1 LU a dB at first, less and less once the drive passes 10 dB.
    fn limited(gain_db: f64, ceiling_dbtp: f64) -> f64 {
        let drive = gain_db - ceiling_dbtp;
        let past = (drive - 10.0).max(0.0);
        FREE_LUFS + ceiling_dbtp + drive.min(10.0) + 4.0 * (1.0 - libm::exp2(-past / 4.0))
    }

    fn search(target_lufs: f64, ceiling_dbtp: f64, search: &mut Search) -> Solved {
        let solved = search.gain_for(target_lufs, ceiling_dbtp, &mut |gain| Ok(Some(limited(gain, ceiling_dbtp))));
        solved.unwrap()
    }

    #[test]
    fn the_gain_is_found_in_a_few_renders() {
        for (target, most_tries) in [(-23.0, 1), (-14.0, 1), (-9.5, 4), (-7.5, 7)] {
            let solved = search(target, -1.0, &mut Search::new(FREE_LUFS));
            assert!((solved.lufs.unwrap() - target).abs() <= AIM_LU, "{target}: {solved:?}");
            assert!(solved.tries <= most_tries, "{target}: {solved:?}");
            assert_eq!(limited(solved.gain_db, -1.0), solved.lufs.unwrap());
        }
    }

    #[test]
    fn tries_under_one_ceiling_tell_about_the_next() {
        let mut learned = Search::new(FREE_LUFS);
        search(-9.5, -1.0, &mut learned);
        let solved = search(-9.5, -2.0, &mut learned);
        assert!((solved.lufs.unwrap() + 9.5).abs() <= AIM_LU && solved.tries <= 3, "{solved:?}");
    }

    #[test]
    fn a_target_out_of_reach_ends_the_search() {
        let solved = search(-3.0, -1.0, &mut Search::new(FREE_LUFS));
        assert!(solved.lufs.unwrap() < -3.05);
        let silent = Search::new(FREE_LUFS).gain_for(-3.0, -1.0, &mut |_| Ok(None)).unwrap();
        assert_eq!((silent.lufs, silent.tries), (None, 1));
    }

    #[test]
    fn a_ceiling_gives_way_by_what_was_over() {
        assert_eq!(next_ceiling(-1.0, -1.0, -1.2), None);
        assert_eq!(next_ceiling(-1.0, -1.0, -0.83), Some(-1.2));
    }
}
