//! The serial adapter on real pseudo-terminals: delivery, busy port, identity, requests, settings, neighbours.

use std::os::unix::fs::symlink;
use std::sync::Arc;

use tokio::sync::Notify;

use super::{TestDir, bytes, next, until};
use crate::serial::sys::linux::tests::{adapter, plug_usb, unplug_usb};
use crate::{
    Adapter, Disconnect, Link, LinkEvent, LinkState, OpenOptions, PtyError, PtyMeter, PtyOptions, Script,
    SerialAdapter, Step, Steps, Unavailable, WhenFull,
};

fn meter(dir: &TestDir, name: &str) -> PtyMeter {
    let options = PtyOptions { when_full: WhenFull::Wait, ..PtyOptions::default() };
    PtyMeter::spawn(&dir.join(name), Steps::once(Vec::new()), options).unwrap()
}

fn open(adapter: &SerialAdapter, selector: &str) -> Box<dyn Link> {
    adapter.open(&selector.parse().unwrap(), &OpenOptions::default()).unwrap()
}

async fn absent(link: &mut dyn Link) -> Unavailable {
    loop {
        if let LinkEvent::State(LinkState::Absent(why)) = next(link).await {
            return why;
        }
    }
}

#[tokio::test]
async fn byte_by_byte_and_every_value_arrives_unchanged() {
    let dir = TestDir::new();
    let meter = meter(&dir, "meter");
    let mut link = open(&SerialAdapter::new(), &meter.selector());
    until(&mut *link, &LinkState::Syncing).await;
    let mut value = 0_u16;
    let one_by_one = move || {
        let step = u8::try_from(value).ok().map(|byte| Step::send(0, [byte]));
        value += 1;
        step
    };
    meter.play(one_by_one).unwrap();
    assert_eq!(bytes(&mut *link, 256).await, (0..=255).collect::<Vec<u8>>());
}

#[tokio::test]
async fn a_busy_port_is_told_and_taken_when_it_is_free() {
    let dir = TestDir::new();
    let meter = meter(&dir, "meter");
    let mut first = open(&SerialAdapter::new(), &meter.selector());
    until(&mut *first, &LinkState::Syncing).await;
    let mut second = open(&SerialAdapter::new(), &meter.selector());
    let path = meter.link().display().to_string();
    assert_eq!(absent(&mut *second).await, Unavailable::InUse { path });
    meter.send("first").unwrap();
    assert_eq!(bytes(&mut *first, 5).await, b"first");
    drop(first);
    until(&mut *second, &LinkState::Syncing).await;
    meter.send("second").unwrap();
    assert_eq!(bytes(&mut *second, 6).await, b"second");
}

#[tokio::test]
async fn a_device_plugged_in_later_is_found() {
    let dir = TestDir::new();
    let selector = format!("serial:{}", dir.join("meter").display());
    let mut link = open(&SerialAdapter::new(), &selector);
    assert!(matches!(absent(&mut *link).await, Unavailable::NotFound { .. }));
    let meter = meter(&dir, "meter");
    until(&mut *link, &LinkState::Syncing).await;
    meter.send("late").unwrap();
    assert_eq!(bytes(&mut *link, 4).await, b"late");
}

#[tokio::test]
async fn what_was_sent_before_the_opening_is_not_read() {
    let dir = TestDir::new();
    let meter = meter(&dir, "meter");
    let written = Arc::new(Notify::new());
    let tell = Arc::clone(&written);
    let mut first = true;
    let old = move || {
        if std::mem::take(&mut first) {
            return Some(Step::send(0, "old"));
        }
        // Asked for the second step: the first is written.
        tell.notify_one();
        None
    };
    meter.play(old).unwrap();
    tokio::time::timeout(super::HANG, written.notified()).await.unwrap();
    let mut link = open(&SerialAdapter::new(), &meter.selector());
    until(&mut *link, &LinkState::Syncing).await;
    meter.send("fresh").unwrap();
    assert_eq!(bytes(&mut *link, 5).await, b"fresh");
}

#[tokio::test]
async fn a_usb_identity_finds_its_port_under_another_number() {
    let dir = TestDir::new();
    let (one, two) = (meter(&dir, "one"), meter(&dir, "two"));
    plug_usb(dir.path(), "ttyUSB0", ("1a86", "7523", Some("S1")), Some(one.link()));
    plug_usb(dir.path(), "ttyUSB1", ("1a86", "7523", Some("S2")), Some(two.link()));
    let adapter = adapter(dir.path());

    // Two answer to it: neither is chosen.
    let mut any = open(&adapter, "serial:usb=1a86:7523");
    assert!(matches!(absent(&mut *any).await, Unavailable::Ambiguous { paths, .. } if paths.len() == 2));
    drop(any);

    let mut link = open(&adapter, "serial:usb=1a86:7523:S2");
    until(&mut *link, &LinkState::Syncing).await;
    two.send("two").unwrap();
    assert_eq!(bytes(&mut *link, 3).await, b"two");

    // Unplugged, the numbers shift, plugged in again.
    unplug_usb(dir.path(), "ttyUSB1");
    two.unplug().unwrap();
    until(&mut *link, &LinkState::Lost(Disconnect::HungUp)).await;
    assert!(matches!(absent(&mut *link).await, Unavailable::NotFound { .. }));
    two.replug().unwrap();
    std::fs::remove_dir_all(dir.join("devices/usb1/ttyUSB1")).unwrap();
    plug_usb(dir.path(), "ttyUSB5", ("1a86", "7523", Some("S2")), Some(two.link()));
    until(&mut *link, &LinkState::Syncing).await;
    two.send("again").unwrap();
    assert_eq!(bytes(&mut *link, 5).await, b"again");
}

struct Polled;

impl Script for Polled {
    fn next_step(&mut self) -> Option<Step> {
        None
    }

    fn reply(&mut self, request: &[u8]) -> Vec<u8> {
        if request == b"READ?\n" { b"4.472E-05\n".to_vec() } else { Vec::new() }
    }
}

#[tokio::test]
async fn a_meter_that_speaks_when_asked() {
    let dir = TestDir::new();
    let meter = PtyMeter::spawn(&dir.join("meter"), Polled, PtyOptions::default()).unwrap();
    let mut link = open(&SerialAdapter::new(), &meter.selector());
    until(&mut *link, &LinkState::Syncing).await;
    for _ in 0..20 {
        link.requests().unwrap().send(b"READ?\n".to_vec()).unwrap();
        assert_eq!(bytes(&mut *link, 10).await, b"4.472E-05\n");
    }
}

#[tokio::test]
async fn settings_that_a_terminal_does_not_read_back_are_no_hindrance() {
    let dir = TestDir::new();
    let meter = meter(&dir, "meter");
    let mut line: crate::LineSettings = "19200 7E2".parse().unwrap();
    (line.dtr, line.rts) = (Some(true), Some(false));
    let options = OpenOptions { line, ..OpenOptions::default() };
    let mut link = SerialAdapter::new().open(&meter.selector().parse().unwrap(), &options).unwrap();
    until(&mut *link, &LinkState::Syncing).await;
    assert_eq!(link.line_settings(), Some(line));
}

/// From a profile's text down to the request to the port, for each level of each line. A pseudo-terminal has neither line; that
/// the system is really asked is checked in `tests/it/devices.rs` by its refusal.
#[test]
fn control_lines_are_set_as_the_profile_says_and_else_left_alone() {
    use crate::serial::open::{ControlLine, set_control_lines};
    for (keys, want) in [
        ("", vec![]),
        ("dtr = true\n", vec![(ControlLine::Dtr, true)]),
        ("dtr = false\n", vec![(ControlLine::Dtr, false)]),
        ("rts = true\n", vec![(ControlLine::Rts, true)]),
        ("dtr = true\nrts = false\n", vec![(ControlLine::Dtr, true), (ControlLine::Rts, false)]),
    ] {
        let text = format!(
            "profile = 1\nid = \"m\"\n[link]\nkind = \"serial\"\n{keys}[frame]\nkind = \"line\"\n\
             [decode]\nkind = \"pattern\"\npattern = \"{{value:6}} {{unit:3}}\"\n[decode.units]\nuF = \"uF\"\n"
        );
        let profile = wire::Profile::parse(&text).unwrap();
        let line = crate::LineSettings::of(profile.link().unwrap()).unwrap();
        let mut asked = Vec::new();
        let refused = set_control_lines(&line, |which, level| {
            asked.push((which, level));
            if which == ControlLine::Rts { Err("no such line") } else { Ok(()) }
        });
        assert_eq!(asked, want, "{keys:?}");
        let told: Vec<&str> = refused.iter().map(String::as_str).collect();
        let rts = |level| format!("RTS {level} (no such line)");
        match want.last() {
            Some((ControlLine::Rts, true)) => assert_eq!(told, [rts("on")]),
            Some((ControlLine::Rts, false)) => assert_eq!(told, [rts("off")]),
            _ => assert!(told.is_empty(), "{told:?}"),
        }
    }
}

#[tokio::test]
async fn what_is_no_port_or_has_no_fixed_name_is_refused_and_looked_at_again() {
    let dir = TestDir::new();
    std::fs::write(dir.join("plain"), "bytes").unwrap();
    symlink("/dev/null", dir.join("by-hand")).unwrap();
    for name in ["plain", "by-hand"] {
        let mut link = open(&SerialAdapter::new(), &format!("serial:{}", dir.join(name).display()));
        assert!(matches!(absent(&mut *link).await, Unavailable::NotStable { .. }), "{name}");
        // Mended while the link is open.
        std::fs::remove_file(dir.join(name)).unwrap();
        let _meter = meter(&dir, name);
        until(&mut *link, &LinkState::Syncing).await;
    }
}

#[tokio::test]
async fn broken_neighbours_do_not_delay_a_good_device() {
    let dir = TestDir::new();
    let (good, flooding) = (meter(&dir, "good"), meter(&dir, "flooding"));
    let adapter = SerialAdapter::new();
    let _absent = open(&adapter, &format!("serial:{}", dir.join("nobody").display()));
    std::fs::write(dir.join("plain"), "").unwrap();
    let _refused = open(&adapter, &format!("serial:{}", dir.join("plain").display()));
    flooding.play(|| Some(Step::send(0, vec![0xFF; 4096]))).unwrap();
    let mut babbling = open(&adapter, &flooding.selector());
    let mut link = open(&adapter, &good.selector());
    until(&mut *babbling, &LinkState::Live).await;
    until(&mut *link, &LinkState::Syncing).await;
    for _ in 0..20 {
        good.send("44.70").unwrap();
        assert_eq!(bytes(&mut *link, 5).await, b"44.70");
    }
    assert_eq!(link.counters().gaps, 0);
}

#[tokio::test]
async fn a_meter_does_not_overwrite_a_file_and_cleans_up_its_link() {
    let dir = TestDir::new();
    std::fs::write(dir.join("file"), "mine").unwrap();
    let refused = PtyMeter::spawn(&dir.join("file"), Steps::once(Vec::new()), PtyOptions::default());
    assert!(matches!(refused, Err(PtyError::LinkTaken { .. })));
    let meter = meter(&dir, "meter");
    let link = meter.link().to_owned();
    assert!(link.exists());
    drop(meter);
    let gone = async {
        while link.symlink_metadata().is_ok() {
            tokio::task::yield_now().await;
        }
    };
    tokio::time::timeout(super::HANG, gone).await.unwrap();
}

#[tokio::test]
async fn an_unread_meter_loses_bytes_as_a_real_one_does() {
    let dir = TestDir::new();
    let flood = || Some(Step::send(0, vec![0x55; 4096]));
    let meter = PtyMeter::spawn(&dir.join("meter"), flood, PtyOptions::default()).unwrap();
    let full = async {
        while meter.unread_bytes() < 1_000_000 {
            tokio::task::yield_now().await;
        }
    };
    tokio::time::timeout(super::HANG, full).await.unwrap();
}
