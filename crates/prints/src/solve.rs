//! Finding the gain ahead of the limiter that gives a print its loudness, and the ceiling that survives a codec.

use engine::Fault;

/// How near to the target the search tries to come. The promise is 0.05 LU.
const AIM_LU: f64 = 0.02;

/// Renders after which the search gives up: a target beyond what the limiter lets through.
const MOST_TRIES: usize = 10;

/// Gains are rounded to this, so that they can be written down.
const GAIN_STEP_DB: f64 = 0.001;

/// Loudness units that a decibel of gain brings where nothing limits.
pub const FREE_SLOPE: f64 = 1.0;

/// Range of the gain ahead of the limiter: that of the processor `trim`.
const GAIN_RANGE_DB: [f64; 2] = [-60.0, 24.0];

/// Where a search ended.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Solved {
    /// Gain ahead of the limiter.
    pub gain_db: f64,
    /// Loudness with it; none if the print is silent.
    pub lufs: Option<f64>,
    /// Loudness units that a decibel of gain brings there, as far as it is known.
    pub slope: f64,
    /// Renders it took.
    pub tries: usize,
}

/// Searches the gain that gives `target_lufs`. `render` renders with a gain and returns the integrated loudness; its
/// last call is with the gain that is returned. `start_db` and `slope` are the first guesses.
///
/// Secant steps: below the limiter a decibel of gain is a loudness unit, above it less, ever more so.
///
/// # Errors
/// Those of `render`.
pub fn gain_for(
    target_lufs: f64,
    start_db: f64,
    slope: f64,
    render: &mut dyn FnMut(f64) -> Result<Option<f64>, Fault>,
) -> Result<Solved, Fault> {
    let round = |gain: f64| (gain.clamp(GAIN_RANGE_DB[0], GAIN_RANGE_DB[1]) / GAIN_STEP_DB).round() * GAIN_STEP_DB;
    let (mut gain_db, mut slope) = (round(start_db), slope);
    let mut before: Option<(f64, f64)> = None;
    for tries in 1..=MOST_TRIES {
        let lufs = render(gain_db)?;
        let Some(now) = lufs else { return Ok(Solved { gain_db, lufs, slope, tries }) };
        let missing = target_lufs - now;
        let seen = before.map(|(gain, lufs)| (now - lufs) / (gain_db - gain)).filter(|slope| slope.is_finite());
        // Far from what a limiter does, the two points were too close to tell.
        slope = seen.unwrap_or(slope).clamp(0.1, FREE_SLOPE);
        let next = round(gain_db + missing / slope);
        if missing.abs() <= AIM_LU || next == gain_db || tries == MOST_TRIES {
            return Ok(Solved { gain_db, lufs, slope, tries });
        }
        before = Some((gain_db, now));
        gain_db = next;
    }
    unreachable!("the last try returns")
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

    /// A soft law: 1 LU a dB at first, less and less above -10 LUFS.
    fn limited(gain_db: f64) -> f64 {
        let free = -20.0 + gain_db;
        if free < -10.0 { free } else { -10.0 + 4.0 * (1.0 - libm::exp2(-(free + 10.0) / 4.0)) }
    }

    #[test]
    fn the_gain_is_found_in_a_few_renders() {
        for target in [-23.0, -14.0, -9.5, -7.5] {
            let solved = gain_for(target, target + 20.0, FREE_SLOPE, &mut |gain| Ok(Some(limited(gain)))).unwrap();
            assert!((solved.lufs.unwrap() - target).abs() <= 0.05, "{target}: {solved:?}");
            assert!(solved.tries <= 7, "{solved:?}");
            assert_eq!(limited(solved.gain_db), solved.lufs.unwrap());
        }
    }

    #[test]
    fn a_target_out_of_reach_ends_the_search() {
        let solved = gain_for(-3.0, 10.0, FREE_SLOPE, &mut |gain| Ok(Some(limited(gain)))).unwrap();
        assert!(solved.lufs.unwrap() < -3.05);
        let silent = gain_for(-3.0, 10.0, FREE_SLOPE, &mut |_| Ok(None)).unwrap();
        assert_eq!((silent.lufs, silent.tries), (None, 1));
    }

    #[test]
    fn a_ceiling_gives_way_by_what_was_over() {
        assert_eq!(next_ceiling(-1.0, -1.0, -1.2), None);
        assert_eq!(next_ceiling(-1.0, -1.0, -0.83), Some(-1.2));
    }
}
