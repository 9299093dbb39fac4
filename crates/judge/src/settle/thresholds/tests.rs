//! When thresholds are asked for, and when what was told before will do.

use alloc::vec;

use super::*;

/// Takes one reading seen from `estimate`; how often it asked, and what `then` gave.
fn reading<T>(
    thresholds: &mut Thresholds,
    estimate: f64,
    answer: &[f64],
    then: impl FnOnce(&mut Asking<'_, '_>) -> T,
) -> (u32, T) {
    let mut asked = 0;
    let mut ask = || {
        asked += 1;
        answer.to_vec()
    };
    let given = then(&mut thresholds.asking(Some(&mut ask), estimate));
    (asked, given)
}

fn look(thresholds: &mut Thresholds) -> u32 {
    reading(thresholds, 5.0, &[5.0], |_| ()).0
}

#[test]
fn only_finite_thresholds_are_kept_and_the_last_told_count() {
    let mut thresholds = Thresholds::default();
    assert!(thresholds.known().is_empty());
    thresholds.set(&[1.0, f64::NAN, f64::INFINITY, 2.0]);
    assert_eq!(thresholds.known(), [1.0, 2.0]);
    thresholds.set(&[3.0]);
    assert_eq!(thresholds.known(), [3.0]);
    // Without a way to ask, these are those of now.
    let mut asking = thresholds.asking(None, 5.0);
    assert_eq!((asking.known().to_vec(), asking.now().to_vec()), (vec![3.0], vec![3.0]));
}

#[test]
fn they_are_asked_for_at_the_first_reading_and_then_after_eight() {
    let mut thresholds = Thresholds::default();
    let asked: Vec<u32> = (0..20).map(|_| look(&mut thresholds)).collect();
    assert_eq!(asked, [1, 0, 0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0, 0, 1, 0]);
}

#[test]
fn within_one_reading_they_are_asked_for_once_at_most() {
    let mut thresholds = Thresholds::default();
    let (asked, now) = reading(&mut thresholds, 5.0, &[4.0], |asking| {
        assert_eq!(asking.known(), [4.0]);
        let _ = asking.now();
        asking.now().to_vec()
    });
    assert_eq!((asked, now), (1, vec![4.0]));
    // Where it decides, those of this moment; what was known before serves what is shown.
    let (asked, (known, now)) =
        reading(&mut thresholds, 5.0, &[4.5], |asking| (asking.known().to_vec(), asking.now().to_vec()));
    assert_eq!((asked, known, now), (1, vec![4.0], vec![4.5]));
    // And that answer is eight readings old only eight readings later.
    assert!((0..8).all(|_| look(&mut thresholds) == 0) && look(&mut thresholds) == 1);
}

/// Told a threshold of 5 as seen from 5; then, seen from `estimate`, whether it leaves doubt in this interval and whether that had to
/// be asked. The answer would be that there is none near.
fn doubt(estimate: f64, low: f64, high: f64) -> (u32, bool) {
    let mut thresholds = Thresholds::default();
    let _ = look(&mut thresholds);
    reading(&mut thresholds, estimate, &[100.0], |asking| asking.leave_doubt(Interval { low, high }))
}

#[test]
fn a_threshold_a_sixteenth_of_the_width_inside_leaves_doubt_without_being_asked() {
    // 16 wide: one from either end.
    assert_eq!(doubt(5.0, 4.0, 20.0), (0, true));
    assert_eq!(doubt(5.0, 4.01, 20.01), (1, false));
    assert_eq!(doubt(5.0, -10.0, 6.0), (0, true));
    assert_eq!(doubt(5.0, -10.01, 5.99), (1, false));
    // Seen from half the width away or more it may have moved.
    assert_eq!((doubt(13.0, 4.0, 20.0), doubt(13.01, 4.0, 20.0)), ((0, true), (1, false)));
    assert_eq!((doubt(-3.0, 4.0, 20.0), doubt(-3.01, 4.0, 20.0)), ((0, true), (1, false)));
    // Nothing is inside an interval without ends.
    assert_eq!(doubt(5.0, f64::NEG_INFINITY, f64::INFINITY), (1, true));
}

#[test]
fn what_was_set_and_never_asked_for_is_compared_as_it_is() {
    let mut thresholds = Thresholds::default();
    thresholds.set(&[5.0]);
    let mut asking = thresholds.asking(None, 5.0);
    assert!(asking.leave_doubt(Interval { low: 4.9, high: 5.1 }));
    assert!(!asking.leave_doubt(Interval { low: 5.1, high: 5.2 }));
}
