//! Frames that the device numbers: missing ones are reported, and repeating a number gives one frame.

use super::*;
use crate::Reason;

/// One channel in tenths of a degree, the frame's number in the low half of byte 1, a sum over both.
fn profile(sequence: &str) -> Result<Profile, crate::ProfileError> {
    Profile::parse(&alloc::format!(
        "profile = 1\nid = \"numbered\"\nagree = 1\n[frame]\nkind = \"fixed\"\nsync = [0xC5]\nlength = 6\n\
         check = {{ kind = \"sum16le\", from = 1, to = 4, at = 4 }}\n[decode]\nkind = \"fields\"\n{sequence}\n\
         [[decode.channel]]\nunit = \"°C\"\nexponent = -1\nvalue = {{ at = 2, type = \"i16le\" }}\n"
    ))
}

const LOW_HALF: &str = "sequence = { at = 1, type = \"u8\", mask = 0x0F }";

fn frames(numbers: impl IntoIterator<Item = u8>) -> Vec<u8> {
    let mut bytes = Vec::new();
    for number in numbers {
        let body = [0xA0 | number, 0xE7, 0x00];
        let sum: u16 = body.iter().copied().map(u16::from).sum();
        bytes.push(0xC5);
        bytes.extend(body);
        bytes.extend(sum.to_le_bytes());
    }
    bytes
}

#[test]
fn frames_that_are_missing_are_told_by_their_numbers() {
    let profile = profile(LOW_HALF).unwrap();
    let clean = run_whole(&profile, &frames((0..40).map(|n| n % 16)));
    assert_eq!((clean.readings.len(), clean.counters.missed, clean.counters.faults()), (40, 0, 0));
    // 5 and 6 are lost, and 15 to 1 over the end of the count.
    let lost = run_whole(&profile, &frames([3, 4, 7, 8, 14, 2, 3]));
    assert_eq!((lost.readings.len(), lost.counters.missed), (7, 2 + 5 + 3));
    assert_eq!(lost.counters.drops(Reason::Missed), 3);
    let c = lost.counters;
    assert_eq!(c.bytes, c.frame_bytes + c.dropped_bytes);
}

#[test]
fn a_frame_sent_twice_under_one_number_is_one_frame() {
    let run = run_whole(&profile(LOW_HALF).unwrap(), &frames([3, 3, 4, 4, 4, 5]));
    assert_eq!((run.readings.len(), run.counters.ignored, run.counters.frames), (3, 3, 6));
    assert_eq!((run.counters.missed, run.counters.faults()), (0, 0));
}

/// A damaged frame is dropped by its checksum; that it is missing shows in the number of the next.
#[test]
fn a_damaged_frame_is_missing() {
    let mut bytes = frames([3, 4, 5, 6]);
    bytes[8] ^= 1;
    let run = run_whole(&profile(LOW_HALF).unwrap(), &bytes);
    assert_eq!((run.readings.len(), run.counters.missed), (3, 1));
}

#[test]
fn a_gap_begins_the_count_anew() {
    let profile = profile(LOW_HALF).unwrap();
    let mut decoder = Decoder::new(&profile);
    decoder.bytes(Instant::ZERO, &frames([3]), &mut |_| {});
    decoder.gap(Instant::ZERO);
    decoder.bytes(Instant::ZERO, &frames([9]), &mut |_| {});
    assert_eq!((decoder.counters().readings, decoder.counters().missed), (2, 0));
}

#[test]
fn a_count_that_cannot_be_is_refused() {
    for (sequence, says) in [
        ("sequence = { at = 1, type = \"f32le\" }", "in the checksum"),
        ("sequence = { at = 0, type = \"u8\" }", "sync"),
        ("sequence = { at = 1, type = \"u8\", mask = 5 }", "low bits"),
        ("sequence = { at = 1, type = \"u8\", mask = 1 }", "one bit"),
        ("sequence = { at = 1, type = \"u8\", mask = 256 }", "from 1 to 255"),
        ("sequence = { at = 1, typ = \"u8\" }", "did you mean \"type\""),
        ("sequenze = { at = 1, type = \"u8\" }", "did you mean \"sequence\""),
    ] {
        let error = profile(sequence).unwrap_err();
        assert!(error.line == 11 && error.message.contains(says), "{sequence}: {error}");
    }
}
