//! GATT packets through profiles: which characteristic is which channel, and what is rejected. Raw values and their
//! meaning: GATT Specification Supplement (Temperature: sint16, 0.01 degC, 0x8000 not known; Voltage: 1/64 V); the
//! farad value: as measured (raw 4472, format 6, exponent -8, unit 0x2729).

use super::*;
use crate::gatt::Uuid;
use crate::gatt::packet::Message;
use crate::packet::{PacketKind, wrap};
use crate::{Fault, Field, Reason};
use alloc::vec;

const HEAD: &str = "profile = 1\nid = \"x\"\n[frame]\nkind = \"packet\"\n[decode]\nkind = \"gatt\"\n";

fn profile(channels: &str) -> Profile {
    Profile::parse(&alloc::format!("{HEAD}{channels}")).unwrap()
}

fn refused(channels: &str) -> String {
    ToString::to_string(&Profile::parse(&alloc::format!("{HEAD}{channels}")).unwrap_err())
}

fn message(characteristic: u16, instance: u8, value: &'static [u8]) -> Message<'static> {
    Message {
        service: Uuid::from_short(0x181A),
        characteristic: Uuid::from_short(characteristic),
        instance,
        presentations: vec![],
        label: None,
        range: None,
        value,
    }
}

fn packet(index: u8, message: &Message<'_>) -> Vec<u8> {
    wrap(PacketKind::Gatt, index, &message.write().unwrap()).unwrap()
}

/// Readings as `channel: text`, faults in words, and how many were ignored.
fn decoded(profile: &Profile, messages: &[Message<'_>]) -> (Vec<String>, u64) {
    let mut decoder = Decoder::new(profile);
    let mut seen = vec![];
    for (index, message) in (0..).zip(messages) {
        decoder.bytes(Instant::ZERO, &packet(index, message), &mut |item| {
            seen.push(match item {
                Item::Reading(reading) => alloc::format!("{}: {reading}", reading.channel),
                Item::Fault(fault) => alloc::format!("{fault}"),
            });
        });
    }
    (seen, decoder.counters().ignored)
}

const UNIT: &str = "unit not in the profile";

#[test]
fn twins_are_told_apart_by_instance_or_by_label() {
    let twins = [
        Message { label: Some(b"supply air"), ..message(0x2A6E, 1, &[0x65, 0x08]) },
        Message { label: Some(b"return air\0"), ..message(0x2A6E, 2, &[0xCE, 0xFF]) },
        message(0x2A6F, 1, &[0x10, 0x27]),
    ];
    let by_instance = profile(
        "[[decode.channel]]\nnumber = 4\ncharacteristic = \"0x2A6E\"\n\
         [[decode.channel]]\nnumber = 7\nservice = \"0x181A\"\ncharacteristic = \"0x2A6E\"\ninstance = 2\n",
    );
    assert_eq!(decoded(&by_instance, &twins), (vec!["4: 21.49 °C".into(), "7: -0.50 °C".into()], 1));
    let by_label = profile(
        "[[decode.channel]]\nnumber = 1\ncharacteristic = \"00002a6e-0000-1000-8000-00805f9b34fb\"\nlabel = \"return air\"\n",
    );
    assert_eq!(decoded(&by_label, &twins), (vec!["1: -0.50 °C".into()], 2));
}

/// A way that shows one characteristic of each UUID, and not which of how many: it is taken where the profile speaks of one, or by
/// its label; a number is never guessed, and that is told.
#[test]
fn a_value_of_which_the_place_is_not_known_is_never_taken_for_a_numbered_one() {
    let shown = Message { label: Some(b"supply air"), ..message(0x2A6E, 255, &[0x65, 0x08]) };
    let reason =
        "this system's Bluetooth cannot tell which of several characteristics of one UUID sent it; Linux can";
    let sole = "[[decode.channel]]\nnumber = 4\ncharacteristic = \"0x2A6E\"\n";
    let other = "[[decode.channel]]\nnumber = 5\ncharacteristic = \"0x2A6F\"\n";
    let first = "[[decode.channel]]\nnumber = 6\ncharacteristic = \"0x2A6E\"\ninstance = 1\n";
    let second = "[[decode.channel]]\nnumber = 7\ncharacteristic = \"0x2A6E\"\ninstance = 2\n";
    let label = "[[decode.channel]]\nnumber = 8\ncharacteristic = \"0x2A6E\"\nlabel = \"supply air\"\n";
    let cases: [(String, &str); 7] = [
        (sole.into(), "4: 21.49 °C"),
        ([sole, other].concat(), "4: 21.49 °C"),
        ([sole, second].concat(), reason),
        (first.into(), reason),
        (second.into(), reason),
        ([sole, label].concat(), "8: 21.49 °C"),
        ([second, label].concat(), "8: 21.49 °C"),
    ];
    for (channels, want) in cases {
        assert_eq!(
            decoded(&profile(&channels), std::slice::from_ref(&shown)),
            (vec![want.into()], 0),
            "{channels}"
        );
    }
}

/// What the device calls a channel goes with it, by the profile's number or the packet's, and ends when it no longer says it.
#[test]
fn a_channel_keeps_the_word_of_the_device() {
    let said = Message { label: Some(b"return air\0"), ..message(0x2A6E, 2, &[0xCE, 0xFF]) };
    let silent = Message { label: None, ..said.clone() };
    let rubbish = Message { label: Some(b"\x1B[2J"), ..said.clone() };
    let numbered = profile("[[decode.channel]]\nnumber = 7\ncharacteristic = \"0x2A6E\"\ninstance = 2\n");
    for (profile, channel) in [(numbered, 7), (profile(""), 3)] {
        let mut decoder = Decoder::new(&profile);
        let mut take = |message: &Message<'_>| {
            decoder.bytes(Instant::ZERO, &packet(3, message), &mut |_| {});
            decoder.label(channel).map(ToString::to_string)
        };
        assert_eq!(take(&said).as_deref(), Some("return air"));
        assert_eq!(take(&silent), None);
        assert_eq!(take(&said).as_deref(), Some("return air"));
        assert_eq!(take(&rubbish), None);
        assert_eq!(decoder.label(0), None);
    }
}

#[test]
fn without_channels_whatever_describes_itself_is_taken() {
    let farad = &[6, 0xF8, 0x29, 0x27, 1, 0, 0][..];
    let own = Uuid::parse("9f3c1d20-5b7e-4c1a-9d55-0a6b2e4f8c31").unwrap();
    let messages = [
        Message { characteristic: own, presentations: vec![farad], ..message(0, 1, &[0x78, 0x11]) },
        message(0x2A6E, 1, &[0x00, 0x80]),
        Message { characteristic: own, ..message(0, 2, &[1, 2]) },
        // Pascal leaves open whether gauge or absolute.
        message(0x2A6D, 1, &[0, 0, 0, 0]),
    ];
    let (seen, ignored) = decoded(&profile(""), &messages);
    assert_eq!((seen[0].as_str(), ignored), ("0: 0.00004472 F", 1));
    assert_eq!((seen[1].as_str(), seen[2].as_str()), ("1: --- °C", UNIT));
}

#[test]
fn a_unit_that_contradicts_is_a_fault_and_never_a_choice() {
    let own = "characteristic = \"9f3c1d20-5b7e-4c1a-9d55-0a6b2e4f8c31\"\n";
    let uuid = Uuid::parse("9f3c1d20-5b7e-4c1a-9d55-0a6b2e4f8c31").unwrap();
    let auto = profile(&alloc::format!("[[decode.channel]]\n{own}unit = \"uF\"\n"));
    let fields = profile(&alloc::format!(
        "[[decode.channel]]\n{own}value = {{ at = 0, type = \"u16le\" }}\nexponent = -2\nunit = \"uF\"\n"
    ));
    let said = |format: &'static [u8]| {
        [Message { characteristic: uuid, presentations: vec![format], ..message(0, 1, &[0x78, 0x11]) }]
    };
    let farad = said(&[6, 0xF8, 0x29, 0x27, 1, 0, 0]);
    let volt = said(&[6, 0xF8, 0x28, 0x27, 1, 0, 0]);
    for (profile, text) in [(&auto, "0: 44.72 uF"), (&fields, "0: 44.72 uF")] {
        assert_eq!(decoded(profile, &farad).0, [text]);
        assert_eq!(decoded(profile, &volt).0, [UNIT]);
    }
    // Two formats describe two numbers; the table's own unit stands against the device's.
    let two = [Message { presentations: vec![&[6, 0, 0x29, 0x27, 1, 0, 0]; 2], ..farad[0].clone() }];
    assert_eq!(decoded(&auto, &two).0, ["function not in the profile, or at odds with the unit"]);
    let lies =
        [Message { presentations: vec![&[0x0E, 0xFE, 0xAC, 0x27, 1, 0, 0]], ..message(0x2A6E, 1, &[1, 0]) }];
    assert_eq!(decoded(&profile(""), &lies).0, [UNIT]);
}

#[test]
fn a_range_refuses_and_a_short_value_is_no_reading() {
    let own = profile("[[decode.channel]]\ncharacteristic = \"0x2A6E\"\n");
    let cold = Message { range: Some(&[0, 0, 0x88, 0x13]), ..message(0x2A6E, 1, &[0xFF, 0xFF]) };
    let warm = Message { value: &[0x88, 0x13], ..cold.clone() };
    let (seen, _) = decoded(&own, &[cold, warm, message(0x2A6E, 1, &[1]), message(0x2A6E, 1, &[])]);
    let fault = Fault { reason: Reason::Undecodable(Field::Value), bytes: 0 };
    let fault = alloc::format!("{fault}");
    assert_eq!(seen, [fault.clone(), "0: 50.00 °C".into(), fault.clone(), fault]);
}

#[test]
fn a_binary_step_keeps_its_half_step_as_accuracy() {
    let voltage = profile("[[decode.channel]]\ncharacteristic = \"0x2B18\"\nunit = \"V ac\"\n");
    let mut decoder = Decoder::new(&voltage);
    let mut seen = None;
    let bytes = packet(0, &message(0x2B18, 1, &[0x01, 0x1E]));
    decoder.bytes(Instant::ZERO, &bytes, &mut |item| seen = Some(item));
    let Some(Item::Reading(reading)) = seen else { panic!("{seen:?}") };
    // 7681 / 64 = 120.015625 V.
    assert_eq!(alloc::format!("{reading}"), "120.02 V ac");
    let u = reading.quantity().unwrap().unwrap().standard_uncertainty();
    assert!(u >= 1.0 / 64.0 / 12.0_f64.sqrt() * 0.999, "{u}");
}

#[test]
fn what_is_sent_is_decoded() {
    let profile = profile(
        "[[decode.channel]]\nnumber = 0\ncharacteristic = \"0x2A6E\"\ninstance = 3\n\
         [[decode.channel]]\nnumber = 9\ncharacteristic = \"9f3c1d20-5b7e-4c1a-9d55-0a6b2e4f8c31\"\nlabel = \"cap\"\n\
         value = { at = 1, type = \"i24be\" }\nexponent = { at = 0, type = \"i8\" }\nunit = \"uF\"\n",
    );
    let readings = [
        Reading {
            channel: 0,
            display: quantity::DisplayUnit { unit: Unit::CELSIUS, coupling: None },
            ..microfarad("-3.07")
        },
        Reading { channel: 9, ..microfarad("38.520") },
    ];
    let bytes = crate::simulate::encode(&profile, &readings).unwrap();
    for split in [1, 7, bytes.len()] {
        let run = run(&profile, bytes.chunks(split));
        assert_eq!(run.shown(), ["-3.07 °C", "38.520 uF"], "{split}");
        assert_eq!(run.counters.faults(), 0);
    }
}

#[test]
fn a_profile_that_can_never_be_right_is_refused_at_its_line() {
    for (channel, words) in [
        ("caracteristic = \"0x2A6E\"", "line 8, column 1: unknown key \"caracteristic\""),
        ("characteristic = \"2A6E\"", "no UUID; write \"0x2A6E\""),
        ("characteristic = \"0x2A6E\"\nunit = \"psig\"", "line 9, column 8: 0x2A6E is \"Temperature\""),
        ("characteristic = \"0x2A6E\"\ninstance = 1\nlabel = \"a\"", "not both"),
        ("characteristic = \"0x2A6E\"\nformat = \"auot\"", "did you mean \"auto\"?"),
        ("characteristic = \"0x2A6E\"\nexponent = 1", "belongs to format"),
        ("characteristic = \"0x2A6E\"\nfigure = \"average\"", "have figures"),
        (
            "characteristic = \"0x2A6E\"\n[[decode.channel]]\nnumber = 1\ncharacteristic = \"0x2A6E\"",
            "is a channel already",
        ),
        (
            "characteristic = \"0x2A6E\"\n[[decode.channel]]\ncharacteristic = \"0x2A6F\"",
            "needs its own number",
        ),
    ] {
        let told = refused(&alloc::format!("[[decode.channel]]\n{channel}\n"));
        assert!(told.contains(words), "{told:?} lacks {words:?}");
    }
    let text = HEAD.replace("packet", "line");
    assert!(ToString::to_string(&Profile::parse(&text).unwrap_err()).contains("use frame kind \"packet\""));
}

proptest::proptest! {
    #[test]
    fn any_message_gives_a_reading_a_fault_or_is_ignored(bytes in proptest::collection::vec(proptest::prelude::any::<u8>(), 0..120)) {
        let frame = wrap(PacketKind::Gatt, 0, &bytes).unwrap();
        let mut decoder = Decoder::new(&profile(""));
        decoder.bytes(Instant::ZERO, &frame, &mut |_| {});
        let counters = decoder.counters();
        proptest::prop_assert_eq!(counters.readings + counters.faults() + counters.ignored, 1);
    }
}

/// The number is of the characteristic: another one in between does not disturb it.
#[test]
fn notifications_that_are_lost_are_told_by_their_numbers() {
    let profile = profile(
        "[[decode.channel]]\ncharacteristic = \"0xFFF4\"\nsequence = { at = 0, type = \"u8\" }\nunit = \"°C\"\nexponent = -1\n\
         value = { at = 1, type = \"i16le\" }\n[[decode.channel]]\nnumber = 1\ncharacteristic = \"0xFFF5\"\nunit = \"°C\"\n\
         exponent = -1\nvalue = { at = 0, type = \"i16le\" }\n",
    );
    let other = message(0xFFF5, 1, &[0xC8, 0x00]);
    let sent = [
        message(0xFFF4, 1, &[254, 0xE7, 0x00]),
        other.clone(),
        message(0xFFF4, 1, &[255, 0xE7, 0x00]),
        message(0xFFF4, 1, &[255, 0xE7, 0x00]),
        other,
        message(0xFFF4, 1, &[2, 0xE8, 0x00]),
    ];
    let (seen, ignored) = decoded(&profile, &sent);
    assert_eq!(
        seen,
        [
            "0: 23.1 °C",
            "1: 20.0 °C",
            "0: 23.1 °C",
            "1: 20.0 °C",
            "frames are missing, by their numbers",
            "0: 23.2 °C"
        ]
    );
    assert_eq!(ignored, 1);
}
