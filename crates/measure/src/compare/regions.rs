//! Where two spectra differ, in words: neighbouring bands that differ the same way are one place.

/// Neighbouring third-octave bands that differ alike.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Region {
    /// Nominal centre of the lowest band.
    pub from_hz: f64,
    /// Nominal centre of the highest.
    pub to_hz: f64,
    /// Mean difference.
    pub db: f64,
}

impl Region {
    /// `around 2 kHz`, `at 63 to 125 Hz`, `at 800 Hz to 2 kHz`.
    pub(crate) fn place(&self) -> String {
        let Self { from_hz, to_hz, .. } = *self;
        let name = |hz: f64| if hz >= 1000.0 { format!("{} kHz", hz / 1000.0) } else { format!("{hz} Hz") };
        if from_hz == to_hz {
            return format!("around {}", name(from_hz));
        }
        let same_unit = (from_hz >= 1000.0) == (to_hz >= 1000.0);
        let from = name(from_hz);
        let from = if same_unit { from.split(' ').next().unwrap_or_default() } else { &from };
        format!("at {from} to {}", name(to_hz))
    }
}

/// The places that differ most, the largest first: around each largest difference of at least `least_db`, the
/// neighbours that share its sign and at least half of it. What trails off beside a place, of its sign and under its half,
/// belongs to no other. Bands without a value part places.
pub(crate) fn regions(bands: &[(f64, Option<f64>)], least_db: f64, most: usize) -> Vec<Region> {
    let mut left: Vec<Option<f64>> = bands.iter().map(|(_, db)| *db).collect();
    let mut found = Vec::new();
    while found.len() < most {
        let size = |band: &usize| left[*band].map_or(0.0, f64::abs);
        let Some(peak) = (0..left.len()).max_by(|a, b| size(a).total_cmp(&size(b))) else { break };
        let Some(most_db) = left[peak].filter(|db| db.abs() >= least_db) else { break };
        let share = |band: &usize| left[*band].map_or(-1.0, |db| db / most_db);
        let from = (0..=peak).rev().take_while(|band| share(band) >= 0.5).last().unwrap_or(peak);
        let to = (peak..left.len()).take_while(|band| share(band) >= 0.5).last().unwrap_or(peak);
        let trails = |band: &usize| (0.0..0.5).contains(&share(band));
        let first = (0..from).rev().take_while(trails).last().unwrap_or(from);
        let last = (to + 1..left.len()).take_while(trails).last().unwrap_or(to);
        let sum: f64 = left[from..=to].iter().flatten().sum();
        found.push(Region { from_hz: bands[from].0, to_hz: bands[to].0, db: sum / (to + 1 - from) as f64 });
        left[first..=last].fill(None);
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn neighbours_that_share_half_of_the_largest_are_one_place() {
        let hz = [50.0, 63.0, 80.0, 100.0, 630.0, 800.0, 1000.0, 1250.0];
        let db = [0.4, 1.2, 2.0, 1.6, 0.2, -1.5, -3.0, -1.0];
        let bands: Vec<(f64, Option<f64>)> = hz.into_iter().zip(db.map(Some)).collect();
        let found = regions(&bands, 1.0, 4);
        let said: Vec<(String, f64)> = found.iter().map(|region| (region.place(), region.db)).collect();
        assert_eq!(said[0], ("at 800 Hz to 1 kHz".to_owned(), -2.25));
        assert_eq!(said[1].0, "at 63 to 100 Hz");
        assert!((said[1].1 - 1.6).abs() < 1e-12);
        assert_eq!(said.len(), 2, "1.25 kHz only trails off: {said:?}");
        let alone = [(100.0, Some(3.0)), (125.0, None), (160.0, Some(2.0)), (200.0, Some(0.5)), (250.0, Some(1.9))];
        let places: Vec<String> = regions(&alone, 1.0, 4).iter().map(Region::place).collect();
        assert_eq!(places, ["around 100 Hz", "around 160 Hz", "around 250 Hz"]);
        assert_eq!(regions(&bands, 3.5, 4), []);
        assert_eq!(regions(&[], 1.0, 4), []);
    }
}
