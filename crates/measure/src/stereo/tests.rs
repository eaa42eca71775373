//! Tests of the stereo image, against figures from outside.

use super::*;

/// Uncorrelated mid and side of given powers: `L = M + S`, `R = M - S`.
fn mid_side(mid: f64, side: f64) -> StereoPower {
    StereoPower { left: mid + side, right: mid + side, product: mid - side }
}

#[test]
fn correlation_of_uncorrelated_mid_and_side_has_its_closed_form() {
    // r = (PM - PS) / (PM + PS); the figures from `(1 - x) / (1 + x)`, x = 10^(dB/10).
    let table = [(-30.0, 0.998002), (-12.0, 0.881298), (-6.0, 0.59848), (-3.0, 0.332279), (0.0, 0.0), (6.0, -0.59848)];
    for (side_db, correlation) in table {
        let image = mid_side(1.0, libm::pow(10.0, side_db / 10.0)).image();
        assert!((image.correlation.expect("defined") - correlation).abs() < 1e-6, "{side_db}");
        assert!((image.width_db.expect("defined") - side_db).abs() < 1e-9);
    }
}

#[test]
fn fold_down_loses_the_side() {
    // Level lost in mono for S/M of -6 dB: 10 log10(1 + 10^-0.6) = 0.9732 dB; for 0 dB: 3.0103 dB.
    for (side_db, loss_db) in [(-6.0, 0.9732), (0.0, 3.0103)] {
        let image = mid_side(0.3, 0.3 * libm::pow(10.0, side_db / 10.0)).image();
        assert!((image.fold_down_loss_db.expect("defined") - loss_db).abs() < 1e-4);
    }
    let mono = StereoPower { left: 0.5, right: 0.5, product: 0.5 }.image();
    assert_eq!((mono.fold_down_loss_db, mono.correlation, mono.width_db), (Some(0.0), Some(1.0), None));
}

#[test]
fn a_source_on_one_side_has_its_closed_form() {
    // Half-sum convention: hard left gives mid and side 6.02 dB below the source, both alike.
    let image = StereoPower { left: 1.0, right: 0.0, product: 0.0 }.image();
    assert!((image.mid_db.expect("defined") + 6.0206).abs() < 1e-4);
    assert!((image.fold_down_loss_db.expect("defined") - 3.0103).abs() < 1e-4);
    assert_eq!((image.width_db, image.balance_db, image.correlation), (Some(0.0), None, None));
    let right_louder = StereoPower { left: 0.1, right: 1.0, product: 0.0 }.image();
    assert!((right_louder.balance_db.expect("defined") - 10.0).abs() < 1e-9);
}

#[test]
fn silence_and_opposite_polarity_are_told_apart() {
    assert_eq!(StereoPower::default().image(), StereoImage::default());
    let opposite = StereoPower { left: 0.2, right: 0.2, product: -0.2 }.image();
    assert_eq!((opposite.correlation, opposite.mid_db, opposite.fold_down_loss_db), (Some(-1.0), None, None));
}
