//! Polled links: the contract, loss and return, silence, a device next to a dead one. `polled_pty` tests a hostile
//! device on a real pseudo-terminal.

use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;

use wire::Profile;
use wire::packet::{PacketKind, wrap};

use crate::conformance::{Fixture, verify};
use crate::tests::{bytes, next, until};
use crate::{
    Adapter, Disconnect, GapReason, Link, LinkEvent, LinkState, OpenOptions, PolledAdapter, Registry, Script,
    SimAdapter, Step, Unavailable,
};

/// One register of unit 1, asked ten times a second.
fn profile() -> Profile {
    let text = "profile = 1\nid = \"asked\"\nsilence_ms = 3000\n[poll]\nkind = \"modbus\"\nunit = 1\npoll_ms = 100\n\
                timeout_ms = 200\n[decode]\nkind = \"registers\"\n[[decode.channel]]\nentity = \"holding\"\naddress = 2\n\
                type = \"u16\"\nunit = \"V\"\nexponent = -1\n";
    Profile::parse(text).unwrap_or_else(|error| panic!("{error}"))
}

/// Plays the device: echoes Diagnostics, answers reads as long as its budget lasts.
struct Device {
    budget: Arc<AtomicU32>,
    steps: Vec<Step>,
}

/// The reply to a read of one register; its CRC by another codec.
fn reply(value: u16) -> Vec<u8> {
    let mut frame = vec![1, 3, 2];
    frame.extend(value.to_be_bytes());
    frame.extend(crc(&frame).to_le_bytes());
    frame
}

/// CRC-16 of MODBUS over Serial Line V1.02, 6.2.2, as its bitwise procedure says.
pub(super) fn crc(bytes: &[u8]) -> u16 {
    let mut crc = 0xFFFF_u16;
    for byte in bytes {
        crc ^= u16::from(*byte);
        for _ in 0..8 {
            crc = if crc & 1 == 1 { (crc >> 1) ^ 0xA001 } else { crc >> 1 };
        }
    }
    crc
}

fn packet(value: u16) -> Vec<u8> {
    let [high, low] = value.to_be_bytes();
    wrap(PacketKind::Reply, 0, &[3, 0, 2, 0, 1, 3, 2, high, low]).unwrap()
}

impl Script for Device {
    fn next_step(&mut self) -> Option<Step> {
        if self.steps.is_empty() { Some(Step::send(3_600_000, "")) } else { Some(self.steps.remove(0)) }
    }

    fn reply(&mut self, request: &[u8]) -> Vec<u8> {
        match request.get(1) {
            Some(8) => request.to_vec(),
            Some(3) => {
                let left =
                    self.budget.fetch_update(Ordering::Relaxed, Ordering::Relaxed, |n| n.checked_sub(1));
                if left.is_ok() { reply(2345) } else { Vec::new() }
            }
            _ => Vec::new(),
        }
    }
}

fn device(budget: &Arc<AtomicU32>, steps: &[Step]) -> SimAdapter {
    let (budget, steps) = (Arc::clone(budget), steps.to_vec());
    SimAdapter::new().with("m", move || Device { budget: Arc::clone(&budget), steps: steps.clone() })
}

struct PolledFixture(PolledAdapter<SimAdapter>, Arc<AtomicU32>);

impl Fixture for PolledFixture {
    fn adapter(&self) -> &dyn Adapter {
        &self.0
    }
    fn selector(&self) -> String {
        "sim:m".to_owned()
    }
    fn sample(&self) -> Vec<u8> {
        packet(2345).repeat(20)
    }
    /// The first read after each opening shows only whether the line echoes.
    fn feed(&mut self, _sample: &[u8]) {
        self.1.store(21, Ordering::Relaxed);
    }
    fn lose(&mut self) -> bool {
        true
    }
}

#[tokio::test(start_paused = true)]
async fn keeps_the_contract() {
    let budget = Arc::default();
    // It is unplugged before its silence would be told.
    let inner = device(&budget, &[Step::send(4_000, ""), Step::unplug(500)]);
    verify(&mut PolledFixture(PolledAdapter::new(inner, &profile()), budget)).await.unwrap();
}

fn open(adapter: SimAdapter) -> Box<dyn Link> {
    let options = OpenOptions { silence: Some(Duration::from_secs(3)), ..OpenOptions::default() };
    Registry::new().with(adapter).open_as("sim:m", &options, Some(&profile())).unwrap()
}

#[tokio::test(start_paused = true)]
async fn a_device_that_falls_silent_is_told_as_lost_and_asked_on() {
    let budget = Arc::new(AtomicU32::new(6));
    let mut link = open(device(&budget, &[]));
    assert_eq!(bytes(&mut *link, packet(0).len() * 5).await, packet(2345).repeat(5));
    let silent = Disconnect::Silent { after_ms: 3_000 };
    assert_eq!(next(&mut *link).await, LinkEvent::Gap(GapReason::Lost(silent)));
    assert_eq!(next(&mut *link).await, LinkEvent::State(LinkState::Lost(silent)));
    until(&mut *link, &LinkState::Syncing).await;
    let mute = Unavailable::Mute { why: "no answer in time", serial: false };
    assert_eq!(next(&mut *link).await, LinkEvent::State(LinkState::Absent(mute)));
    // It answers the marker only: that is no answer, and it is asked on. The clock is paused, so this takes no time.
    assert!(tokio::time::timeout(Duration::from_secs(60), link.next()).await.is_err());
    let counters = link.poll_counters().unwrap();
    assert!(counters.requests > 50 && counters.answers == 5, "{counters:?}");
    budget.store(100, Ordering::Relaxed);
    assert_eq!(next(&mut *link).await, LinkEvent::State(LinkState::Syncing));
    assert_eq!(next(&mut *link).await, LinkEvent::State(LinkState::Live));
    assert_eq!(bytes(&mut *link, packet(0).len()).await, packet(2345));
}

/// A device that never speaks is not said to be live, and the one beside it is asked as often as alone.
#[tokio::test(start_paused = true)]
async fn a_dead_device_does_not_delay_another() {
    let mut dead = open(SimAdapter::new().with("m", || || Some(Step::send(3_600_000, ""))));
    let mut good = open(device(&Arc::new(AtomicU32::new(u32::MAX)), &[]));
    let begin = tokio::time::Instant::now();
    bytes(&mut *good, packet(0).len() * 100).await;
    let spent = begin.elapsed();
    assert!((Duration::from_secs(9)..Duration::from_secs(13)).contains(&spent), "{spent:?}");
    assert_eq!(next(&mut *dead).await, LinkEvent::State(LinkState::Syncing));
    let mute = Unavailable::Mute { why: "no answer in time", serial: false };
    assert_eq!(next(&mut *dead).await, LinkEvent::State(LinkState::Absent(mute)));
    assert!(dead.poll_counters().unwrap().faults() > 5);
    let more = tokio::time::timeout(Duration::from_millis(1), dead.next()).await;
    assert!(more.is_err(), "{more:?}");
}
