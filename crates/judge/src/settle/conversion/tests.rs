//! Frames and conversions by their times; all times are exact in binary, so that a count does not hang on the last bit.

use alloc::vec::Vec;

use super::*;

/// Frames ten times a second of a display that converts each `every` frames.
fn show(conversions: &mut Conversions, from_s: f64, values: &[f64], every: usize) -> usize {
    let frames = values.iter().flat_map(|value| core::iter::repeat_n(*value, every));
    frames.enumerate().filter(|(i, value)| conversions.take(from_s + 0.1 * *i as f64, *value)).count()
}

#[test]
fn equal_digits_within_a_conversion_are_one_reading() {
    let mut stated = Conversions::new(Some(1.0), 2.0, 1.0);
    assert_eq!(show(&mut stated, 0.0, &[22.4, 40.0, 40.0], 10), 3);
    let mut unknown = Conversions::new(None, 2.0, 1.0);
    assert_eq!(show(&mut unknown, 0.0, &[22.4, 40.0, 40.0], 10), 2, "40.0 has stood for less than 2 s");
}

#[test]
fn the_pace_that_was_seen_goes_over_to_another_range() {
    let mut before = Conversions::new(None, 2.0, 100.0);
    let _ = show(&mut before, 0.0, &[40.01, 40.02, 40.01, 40.03, 40.02], 3);
    let Pace::Measured(run_s) = before.length_s().1 else { panic!("{:?}", before.length_s()) };
    assert!((run_s - 0.3).abs() < 1e-9);
    let mut after = Conversions::new(None, 2.0, 100.0);
    assert!(matches!(after.length_s().1, Pace::Assumed(_)));
    after.take_pace(&before);
    assert_eq!(after.length_s(), before.length_s());
}

/// Whether each frame is a new conversion; `(time, value)`.
fn fresh(conversions: &mut Conversions, frames: &[(f64, f64)]) -> Vec<bool> {
    frames.iter().map(|(t_s, value)| conversions.take(*t_s, *value)).collect()
}

/// Times of the frames that are counted, of a display that stands at 5 and is sent every `gap_s` from 0 to `until_s`.
fn counted(conversions: &mut Conversions, gap_s: f64, until_s: f64) -> Vec<f64> {
    let times = (0..).map(|i| gap_s * f64::from(i)).take_while(|t_s| *t_s <= until_s);
    times.filter(|t_s| conversions.take(*t_s, 5.0)).collect()
}

/// Frames every 0.25 s whose digits change at each of these times (multiples of 0.25), by `step`, up and down.
fn changes(conversions: &mut Conversions, from_s: f64, at_s: &[f64], step: f64) {
    let end_s = at_s.last().copied().unwrap_or(from_s);
    for t_s in (0..).map(|i| from_s + 0.25 * f64::from(i)).take_while(|t_s| *t_s <= end_s) {
        let changed = at_s.iter().filter(|at_s| **at_s <= t_s).count();
        let _ = conversions.take(t_s, step * (changed % 2) as f64);
    }
}

fn near(conversions: &Conversions, length_s: f64) -> bool {
    (conversions.length_s().0 - length_s).abs() < 1e-9
}

#[test]
fn standing_digits_are_new_once_a_conversion_time_has_passed() {
    // Four frames to the second, one conversion a second: each fourth frame.
    assert_eq!(counted(&mut Conversions::new(Some(1.0), 9.0, 1.0), 0.25, 3.0), [0.0, 1.0, 2.0, 3.0]);
    // Frames do not fall on the conversions: the first frame after each whole second, and the seconds do not slip.
    assert_eq!(counted(&mut Conversions::new(Some(1.0), 9.0, 1.0), 0.375, 3.0), [0.0, 1.125, 2.25, 3.0]);
}

#[test]
fn an_assumed_conversion_takes_a_frame_more_for_it_may_have_begun_right_after_one() {
    // 1 s assumed and 0.25 s between frames: 1.25 s.
    let mut assumed = Conversions::new(None, 1.0, 1.0);
    assert_eq!(counted(&mut assumed, 0.25, 4.0), [0.0, 1.25, 2.5, 3.75]);
    assert_eq!(assumed.length_s(), (1.25, Pace::Assumed(1.0)));
}

#[test]
fn a_display_that_sends_no_faster_than_it_converts_shows_a_conversion_a_frame() {
    // A frame a second; of conversions up to 1.2 s each frame is one.
    assert_eq!(counted(&mut Conversions::new(Some(1.2), 9.0, 1.0), 1.0, 4.0).len(), 5);
    assert_eq!(counted(&mut Conversions::new(Some(1.25), 9.0, 1.0), 1.0, 4.0), [0.0, 2.0, 3.0, 4.0]);
    // The conversion begins with such a frame: the next is counted a whole one later.
    let mut late = Conversions::new(Some(1.0), 9.0, 1.0);
    let frames = [(0.0, 5.0), (0.5, 5.0), (2.0, 5.0), (2.5, 5.0), (2.75, 5.0), (3.0, 5.0)];
    assert_eq!(fresh(&mut late, &frames), [true, false, true, false, false, true]);
}

#[test]
fn digits_that_change_are_new_at_once_and_the_time_counts_from_there() {
    let mut stated = Conversions::new(Some(1.0), 9.0, 10.0);
    let frames = [(0.0, 5.0), (0.5, 5.5), (0.75, 5.0), (1.25, 5.0), (1.5, 5.0), (1.75, 5.0)];
    assert_eq!(fresh(&mut stated, &frames), [true, true, true, false, false, true]);
}

#[test]
fn after_lifted_leads_the_same_digits_are_a_new_conversion_and_the_pace_stays() {
    let mut seen = Conversions::new(None, 9.0, 100.0);
    changes(&mut seen, 0.0, &[0.5, 1.0, 1.5], 1.0);
    // Two conversions at least from the frame at 0.25 s to that at 1.5 s.
    assert_eq!(seen.length_s().1, Pace::Measured(0.5));
    assert!(near(&seen, 0.625));
    seen.interrupt();
    assert_eq!(fresh(&mut seen, &[(1.75, 1.0), (2.0, 1.0), (2.25, 1.0)]), [true, false, false]);
    assert!(near(&seen, 0.625), "{:?}", seen.length_s());
    // How long the digits had stood before nobody saw: no run, neither of 0.75 s nor longer.
    let _ = fresh(&mut seen, &[(2.5, 0.0)]);
    assert_eq!(seen.length_s().1, Pace::Measured(0.5));
    let _ = fresh(&mut seen, &[(2.75, 0.0), (3.0, 0.0), (3.25, 1.0)]);
    assert_eq!(seen.length_s().1, Pace::Measured(0.75), "this one began with a change");
}

#[test]
fn two_whole_runs_measure_the_pace_and_the_longest_counts() {
    let mut seen = Conversions::new(None, 9.0, 100.0);
    // What stood before the first change began unseen; 0.5 is the first whole run, 0.75 the second.
    changes(&mut seen, 0.0, &[0.25, 0.75], 1.0);
    assert_eq!(seen.length_s(), (9.25, Pace::Assumed(9.0)));
    let mut seen = Conversions::new(None, 9.0, 100.0);
    changes(&mut seen, 0.0, &[0.25, 1.0, 1.5], 1.0);
    assert_eq!(seen.length_s().1, Pace::Measured(0.75));
    assert!(near(&seen, 0.75), "two conversions from 0 to 1.5 s: {:?}", seen.length_s());
}

#[test]
fn so_many_changes_in_so_short_a_time_are_as_many_conversions() {
    // Changes at 0.5, 0.75, 1.0: from the frame at 0.25 two conversions ended in 0.75 s; and so on.
    let length = |changed: usize| {
        let mut seen = Conversions::new(None, 9.0, 100.0);
        let at: Vec<f64> = (0..changed).map(|i| 0.5 + 0.25 * i as f64).collect();
        changes(&mut seen, 0.0, &at, 1.0);
        seen.length_s().0
    };
    assert_eq!([length(3), length(4), length(5)], [0.375, 1.0 / 3.0, 0.3125]);
    // No more than eight conversions are looked back over: 2.25 s.
    assert_eq!((length(9), length(20)), (0.28125, 0.28125));
    // Six changes at four frames a second: nearly one a frame, so each frame is a conversion, also where the digits stand.
    let mut seen = Conversions::new(None, 9.0, 100.0);
    changes(&mut seen, 0.0, &[0.5, 0.75, 1.0, 1.25, 1.5, 1.75], 1.0);
    assert_eq!(fresh(&mut seen, &[(2.0, 0.0), (2.25, 0.0), (2.5, 0.0)]), [true; 3]);
    // What was seen stays, though later runs are long; but a value that moves and stands longer shows that it is not so.
    let _ = fresh(&mut seen, &[(4.5, 1.0), (6.5, 0.0)]);
    assert!(near(&seen, 0.3), "{:?}", seen.length_s());
    let _ = fresh(&mut seen, &[(7.0, 100.0), (9.0, 200.0)]);
    assert!(near(&seen, 1.1 * 2.0), "{:?}", seen.length_s());
}

#[test]
fn frames_that_were_held_up_together_say_nothing_of_the_pace() {
    // One conversion a second, a frame a second; three frames are held up and arrive together.
    let mut seen = Conversions::new(None, 9.0, 100.0);
    let held_up =
        [(0.0, 0.0), (1.0, 1.0), (2.0, 2.0), (5.0, 3.0), (5.015625, 4.0), (5.03125, 5.0), (6.0, 6.0)];
    let _ = fresh(&mut seen, &held_up);
    assert!(seen.length_s().0 > 1.0, "{:?}", seen.length_s());
    // Nor does a change before an interruption go with one after it.
    let mut seen = Conversions::new(None, 9.0, 100.0);
    changes(&mut seen, 0.0, &[0.5, 0.75], 1.0);
    seen.interrupt();
    changes(&mut seen, 1.0, &[1.25, 1.75], 1.0);
    assert!(near(&seen, 1.1 * 0.5 + 0.25), "{:?}", seen.length_s());
}

#[test]
fn the_longest_of_the_last_eight_runs_counts() {
    // One run of 1 s, then runs of 0.5 s: with the eighth of these the long one is forgotten.
    let at = |shorter: usize| -> Vec<f64> {
        [0.25, 1.25].into_iter().chain((1..=shorter).map(|i| 1.25 + 0.5 * i as f64)).collect()
    };
    let measured = |shorter: usize| {
        let mut seen = Conversions::new(None, 9.0, 100.0);
        changes(&mut seen, 0.0, &at(shorter), 1.0);
        seen.length_s().1
    };
    assert_eq!(measured(7), Pace::Measured(1.0));
    assert_eq!(measured(8), Pace::Measured(0.5));
    // And the newer of two long ones stays: eight runs after it at the earliest.
    let mut seen = Conversions::new(None, 9.0, 100.0);
    changes(&mut seen, 0.0, &at(9), 1.0);
    let last_s = 1.25 + 0.5 * 9.0;
    for i in 0..9 {
        let _ = seen.take(last_s + 1.5 + 0.5 * f64::from(i), f64::from(i + 2));
        assert_eq!(seen.length_s().1, Pace::Measured(if i < 8 { 1.5 } else { 0.5 }), "{i}");
    }
}

#[test]
fn a_measured_time_counts_only_where_it_is_shorter_than_the_assumed() {
    let longest_s = 0.625;
    for (longest_s, pace) in [(longest_s, Pace::Assumed(longest_s)), (longest_s + 0.001, Pace::Measured(0.5))]
    {
        let mut seen = Conversions::new(None, longest_s, 100.0);
        changes(&mut seen, 0.0, &[0.5, 1.0, 1.5], 1.0);
        assert_eq!(seen.length_s().1, pace);
    }
}

#[test]
fn runs_between_big_steps_show_that_a_stated_time_is_too_short() {
    let length_s = |at_s: &[f64], step: f64| {
        let mut stated = Conversions::new(Some(0.5), 9.0, 10.0);
        changes(&mut stated, 0.0, at_s, step);
        assert_eq!(stated.length_s().1, Pace::Stated(0.5));
        stated.length_s().0
    };
    // Runs of 1 s: a tenth more, and a frame less, for the change may have come right after the frame before.
    assert!((length_s(&[0.25, 1.25, 2.25], 10.0) - 0.85).abs() < 1e-9);
    // A smaller step may be noise on a value that stands.
    assert_eq!(length_s(&[0.25, 1.25, 2.25], 9.9), 0.5);
    // More than two of the stated time is no conversion: the value stood.
    assert_eq!(length_s(&[0.25, 1.5, 2.75], 10.0), 0.5);
    // The first run counts, though its beginning was not seen: it can only have been longer.
    assert!((length_s(&[1.0], 10.0) - 0.85).abs() < 1e-9);
    // The longest counts, not the last.
    assert!((length_s(&[1.0, 1.75], 10.0) - 0.85).abs() < 1e-9);
}

#[test]
fn a_run_counts_as_moving_only_between_two_big_steps() {
    // Up by 1, and 1 s later by 20: the value may have stood all the while.
    let mut stated = Conversions::new(Some(0.5), 9.0, 10.0);
    let small_first = [(0.0, 0.0), (0.25, 1.0), (0.5, 1.0), (0.75, 1.0), (1.0, 1.0), (1.25, 21.0)];
    let _ = fresh(&mut stated, &small_first);
    assert_eq!(stated.length_s().0, 0.5);
    // A whole second more, to the next big step, is one.
    let _ = fresh(&mut stated, &[(1.5, 21.0), (1.75, 21.0), (2.0, 21.0), (2.25, 41.0)]);
    assert!(near(&stated, 0.85), "{:?}", stated.length_s());
}

#[test]
fn runs_between_big_steps_longer_than_assumed_lengthen_what_is_assumed() {
    let mut assumed = Conversions::new(None, 1.0, 10.0);
    changes(&mut assumed, 0.0, &[1.5, 3.0, 4.5], 20.0);
    // 1.1 x 1.5 s, and a frame for the count.
    let Pace::Assumed(longest_s) = assumed.length_s().1 else { panic!("{:?}", assumed.length_s()) };
    assert!((longest_s - 1.65).abs() < 1e-9 && near(&assumed, 1.9));
}

#[test]
fn the_longest_gap_of_late_counts_as_the_time_between_frames_and_fades_by_quarters() {
    let mut assumed = Conversions::new(None, 9.0, 1.0);
    let _ = fresh(&mut assumed, &[(0.0, 5.0), (0.5, 5.0)]);
    assert!(near(&assumed, 9.5));
    // A frame is lost: at once. Then three quarters of what it was and one of what comes.
    let _ = fresh(&mut assumed, &[(1.5, 5.0)]);
    assert!(near(&assumed, 10.0));
    let _ = fresh(&mut assumed, &[(2.0, 5.0)]);
    assert!(near(&assumed, 9.0 + 0.875));
}

#[test]
fn a_conversion_is_counted_once_though_the_time_that_counts_has_become_shorter() {
    // A stated 0.5 s, but a run of 1 s between big steps: 1.1 s less a frame.
    let mut stated = Conversions::new(Some(0.5), 9.0, 10.0);
    let _ = fresh(&mut stated, &[(0.0, 0.0), (0.125, 0.0)]);
    for i in 2..8 {
        let _ = stated.take(0.125 * f64::from(i), 0.0);
    }
    let standing: Vec<(f64, f64)> = (8..16).map(|i| (0.125 * f64::from(i), 20.0)).collect();
    assert_eq!(fresh(&mut stated, &standing).into_iter().filter(|fresh| *fresh).count(), 1);
    assert!(near(&stated, 0.975));
    // A late frame takes that to 0.63 s: more than two of these have gone by, and this frame shows one conversion. The next
    // frame shows none.
    assert_eq!(fresh(&mut stated, &[(2.34375, 20.0), (2.46875, 20.0)]), [true, false]);
}
