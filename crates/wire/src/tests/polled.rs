//! Replies in packets -> readings: registers in every order and type. Sends no requests; `poll::tests` does.

use super::*;
use crate::packet::{PacketKind, wrap};
use alloc::{format, vec};

fn profile(channel: &str) -> Profile {
    let text = format!(
        "profile = 1\nid = \"x\"\n[poll]\nkind = \"modbus\"\nunit = 1\n[decode]\nkind = \"registers\"\n\
         [[decode.channel]]\n{channel}\n"
    );
    Profile::parse(&text).unwrap_or_else(|error| panic!("{error}"))
}

/// The readings and drops of one reply with these registers, asked by the first read of the profile.
fn shown(profile: &Profile, head: [u8; 5], data: &[u8]) -> Vec<String> {
    let reply = [head[0], u8::try_from(data.len()).unwrap()];
    let packet = wrap(PacketKind::Reply, 0, &[&head, reply.as_slice(), data].concat()).unwrap();
    let run = run(profile, packet.chunks(5));
    let mut all = run.shown();
    all.extend(run.faults.iter().map(ToString::to_string));
    all
}

/// The four orders of a float, after the letters that manuals use. Numbers and orders are those measured against
/// pymodbus 3.16.1; the bytes are IEEE 754 singles (Python struct).
#[test]
fn a_float_in_all_four_orders() {
    for (word, byte, value, data) in [
        ("big", "big", "44.7000", [0x42, 0x32, 0xCC, 0xCD]),
        ("little", "big", "370.2500", [0x20, 0x00, 0x43, 0xB9]),
        ("big", "little", "-12.5000", [0x48, 0xC1, 0x00, 0x00]),
        ("little", "little", "0.0047", [0x75, 0x02, 0x9A, 0x3B]),
    ] {
        let profile = profile(&format!(
            "entity = \"input\"\naddress = 7\ntype = \"f32\"\nword_order = \"{word}\"\nbyte_order = \"{byte}\"\n\
             unit = \"V dc\"\nexponent = -4"
        ));
        assert_eq!(shown(&profile, [4, 0, 7, 0, 2], &data), [format!("{value} V dc")]);
    }
}

#[test]
fn every_type_at_its_ends() {
    for (kind, more, data, want) in [
        ("u16", "exponent = -1", vec![0xFF, 0xFF], "6553.5 V"),
        ("i16", "exponent = -1", vec![0x80, 0x00], "-3276.8 V"),
        ("i16", "exponent = -1\nno_value = [-32768]", vec![0x80, 0x00], "--- V"),
        ("u32", "exponent = -6", vec![0xFF, 0xFF, 0xFF, 0xFE], "4294.967294 V"),
        ("i32", "exponent = -6", vec![0xFF, 0xFF, 0xFF, 0xFE], "-0.000002 V"),
        ("u16", "exponent = 0\ncounts = 999", vec![0x03, 0xE8], "OL V"),
        ("i16", "exponent = 0\ncounts = 999", vec![0xFC, 0x18], "-OL V"),
        ("f32", "exponent = -1", vec![0x7F, 0x80, 0, 0], "OL V"),
        ("f32", "exponent = -1", vec![0xFF, 0x80, 0, 0], "-OL V"),
        ("f32", "exponent = -1", vec![0x7F, 0xC0, 0, 0], "--- V"),
        ("u16", "divisor = 8", vec![0, 21], "2.6 V"),
        ("i16", "divisor = 8", vec![0xFF, 0xEB], "-2.6 V"),
        ("u16", "divisor = 100", vec![0, 21], "0.21 V"),
    ] {
        let profile =
            profile(&format!("entity = \"holding\"\naddress = 300\ntype = \"{kind}\"\nunit = \"V\"\n{more}"));
        let count = u8::try_from(data.len() / 2).unwrap();
        assert_eq!(shown(&profile, [3, 1, 0x2C, 0, count], &data), [want], "{kind} {more}");
    }
    let bit = profile("entity = \"coil\"\naddress = 9\ntype = \"bit\"\nunit = \"1\"\nregisters = 10");
    assert_eq!(shown(&bit, [1, 0, 9, 0, 10], &[0xFE, 0x03]), ["0 1"]);
    assert_eq!(shown(&bit, [1, 0, 9, 0, 10], &[0x01, 0x00]), ["1 1"]);
}

/// A step that is no power of ten is coarser than its last digit; half a step counts (JCGM 100, 4.3.7: a half-width over
/// sqrt 3), with the rounding of the display.
#[test]
fn half_a_step_is_uncertain() {
    let profile = profile("entity = \"holding\"\naddress = 0\ntype = \"u16\"\nunit = \"V\"\ndivisor = 2");
    let packet = wrap(PacketKind::Reply, 0, &[3, 0, 0, 0, 1, 3, 2, 0, 9]).unwrap();
    let run = run_whole(&profile, &packet);
    let quantity = run.readings[0].quantity().unwrap().unwrap();
    let want = libm::hypot(0.25 / libm::sqrt(3.0), 0.1 / libm::sqrt(12.0));
    assert!((quantity.standard_uncertainty() - want).abs() < 1e-12);
}

#[test]
fn what_was_not_asked_or_is_cut_short_is_no_reading() {
    let profile = profile("entity = \"holding\"\naddress = 0\ntype = \"u16\"\nunit = \"V\"\nexponent = 0");
    let head = [3, 0, 0, 0, 1];
    assert_eq!(shown(&profile, head, &[0, 5]), ["5 V"]);
    for (head, data) in [
        ([3, 0, 1, 0, 1], vec![0, 5]),
        ([4, 0, 0, 0, 1], vec![0, 5]),
        ([3, 0, 0, 0, 1], vec![0, 5, 0, 6]),
        ([3, 0, 0, 0, 1], vec![0]),
        ([3, 0, 0, 0, 1], vec![]),
    ] {
        let got = shown(&profile, head, &data);
        assert!(got.len() == 1 && got[0].starts_with("line does not fit"), "{got:?}");
    }
    let refused = wrap(PacketKind::Reply, 0, &[3, 0, 0, 0, 1, 0x83, 2]).unwrap();
    let run = run_whole(&profile, &refused);
    assert_eq!((run.readings.len(), run.counters.drops(crate::Reason::Refused)), (0, 1));
}

/// Digits are those sent, moved by the scale alone; what is finer than the stated last digit is rounded away.
#[test]
fn an_answer_keeps_its_digits() {
    for (more, answer, want) in [
        ("unit = \"V\"", "12.40", "12.40 V"),
        ("unit = \"V\"", "+1.2400E+01", "12.400 V"),
        ("unit = \"V\"", "-7", "-7 V"),
        ("unit = \"uF\"\nscale = 6", "+3.31204E-05", "33.1204 uF"),
        ("unit = \"uF\"\nscale = 6\nexponent = -2", "+3.31250E-05", "33.13 uF"),
        ("unit = \"uF\"\nscale = 6\nexponent = -6", "+3.31E-05", "33.1 uF"),
        ("unit = \"V\"\nexponent = 0", "0.4999999", "0 V"),
        ("unit = \"V\"", "9.9E37", "OL V"),
        ("unit = \"V\"", "-9.900000E+37", "-OL V"),
        ("unit = \"V\"", "9.91E+37", "--- V"),
        ("unit = \"V\"", "9.8E37", "value not understood"),
        ("unit = \"V\"", "1E30", "value not understood"),
        ("unit = \"V\"", "1234567890123456789", "value not understood"),
        ("unit = \"V\"", "1e-40", "value not understood"),
    ] {
        let text = format!(
            "profile = 1\nid = \"x\"\n[poll]\nkind = \"scpi\"\n[decode]\nkind = \"answers\"\n[[decode.channel]]\n\
             query = \"READ?\"\n{more}\n"
        );
        let profile = Profile::parse(&text).unwrap_or_else(|error| panic!("{error}"));
        assert_eq!(profile.evidence(), crate::Evidence::Agreement { frames: 2 });
        let message = format!("READ?\n{answer}");
        let packet = wrap(PacketKind::Reply, 0, message.as_bytes()).unwrap();
        let run = run_whole(&profile, &packet.repeat(2));
        let mut got = run.shown();
        got.extend(run.faults.iter().map(ToString::to_string));
        assert_eq!(got, [want, want], "{answer}");
    }
}

/// One read for what adjoins, each table and pace for itself, none longer than allowed.
#[test]
fn adjoining_registers_share_a_read() {
    let channel = |number: u8, more: &str| {
        format!("[[decode.channel]]\nnumber = {number}\ntype = \"u16\"\nunit = \"V\"\nexponent = 0\n{more}\n")
    };
    let all = [
        channel(0, "entity = \"holding\"\naddress = 5"),
        channel(1, "entity = \"holding\"\naddress = 4"),
        channel(2, "entity = \"holding\"\naddress = 7"),
        channel(3, "entity = \"holding\"\naddress = 8\njoin = false"),
        channel(4, "entity = \"holding\"\naddress = 6\npoll_ms = 250"),
        channel(5, "entity = \"input\"\naddress = 5"),
        channel(6, "entity = \"holding\"\naddress = 5\nflags = { hold = \"6.15\" }"),
    ]
    .concat();
    let text = |poll: &str| {
        format!(
            "profile = 1\nid = \"x\"\n[poll]\nkind = \"modbus\"\nunit = 1\n{poll}\n[decode]\nkind = \"registers\"\n{all}"
        )
    };
    let reads = |poll: &str| {
        let profile = Profile::parse(&text(poll)).unwrap_or_else(|error| panic!("{error}"));
        let crate::decode::Decode::Registers(decode) = profile.decode() else { panic!() };
        decode
            .reads
            .iter()
            .map(|b| format!("{} {}+{}", b.entity.function(), b.address, b.count))
            .collect::<Vec<_>>()
    };
    assert_eq!(reads(""), ["3 6+1", "3 4+4", "3 8+1", "4 5+1"]);
    assert_eq!(reads("block_max = 3"), ["3 6+1", "3 4+3", "3 7+1", "3 8+1", "4 5+1"]);
}
