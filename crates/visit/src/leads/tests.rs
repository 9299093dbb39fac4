//! Leads by themselves: whose value a contact keeps others from, and what ends it. Rounds as data test them with a check around.
use alloc::format;

use quantity::Reading;

use super::*;
use crate::testing::{bound, held, job, point, reading};

/// The leads of `meter` after C to HERM of this job has read 40.00 uF.
fn after_c_herm(job: &Job) -> Leads {
    let mut leads = Leads::default();
    leads.remember(contact(job, "c_herm", "meter", "40.00 uF"));
    leads
}

fn contact(job: &Job, of: &str, device: &str, display: &str) -> Contact {
    let shown = reading(0, display);
    let State::Value(value) = shown.state else { panic!("{display}") };
    Contact::new(job, of, DeviceChannel::new(device, 0), shown.display, value.to_f64())
}

fn two_capacitances() -> Job {
    job(&[("c_herm", "uF"), ("c_fan", "uF")])
}

fn on_component(component: &str) -> Job {
    let mut job = two_capacitances();
    job.plan.component = component.into();
    job
}

/// Whether 40.00 uF on `meter` is kept from this point.
fn blocks(leads: &Leads, job: &Job, name: &str) -> bool {
    leads.block(job, &point(name, "uF"), "meter", &reading(0, "40.00 uF"))
}

fn watch(leads: &mut Leads, job: &Job, readings: &[Reading]) {
    readings.iter().for_each(|reading| leads.watch(Some(job), "meter", reading));
}

#[test]
fn leads_that_stay_on_give_no_other_point_its_value() {
    let job = two_capacitances();
    let leads = after_c_herm(&job);
    assert!(blocks(&leads, &job, "c_fan"));
    assert!(!blocks(&leads, &job, "c_herm"), "its own point may be taken again");
}

#[test]
fn only_the_same_function_of_the_same_channel_is_kept_back() {
    let job = two_capacitances();
    let leads = after_c_herm(&job);
    let block = |device: &str, reading: &Reading| leads.block(&job, &point("c_fan", "uF"), device, reading);
    assert!(block("meter", &reading(0, "21.00 uF")), "whatever it shows");
    assert!(!block("other", &reading(0, "40.00 uF")));
    assert!(!block("meter", &Reading { channel: 1, ..reading(0, "40.00 uF") }));
    assert!(!block("meter", &reading(0, "40.00 ohm")));
}

#[test]
fn leads_that_stay_on_give_no_other_part_its_value() {
    let leads = after_c_herm(&two_capacitances());
    assert!(blocks(&leads, &on_component("C2"), "c_herm"), "another component");
    let mut next_door = two_capacitances();
    next_door.plan.unit_tag = "RTU-08".into();
    assert!(blocks(&leads, &next_door, "c_herm"), "the same component of another unit");
}

#[test]
fn another_check_of_the_same_part_may_use_the_same_contact() {
    let leads = after_c_herm(&two_capacitances());
    let mut other_rule = two_capacitances();
    other_rule.plan.rule = "another-rule".into();
    assert!(!blocks(&leads, &other_rule, "c_fan"));
}

#[test]
fn a_probe_that_is_bound_or_clamped_to_a_pipe_stays_from_part_to_part() {
    let leads = after_c_herm(&two_capacitances());
    let fixed = bound(on_component("C2"), "c_herm", "meter");
    assert!(!blocks(&leads, &fixed, "c_herm"));
    assert!(blocks(&leads, &fixed, "c_fan"), "the other point is not bound");

    let mut on_pipe = Leads::default();
    on_pipe.remember(contact(&two_capacitances(), "liquid", "probe", "40.0 °C"));
    let pipe =
        |name: &str| on_pipe.block(&on_component("C2"), &point(name, "°C"), "probe", &reading(0, "40.0 °C"));
    assert!(!pipe("liquid"));
}

#[test]
fn leads_are_off_after_three_tenths_of_a_second() {
    let job = two_capacitances();
    for open in ["0.00 uF", "0.03 uF", "OL uF"] {
        let mut leads = after_c_herm(&job);
        watch(&mut leads, &job, &[0, 100, 200, 299].map(|ms| reading(ms, open)));
        assert!(blocks(&leads, &job, "c_fan"), "{open}: too short");
        watch(&mut leads, &job, &[reading(300, open)]);
        assert!(!blocks(&leads, &job, "c_fan"), "{open}");
    }
}

#[test]
fn a_contact_that_bounces_is_not_off() {
    let job = two_capacitances();
    let mut leads = after_c_herm(&job);
    for ms in (0..3_000).step_by(250) {
        let display = if ms % 500 == 0 { "OL uF" } else { "40.00 uF" };
        watch(&mut leads, &job, &[reading(ms, display)]);
    }
    assert!(blocks(&leads, &job, "c_fan"));
}

#[test]
fn a_slow_meter_need_not_show_open_twice() {
    let job = two_capacitances();
    let mut leads = after_c_herm(&job);
    watch(&mut leads, &job, &[reading(0, "OL uF"), reading(300, "21.00 uF")]);
    assert!(!blocks(&leads, &job, "c_fan"), "open for as long as its conversion lasts");
}

#[test]
fn within_a_part_a_value_that_moves_is_a_bad_contact_and_not_another_one() {
    let job = two_capacitances();
    let moved = [0, 200, 400, 600].map(|ms| reading(ms, "12.00 uF"));
    let mut leads = after_c_herm(&job);
    watch(&mut leads, &job, &moved);
    assert!(blocks(&leads, &job, "c_fan"));

    let next = on_component("C2");
    let mut leads = after_c_herm(&job);
    watch(&mut leads, &next, &[0, 200, 400, 600].map(|ms| reading(ms, "37.00 uF")));
    assert!(blocks(&leads, &next, "c_herm"), "less than a tenth away");
    watch(&mut leads, &next, &moved.map(|reading| Reading { at: reading.at + OFF_FOR, ..reading }));
    assert!(!blocks(&leads, &next, "c_herm"), "the leads are on another part");
}

#[test]
fn volts_have_no_open_reading_so_a_value_far_away_ends_them() {
    let job = job(&[("l1_l2", "V ac"), ("l2_l3", "V ac")]);
    let block =
        |leads: &Leads| leads.block(&job, &point("l2_l3", "V ac"), "meter", &reading(0, "240.0 V ac"));
    let mut leads = Leads::default();
    leads.remember(contact(&job, "l1_l2", "meter", "240.0 V ac"));
    watch(&mut leads, &job, &[0, 200, 400].map(|ms| reading(ms, "230.0 V ac")));
    assert!(block(&leads), "the supply wavers by a twentieth");
    watch(&mut leads, &job, &[500, 700, 900].map(|ms| reading(ms, "1.2 V ac")));
    assert!(!block(&leads));
}

#[test]
fn a_held_or_blank_display_says_nothing_of_the_leads() {
    let job = two_capacitances();
    let mut leads = after_c_herm(&job);
    watch(&mut leads, &job, &[0, 200, 400].map(|ms| held(ms, "OL uF")));
    watch(&mut leads, &job, &[600, 800, 1_000].map(|ms| reading(ms, "--- uF")));
    assert!(blocks(&leads, &job, "c_fan"));
}

#[test]
fn leads_that_touch_nothing_are_kept_from_their_own_point_until_they_move() {
    let job = two_capacitances();
    let mut leads = after_c_herm(&job);
    leads.touch_nothing(&job, "c_fan");
    leads.touch_nothing(&on_component("C2"), "c_herm");
    assert!(!blocks(&leads, &job, "c_herm"), "it was said of other contacts");
    leads.touch_nothing(&job, "c_herm");
    assert!(blocks(&leads, &job, "c_herm"));
    let mut other_rule = two_capacitances();
    other_rule.plan.rule = "another-rule".into();
    assert!(blocks(&leads, &other_rule, "c_herm"), "nobody's value is no check's value");
    watch(&mut leads, &job, &[0, 300].map(|ms| reading(ms, "0.00 uF")));
    assert!(!blocks(&leads, &job, "c_herm"));
}

#[test]
fn a_newer_contact_takes_the_place_of_an_older_one() {
    let job = two_capacitances();
    let mut leads = after_c_herm(&job);
    leads.remember(contact(&job, "c_fan", "meter", "5.00 uF"));
    assert_eq!(leads.count(), 1);
    assert!(blocks(&leads, &job, "c_herm") && !blocks(&leads, &job, "c_fan"));
    leads.remember(contact(&job, "volts", "meter", "24.0 V ac"));
    assert_eq!(leads.count(), 2, "another function");
}

#[test]
fn the_oldest_of_too_many_contacts_goes_first() {
    let job = two_capacitances();
    let mut leads = after_c_herm(&job);
    for number in 0..CONTACTS_MAX {
        leads.remember(contact(&job, "c_herm", &format!("meter {number}"), "40.00 uF"));
    }
    assert_eq!(leads.count(), CONTACTS_MAX);
    assert!(!blocks(&leads, &job, "c_fan"));
    assert!(leads.block(&job, &point("c_fan", "uF"), "meter 0", &reading(0, "40.00 uF")));
}

#[test]
fn open_leads_show_overload_and_on_capacitance_up_to_three_counts() {
    let open = |display: &str| looks_open(&reading(0, display));
    assert!(open("OL ohm") && open("--- ohm") && open("0.03 uF") && open("-0.03 uF") && open("0.3 nF"));
    assert!(!open("0.04 uF") && !open("0.00 ohm") && !open("0.0 V ac"));
}
