//! The exchange with a Modbus device, step by step: what is sent when, and the effect of each reply.

use alloc::string::String;
use alloc::vec::Vec;
use core::fmt::Write as _;

use quantity::{Duration, Instant};

use super::hostile::{MILD, Temper, UNIT, World, alike, profile};
use crate::poll::{PollOutput, PollReason, Poller};

/// What a device in this temper is sent, and what comes of it, in the first `ms`.
fn told(profile: &crate::Profile, temper: Temper, ms: i64) -> (String, Poller) {
    let mut world = World::new(7, temper);
    let mut poller = profile.poller(0x0100).unwrap();
    poller.opened(Instant::ZERO);
    let mut text = String::new();
    let mut sent = 0;
    let mut see = |world: &World, polled: PollOutput| {
        for request in &world.sent[sent..] {
            writeln!(text, "> {}", hex(&request[..6])).unwrap();
        }
        sent = world.sent.len();
        match polled {
            PollOutput::Reply(packet) => writeln!(text, "< answer {}", packet[3]).unwrap(),
            PollOutput::Fault(fault) => writeln!(text, "! {fault}").unwrap(),
            PollOutput::Send(_) => {}
        }
    };
    world.run(&mut poller, Instant::from_micros(ms * 1_000), &mut see);
    (text, poller)
}

fn hex(bytes: &[u8]) -> String {
    let words: Vec<String> = bytes.iter().map(|byte| alloc::format!("{byte:02x}")).collect();
    words.join(" ")
}

/// First a read to see whether the line echoes, then marker and read in turn; the echo of the first is not taken for an
/// answer.
#[test]
fn a_marker_stands_before_each_read() {
    for echo in [false, true] {
        let (text, poller) = told(&alike(""), Temper { echo, ..MILD }, 500);
        let want = "> 11 03 00 03 00 01\n> 11 08 00 00 01 01\n> 11 03 00 03 00 01\n< answer 0\n\
                    > 11 08 00 00 01 02\n> 11 03 00 14 00 01\n< answer 1\n\
                    > 11 08 00 00 01 03\n> 11 03 00 29 00 01\n< answer 2\n";
        assert!(text.starts_with(want), "{text}");
        assert_eq!(poller.counters().faults(), 0);
    }
}

/// The longest read of the standard, with its echo before it and all at once.
#[test]
fn the_longest_reply_fits() {
    let channel = "[[decode.channel]]\nentity = \"holding\"\naddress = 4\ntype = \"u16\"\nunit = \"1\"\nexponent = 0\nregisters = 125\n";
    for (echo, byte_by_byte) in [(false, 0), (true, 0), (true, 50)] {
        let (text, poller) = told(&profile("", channel), Temper { echo, byte_by_byte, ..MILD }, 20_000);
        assert!(poller.counters().answers > 5, "echo {echo}: {text}");
    }
}

#[test]
fn a_dead_device_is_asked_again_and_again_but_not_faster_and_faster() {
    let (text, poller) = told(&alike(""), Temper { lost: 100, ..MILD }, 60_000);
    assert!(!text.contains("answer 0"), "{text}");
    let counters = poller.counters();
    assert_eq!(counters.of(PollReason::Timeout), counters.requests);
    assert!((40..=70).contains(&(counters.requests + counters.markers)), "{counters:?}");
    // On a line that echoes, too: the echo alone is no sign of life.
    let (text, poller) = told(&alike(""), Temper { lost: 100, echo: true, ..MILD }, 60_000);
    assert!(!text.contains("answer"), "{text}");
    assert!((40..=80).contains(&(poller.counters().requests + poller.counters().markers)));
}

#[test]
fn a_device_without_function_08_says_so() {
    let (text, poller) = told(&alike(""), Temper { diagnostics: false, ..MILD }, 20_000);
    assert!(text.contains("marker = \"none\"") && !text.contains("answer 0"), "{text}");
    assert!(poller.counters().of(PollReason::MarkerUnknown) > 5);
}

/// A period that the line cannot keep is not made up for, and no read is left out.
#[test]
fn reads_take_turns() {
    let channel = |number: u8, entity: &str, poll_ms: u32| {
        alloc::format!(
            "[[decode.channel]]\nnumber = {number}\nentity = \"{entity}\"\naddress = 5\ntype = \"u16\"\nunit = \"1\"\n\
             exponent = 0\npoll_ms = {poll_ms}\n"
        )
    };
    let both = profile("", &[channel(0, "holding", 20), channel(1, "input", 20)].concat());
    let (text, _) = told(&both, MILD, 10_000);
    let count = |word: &str| text.lines().filter(|line| *line == word).count();
    let (first, second) = (count("< answer 0"), count("< answer 1"));
    assert!(first > 50 && first.abs_diff(second) <= 1, "{first} and {second}");
    let slow = profile("", &[channel(0, "holding", 200), channel(1, "input", 1_000)].concat());
    let (text, _) = told(&slow, MILD, 10_000);
    let count = |word: &str| text.lines().filter(|line| *line == word).count();
    assert!((45..=51).contains(&count("< answer 0")), "{}", count("< answer 0"));
    assert!((9..=11).contains(&count("< answer 1")), "{}", count("< answer 1"));
}

/// Bytes in any portions and at any time: nothing but faults, and little held.
#[test]
fn rubbish_is_no_answer() {
    let mut seeded = crate::tests::mutate::Seeded(3);
    let mut poller = alike("").poller(9).unwrap();
    poller.opened(Instant::ZERO);
    let mut now = Instant::ZERO;
    for _ in 0..20_000 {
        now = now + Duration::from_millis(i64::try_from(seeded.below(40)).unwrap());
        let mut answers = 0;
        let mut see = |polled: PollOutput| answers += u32::from(matches!(polled, PollOutput::Reply(_)));
        let mut bytes: Vec<u8> = (0..seeded.below(700)).map(|_| seeded.next().to_le_bytes()[0]).collect();
        if seeded.below(3) == 0 {
            bytes.splice(0..0, [UNIT, 3, 2]);
        }
        poller.received(now, &bytes, &mut see);
        poller.tick(now, &mut see);
        assert_eq!(answers, 0);
        assert!(poller.held() <= 512);
    }
    let counters = poller.counters();
    assert_eq!(counters.bytes, counters.ignored_bytes + u64::try_from(poller.held()).unwrap());
    assert!(counters.faults() > 0);
}
