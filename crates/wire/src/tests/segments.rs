//! Displays sent as bits: the indexed framing, what a display may show, and the round trip. Does not count damage;
//! `damage` does.

use super::*;
use crate::counters::{Field, Reason};
use proptest::prelude::*;
use quantity::Sign;

fn frame(text: &str) -> Vec<u8> {
    crate::simulate::encode(&segment_profile(), &[microfarad(text)]).unwrap()
}

#[test]
fn a_byte_out_of_its_place_costs_its_frame_alone() {
    let profile = segment_profile();
    let good = frame("38.52");
    let lost = [&good[..4], &good[5..]].concat();
    let doubled = [&good[..5], &good[4..]].concat();
    for (bad, dropped) in
        [(lost, 12), (doubled, 14), (good[9..].to_vec(), 4), (alloc::vec![0xFF, 0, 0x10], 3)]
    {
        let bytes = [good.as_slice(), &bad, &good, &good].concat();
        let run = run_whole(&profile, &bytes);
        assert_eq!(run.shown(), ["38.52 uF"; 3]);
        assert_eq!(run.counters.dropped_bytes, dropped);
        let reason = if dropped > 13 { Reason::Garbage } else { Reason::Partial };
        assert_eq!(run.faults, [Fault { reason, bytes: u32::try_from(dropped).unwrap() }]);
    }
}

#[test]
fn endless_rubbish_is_told_and_holds_no_memory() {
    let profile = segment_profile();
    let rubbish = alloc::vec![0x55; 20_000];
    let run = run_whole(&profile, &rubbish);
    assert_eq!(run.counters.drops(Reason::Garbage), 4);
    assert_eq!(run.counters.dropped_bytes + u64::try_from(run.held).unwrap(), 20_000);
}

/// Every pair of bits that a display cannot have lit together, and every bit without a name.
#[test]
fn what_the_display_cannot_show_is_refused() {
    let profile = segment_profile();
    for (byte, data, field) in [
        (7, 0x08, Field::Value), // a second point
        (6, 0x07, Field::Value), // a figure that is none
        (11, 0x08, Field::Unit), // volts beside farads
        (10, 0x01, Field::Unit), // nano beside micro
        (8, 0x01, Field::Mode),  // farads have no ac
        (8, 0x04, Field::Mode),  // a function of its own
    ] {
        let mut bytes = frame("38.52");
        bytes[byte] ^= data;
        let run = run_whole(&profile, &bytes.repeat(3));
        assert_eq!(run.readings, [], "{byte}: {data:#x}");
        assert!(
            run.faults.iter().all(|fault| fault.reason == Reason::Undecodable(field)),
            "{:?}",
            run.faults
        );
    }
    let nameless = SEGMENT.replacen("ignore = \"8.3\"", "", 1);
    let profile = Profile::parse(&nameless).unwrap();
    let mut bytes = frame("38.52");
    assert_eq!(run_whole(&profile, &bytes.repeat(2)).shown(), ["38.52 uF"; 2]);
    bytes[8] |= 0x08;
    let run = run_whole(&profile, &bytes.repeat(2));
    assert!(run.readings.is_empty() && run.faults[0].reason == Reason::Undecodable(Field::Flags));
}

/// A checksum bears a frame out alone; the sync byte and the checksum are no bits without a name.
#[test]
fn a_display_in_checked_frames_needs_no_agreement() {
    let profile = segments_in_fixed(Some("sum16le"), 1);
    let bytes = crate::simulate::encode(&profile, &[microfarad("38.52")]).unwrap();
    assert_eq!(bytes.len(), 15);
    assert_eq!(run_whole(&profile, &bytes).shown(), ["38.52 uF"]);
    // Two bits that no meaning has.
    let mut strange = bytes.clone();
    strange[2] |= 0x80;
    assert_eq!(run_whole(&profile, &strange).counters.drops(Reason::Checksum), 1);
    let profile = segments_in_fixed(None, 2);
    strange[13..].fill(0);
    assert!(run_whole(&profile, &strange.repeat(3)).readings.is_empty());
}

#[test]
fn a_narrow_digit_shows_one_or_nothing() {
    let text = "profile = 1\nid = \"narrow\"\n[frame]\nkind = \"indexed\"\nlength = 6\n[decode]\nkind = \"segments\"\n\
        unit = \"V dc\"\nminus = \"5.1\"\ndigits = [{ b = \"0.0\", c = \"0.1\", point_after = \"0.2\" },\n\
        { a = \"1.0\", b = \"1.1\", c = \"1.2\", d = \"1.3\", e = \"2.0\", f = \"2.1\", g = \"2.2\" },\n\
        { a = \"3.0\", b = \"3.1\", c = \"3.2\", d = \"3.3\", e = \"4.0\", f = \"4.1\", g = \"4.2\" }]\n";
    let profile = Profile::parse(text).unwrap();
    for shown in ["1.99", "-1.07", "99", "0"] {
        let volts = reading(shown, Unit::VOLT, Some(Coupling::Dc));
        let bytes = stream(&profile, &[volts, volts]);
        assert_eq!(run_whole(&profile, &bytes).shown(), alloc::vec![alloc::format!("{shown} V dc"); 2]);
    }
    for shown in ["2.99", "199.9", "0.05"] {
        let volts = reading(shown, Unit::VOLT, Some(Coupling::Dc));
        let error = crate::simulate::encode(&profile, &[volts]).unwrap_err();
        assert_eq!(error, crate::simulate::SimulateError::Value, "{shown}");
    }
}

proptest! {
    #[test]
    fn lit_then_read_is_the_same_reading(
        counts in -9_999_i64..=9_999, places in 0_u8..4, which in 0_usize..8, kind in 0_u8..8, flags in any::<[bool; 4]>(),
    ) {
        use Coupling::{Ac, Dc};
        let units = [
            (Unit::MICROFARAD, None), (Unit::NANOFARAD, None), (Unit::OHM, None), (Unit::MEGOHM, None),
            (Unit::VOLT, Some(Ac)), (Unit::MICROAMPERE, Some(Dc)), (Unit::HERTZ, None), (Unit::CELSIUS, None),
        ];
        let (unit, coupling) = units[which];
        let counts = if unit == Unit::VOLT || unit == Unit::MICROAMPERE { counts } else { counts.abs() % 3_000 };
        let [hold, low_battery, relative, min_max] = flags;
        let state = match kind {
            0 => State::Overload(Sign::Positive),
            1 => State::NoValue,
            _ => State::Value(Decimal::new(counts, -i8::try_from(places).unwrap()).unwrap()),
        };
        let flags = Flags { hold, low_battery, relative, min_max };
        let sent = Reading { state, flags, ..reading("0", unit, coupling) };
        for profile in [segment_profile(), segments_in_fixed(Some("crc16modbus"), 1)] {
            let decoded = run_whole(&profile, &stream(&profile, &[sent, sent]));
            prop_assert_eq!(decoded.counters.faults(), 0);
            prop_assert_eq!(decoded.readings.len(), 2);
            let got = decoded.readings[0];
            prop_assert_eq!((got.state, got.display.unit, got.display.coupling, got.flags), (state, unit, coupling, flags));
        }
    }
}

/// Signs as whole sets: a set that was not named is refused, and a number beside signs that were named without one.
#[test]
fn functions_take_their_signs_whole() {
    let digits = SEGMENT.split("minus =").next().unwrap().replace(", point_before = \"3.3\"", "");
    let digits = digits.replace(", point_before = \"5.3\"", "").replace(", point_before = \"7.3\"", "");
    let text = alloc::format!(
        "{digits}functions = [\n{{ unit = \"uF\", decimals = 2, lit = [\"5.3\", \"10.1\", \"11.1\"] }},\n\
         {{ unit = \"nF\", lit = [\"10.0\", \"11.1\"] }}]\n"
    );
    let profile = Profile::parse(&text).unwrap();
    let good = frame("38.52");
    assert_eq!(run_whole(&profile, &good.repeat(2)).shown(), ["38.52 uF"; 2]);
    let refused = |bytes: &[u8], field: Field| {
        let run = run_whole(&profile, &bytes.repeat(3));
        assert!(run.readings.is_empty(), "{:?}", run.shown());
        assert!(
            run.faults.iter().all(|fault| fault.reason == Reason::Undecodable(field)),
            "{:?}",
            run.faults
        );
    };
    refused(&frame("385.2"), Field::Flags); // a point that no function has
    let mut bytes = good.clone();
    bytes[10] = 0xB1; // nano and the point of micro
    refused(&bytes, Field::Mode);
    bytes[5] &= !0x08; // nano alone: named, but never beside a number
    refused(&bytes, Field::Exponent);
    let overload = Reading {
        state: State::Overload(Sign::Positive),
        display: quantity::DisplayUnit { unit: Unit::NANOFARAD, coupling: None },
        ..microfarad("0")
    };
    let bytes = crate::simulate::encode(&profile, &[overload]).unwrap();
    assert_eq!(run_whole(&profile, &bytes.repeat(2)).shown(), ["OL nF"; 2]);
}
