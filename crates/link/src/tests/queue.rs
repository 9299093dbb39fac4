//! The bounded queue: order, one counted gap on overflow, newest state kept, bounds held.

use std::task::{Context, Poll, Waker};

use proptest::prelude::*;

use crate::queue::{QUEUE_EVENTS_MAX, Receiver, queue};
use crate::{CHUNK_BYTES_MAX, Disconnect, GapReason, LinkCounters, LinkEvent, LinkState};

fn drain(receiver: &mut Receiver) -> Vec<LinkEvent> {
    let mut events = Vec::new();
    while let Poll::Ready(Some(event)) = receiver.poll(&mut Context::from_waker(Waker::noop())) {
        events.push(event);
    }
    events
}

fn live() -> LinkEvent {
    LinkEvent::State(LinkState::Live)
}

#[test]
fn waiting_bytes_are_joined_and_live_is_told_once() {
    let (sender, mut receiver) = queue(8192);
    sender.state(LinkState::Syncing);
    for byte in 0..10_u8 {
        sender.bytes(&[byte]);
    }
    let expected = vec![LinkEvent::State(LinkState::Syncing), live(), LinkEvent::Bytes((0..10).collect())];
    assert_eq!(drain(&mut receiver), expected);
    sender.bytes(b"x");
    assert_eq!(drain(&mut receiver), vec![LinkEvent::Bytes(b"x".to_vec())]);
}

#[test]
fn overflow_becomes_one_counted_gap_and_the_newest_bytes_stay() {
    let (sender, mut receiver) = queue(8192);
    for fill in 0..5_u8 {
        sender.bytes(&[fill; 4096]);
    }
    let overflow = GapReason::Overflow { bytes: 4 * 4096 };
    // The state that waited is kept behind the gap.
    assert_eq!(drain(&mut receiver), vec![LinkEvent::Gap(overflow), live(), LinkEvent::Bytes(vec![4; 4096])]);
    let LinkCounters { received_bytes, dropped_bytes, gaps, queued_bytes_peak, .. } = receiver.counters();
    assert_eq!((received_bytes, dropped_bytes, gaps), (5 * 4096, 4 * 4096, 1));
    assert!(queued_bytes_peak <= 8192);
}

#[test]
fn a_flapping_device_and_a_stuck_reader_stay_bounded() {
    let (sender, mut receiver) = queue(8192);
    for _ in 0..100_000 {
        sender.state(LinkState::Opening);
        sender.state(LinkState::Syncing);
        sender.bytes(b"0123456789");
        sender.lost(Disconnect::HungUp);
    }
    assert!(receiver.counters().queued_events_peak <= QUEUE_EVENTS_MAX);
    let events = drain(&mut receiver);
    assert_eq!(events.last(), Some(&LinkEvent::State(LinkState::Lost(Disconnect::HungUp))));
    assert!(matches!(events.first(), Some(LinkEvent::Gap(GapReason::Overflow { .. }))));
}

#[test]
fn a_large_read_is_cut_into_chunks() {
    let (sender, mut receiver) = queue(64 * 1024);
    sender.bytes(&vec![7; 10_000]);
    let sizes: Vec<usize> = drain(&mut receiver)
        .iter()
        .filter_map(|e| if let LinkEvent::Bytes(b) = e { Some(b.len()) } else { None })
        .collect();
    assert_eq!(sizes, [4096, 4096, 1808]);
}

#[test]
fn after_the_reader_is_gone_nothing_is_kept() {
    let (sender, receiver) = queue(8192);
    drop(receiver);
    sender.bytes(&[1; 4096]);
    assert!(sender.reader_gone());
}

#[derive(Debug, Clone)]
enum Act {
    Bytes(usize),
    State(bool),
    Lost,
    Read(usize),
}

fn acts() -> impl Strategy<Value = Vec<Act>> {
    let act = prop_oneof![
        4 => (1..=CHUNK_BYTES_MAX * 2).prop_map(Act::Bytes),
        1 => any::<bool>().prop_map(Act::State),
        1 => Just(Act::Lost),
        2 => (1..6_usize).prop_map(Act::Read),
    ];
    prop::collection::vec(act, 0..200)
}

proptest! {
    /// The n-th byte sent is n modulo 251, so the reader knows how many are missing and checks it against the gaps.
    #[test]
    fn every_missing_byte_is_in_a_gap_at_its_place(acts in acts()) {
        let (sender, mut receiver) = queue(16 * 1024);
        let mut sent = 0_usize;
        let mut events = Vec::new();
        for act in acts {
            match act {
                Act::Bytes(n) => {
                    let run: Vec<u8> = (sent..sent + n).map(|i| u8::try_from(i % 251).unwrap()).collect();
                    sent += n;
                    sender.bytes(&run);
                }
                Act::State(opening) => sender.state(if opening { LinkState::Opening } else { LinkState::Syncing }),
                Act::Lost => sender.lost(Disconnect::HungUp),
                Act::Read(n) => for _ in 0..n {
                    if let Poll::Ready(Some(event)) = receiver.poll(&mut Context::from_waker(Waker::noop())) {
                        events.push(event);
                    }
                },
            }
        }
        events.extend(drain(&mut receiver));
        let mut place = 0_usize;
        for event in &events {
            match event {
                LinkEvent::Bytes(run) => for byte in run {
                    prop_assert_eq!(usize::from(*byte), place % 251);
                    place += 1;
                },
                LinkEvent::Gap(GapReason::Overflow { bytes }) => place += usize::try_from(*bytes).unwrap(),
                _ => {}
            }
        }
        prop_assert_eq!(place, sent);
        prop_assert!(receiver.counters().queued_bytes_peak <= 16 * 1024);
        prop_assert!(receiver.counters().queued_events_peak <= QUEUE_EVENTS_MAX);
    }
}
