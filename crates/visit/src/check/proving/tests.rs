//! The proof of a hold point by itself: which device has shown what. What each kind of proof takes is tested beside them.
use alloc::format;

use super::*;
use crate::testing::reading;

/// Leads of so many devices that are to be proved, at ten readings a second; `push` feeds one reading of each in turn.
struct Bench {
    proving: Proving,
    ms: i64,
}

impl Bench {
    fn of(hold_point: &str) -> Self {
        Self { proving: Proving::new(hold_point).unwrap(), ms: 0 }
    }

    /// So many readings of a display from each of these devices; the device that has shown the hold point with one of them.
    fn play(&mut self, devices: &[&str], display: &str, times: usize) -> Option<(String, Proved)> {
        for _ in 0..times {
            self.ms += 100;
            for device in devices {
                let proved = self.proving.push(device, &reading(self.ms, display));
                if proved != Proved::Nothing {
                    return Some((String::from(*device), proved));
                }
            }
        }
        None
    }
}

/// As many readings as leads need that are together, or apart.
const LONG: usize = 30;

fn leads_shown_by(device: &str) -> Option<(String, Proved)> {
    let says = "leads together: 0.12 ohm; leads apart: open";
    Some((String::from(device), Proved::Shown(String::from(says))))
}

#[test]
fn only_what_a_stream_can_show_is_proved() {
    assert!(Proving::new("locked out").is_none());
    assert!(Proving::new("belt guard on").is_none(), "an unknown one");
    let of = |name: &str| Proving::new(name).map(|proving| proving.ends_on_live_source());
    assert_eq!(of("proved dead"), Some(true), "live, dead, live again");
    assert_eq!((of("discharged"), of("leads proved")), (Some(false), Some(false)));
}

#[test]
fn leads_of_one_meter_prove_nothing_of_anothers() {
    let mut bench = Bench::of("leads proved");
    assert_eq!(bench.play(&["old"], "0.12 ohm", LONG), None);
    assert_eq!(bench.play(&["new"], "OL ohm", LONG), None, "together on one, apart on the other");
    assert_eq!(bench.play(&["old"], "OL ohm", LONG), leads_shown_by("old"));
}

#[test]
fn channels_of_one_device_are_apart_too() {
    let mut proving = Proving::new("leads proved").unwrap();
    let mut push = |channel, from: i64, display| {
        let all = (from..from + 30).map(|tick| Reading { channel, ..reading(100 * tick, display) });
        all.map(|reading| proving.push("logger", &reading)).find(|proved| *proved != Proved::Nothing)
    };
    assert_eq!(push(0, 0, "0.12 ohm"), None);
    assert_eq!(push(1, 30, "OL ohm"), None);
    assert!(push(0, 60, "OL ohm").is_some());
}

#[test]
fn two_devices_prove_at_the_same_time() {
    let mut bench = Bench::of("leads proved");
    assert_eq!(bench.play(&["left", "right"], "0.12 ohm", LONG), None);
    assert_eq!(bench.play(&["right"], "OL ohm", LONG), leads_shown_by("right"));
    assert_eq!(bench.play(&["left"], "OL ohm", LONG), leads_shown_by("left"));
}

#[test]
fn a_lost_link_costs_only_its_own_device() {
    let mut bench = Bench::of("leads proved");
    assert_eq!(bench.play(&["left", "right"], "0.12 ohm", LONG), None);
    assert!(!bench.proving.lose("third"), "it was not under way");
    assert!(bench.proving.lose("left"));
    assert_eq!(bench.proving.says(), "", "what it waited for is past");
    assert!(!bench.proving.lose("left"), "there is nothing left to lose");
    assert_eq!(bench.play(&["left"], "OL ohm", LONG), None, "the lost one begins anew");
    assert_eq!(bench.play(&["right"], "OL ohm", LONG), leads_shown_by("right"));
}

#[test]
fn power_or_a_no_makes_every_device_begin_anew() {
    for forget in [Proving::forget, Proving::begin_anew] {
        let mut bench = Bench::of("leads proved");
        assert_eq!(bench.play(&["left", "right"], "0.12 ohm", LONG), None);
        forget(&mut bench.proving);
        assert_eq!(bench.play(&["left", "right"], "OL ohm", LONG), None);
    }
}

#[test]
fn it_says_what_it_waits_for() {
    let mut bench = Bench::of("leads proved");
    assert_eq!(bench.proving.says(), "");
    let _ = bench.play(&["meter"], "0.12 ohm", 1);
    assert_eq!(bench.proving.says(), "clip the leads together and hold");
    let _ = bench.play(&["meter"], "0.12 ohm", LONG);
    assert_eq!(bench.proving.says(), "leads together: 0.12 ohm; now take the leads apart");
    let _ = bench.play(&["probe"], "21.5 °C", 1);
    assert_eq!(
        bench.proving.says(),
        "leads together: 0.12 ohm; now take the leads apart",
        "not of this proof"
    );
    bench.proving.begin_anew();
    assert_eq!(bench.proving.says(), "");
}

#[test]
fn what_leads_in_the_air_show_too_is_shown_only_if_they_were_on() {
    let mut bench = Bench::of("discharged");
    let (_, proved) = bench.play(&["meter"], "0.0 V dc", 2 * LONG).unwrap();
    assert!(matches!(proved, Proved::ShownIfOn(_)), "{proved:?}");
}

#[test]
fn more_than_eight_devices_at_once_are_ignored() {
    let mut bench = Bench::of("leads proved");
    let names: Vec<String> = (1..=PROVING_MAX).map(|number| format!("meter {number}")).collect();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    let all: Vec<&str> = names.iter().copied().chain(["one too many"]).collect();
    assert_eq!(bench.play(&all, "0.12 ohm", LONG), None);
    assert_eq!(bench.play(&["one too many"], "OL ohm", 5), None);
    for name in names {
        assert_eq!(bench.play(&[name], "OL ohm", 5), leads_shown_by(name));
    }
}

#[test]
fn devices_that_measure_something_else_take_no_place_from_the_meter() {
    let mut bench = Bench::of("leads proved");
    let probes: Vec<String> = (0..2 * PROVING_MAX).map(|number| format!("probe {number}")).collect();
    let probes: Vec<&str> = probes.iter().map(String::as_str).collect();
    assert_eq!(bench.play(&probes, "21.5 °C", 3), None);
    assert_eq!(bench.play(&["meter"], "0.12 ohm", LONG), None);
    assert_eq!(bench.play(&["meter"], "OL ohm", LONG), leads_shown_by("meter"));
}
