//! Frames with a length field: what the length counts, damaged lengths, frames that carry more or fewer channels.

use super::*;
use crate::{Field, Reason};

const PAYLOAD: &str = "type = \"u8\", counts = \"payload\"";

/// The same five bytes of payload, framed by hand: what the length counts and where it is, by definition alone.
#[test]
fn the_length_counts_what_the_profile_says() {
    // Byte 3 is the length's high byte or, of one byte, payload of no meaning. 0x0F0C = 3852.
    let fields = [1, 0xFE, 0x0F, 0x0C, 0];
    for (length, bytes) in [
        (PAYLOAD, [6, 0]),
        ("type = \"u8\", counts = \"rest\"", [8, 0]),
        ("type = \"u8\", counts = \"whole\"", [11, 0]),
        ("type = \"u16le\", counts = \"payload\"", [5, 0]),
        ("type = \"u16be\", counts = \"payload\"", [0, 5]),
        ("type = \"u16be\", counts = \"rest\"", [0, 7]),
        ("type = \"u16be\", counts = \"whole\"", [0, 11]),
    ] {
        let profile = small_counted(length, "sum16be", 1);
        let covered = [&bytes[..], &fields].concat();
        let sum: u16 = covered.iter().map(|b| u16::from(*b)).sum();
        let frame = [&[0xD7, 0x2B], covered.as_slice(), &sum.to_be_bytes()].concat();
        let run = run_whole(&profile, &[frame.as_slice(), &frame].concat());
        assert_eq!(run.shown(), ["38.52 uF", "38.52 uF"], "{length}");
        assert_eq!(run.counters.faults(), 0, "{length}");
        assert_eq!(stream(&profile, &[microfarad("38.52")]), frame, "{length}");
    }
}

#[test]
fn a_length_that_no_frame_has_holds_nothing_up() {
    let profile = small_counted(PAYLOAD, "crc16modbus", 1);
    let good = stream(&profile, &[microfarad("38.52")]);
    for length in (0..=255_u8).filter(|n| !(1..=11).contains(n)) {
        let mut bad = good.clone();
        bad[2] = length;
        let run = run_whole(&profile, &[bad.as_slice(), &good].concat());
        assert_eq!((run.shown().len(), run.held), (1, 0), "{length}");
        assert_eq!(run.counters.dropped_bytes, 11, "{length}");
    }
}

#[test]
fn a_length_too_great_swallows_frames_for_a_while_but_loses_none() {
    let profile = small_counted(PAYLOAD, "crc16modbus", 1);
    let values: Vec<Reading> = (0..4).map(|i| microfarad(&alloc::format!("38.5{i}"))).collect();
    for length in 7..=11 {
        let mut bytes = stream(&profile, &values);
        bytes[2] = length;
        let run = run(&profile, bytes.chunks(3));
        assert_eq!(run.shown(), ["38.51 uF", "38.52 uF", "38.53 uF"], "{length}");
        assert_eq!((run.counters.drops(Reason::Checksum), run.held), (1, 0), "{length}");
    }
}

#[test]
fn endless_frame_beginnings_cost_bounded_memory() {
    for piece in [&[0xD7, 0x2B][..], &[0xD7, 0x2B, 11], &[0xD7, 0x2B, 200], &[0xD7]] {
        let bytes: Vec<u8> = piece.iter().copied().cycle().take(40_000).collect();
        let run = run_whole(&small_counted(PAYLOAD, "sum16le", 1), &bytes);
        assert!(run.readings.is_empty());
        assert!(run.counters.dropped_bytes > 35_000 && run.held < 4200, "{piece:02X?}");
    }
}

#[test]
fn a_frame_carries_the_channels_that_find_room_in_it() {
    let profile = counted_profile();
    let pressure = reading("118.4", Unit::PSIG, None);
    let clamp = Reading { channel: 1, ..reading("6.2", Unit::CELSIUS, None) };
    let short = crate::simulate::encode(&profile, &[pressure]).unwrap();
    let long = crate::simulate::encode(&profile, &[pressure, clamp]).unwrap();
    assert_eq!((short.len(), long.len()), (9, 11));
    assert_eq!(run_whole(&profile, &short).shown(), ["118.4 psig"]);
    assert_eq!(run_whole(&profile, &long).shown(), ["118.4 psig", "6.2 \u{b0}C"]);
    // The clamp's place is behind the pressure's: a frame with one has both.
    assert_eq!(crate::simulate::encode(&profile, &[clamp]), Err(crate::simulate::SimulateError::Channel(0)));
    // A sound frame with room for no channel is dropped and said to be.
    let profile = small_counted(PAYLOAD, "sum8", 2);
    let run = run_whole(&profile, &[0xD7, 0x2B, 1, 9, 10]);
    assert_eq!((run.counters.drops(Reason::Pattern), run.counters.dropped_bytes), (1, 5));
}

#[test]
fn a_named_channel_without_its_bytes_is_refused() {
    let text = "profile = 1\nid = \"named\"\n[frame]\nkind = \"counted\"\nsync = [0xA5]\n\
        length = { at = 1, type = \"u8\", counts = \"whole\" }\nmax_bytes = 12\n\
        check = { kind = \"crc16modbus\", from = 0 }\n[decode]\nkind = \"fields\"\n\
        channel_at = { at = 2, type = \"u8\" }\n[[decode.channel]]\nnumber = 3\nunit = \"V dc\"\n\
        exponent = -2\nvalue = { at = 3, type = \"i32le\" }\n[[decode.channel]]\nnumber = 4\n\
        unit = \"A dc\"\nexponent = -2\nvalue = { at = 3, type = \"i16le\" }\n";
    let profile = Profile::parse(text).unwrap();
    let framed = |content: &[u8]| {
        let mut frame = alloc::vec![0xA5, u8::try_from(content.len() + 4).unwrap()];
        frame.extend(content);
        let check = ChecksumKind::Crc16Modbus.compute(&frame);
        [frame, check.to_vec()].concat()
    };
    assert_eq!(run_whole(&profile, &framed(&[4, 0x47, 1])).shown(), ["3.27 A dc"]);
    assert_eq!(run_whole(&profile, &framed(&[3, 0x47, 1, 0, 0])).shown(), ["3.27 V dc"]);
    for (content, field) in [(&[3, 0x47, 1][..], Field::Value), (&[5, 0x47, 1], Field::Channel)] {
        let run = run_whole(&profile, &framed(content));
        assert_eq!(run.faults, [Fault { reason: Reason::Undecodable(field), bytes: 0 }]);
    }
}
