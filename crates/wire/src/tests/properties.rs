//! Properties over random bytes and readings: no panic, bounded memory, no byte lost from the count, how the input is
//! split changes nothing, garbage around good frames costs only itself, and decoding what was encoded gives the same.

use super::*;
use crate::simulate;
use proptest::collection::vec;
use proptest::prelude::*;
use quantity::Sign;

fn profiles() -> Vec<Profile> {
    let loose = "profile = 1\nid = \"loose-line\"\n[frame]\nkind = \"line\"\n[decode]\nkind = \"pattern\"\n\
        loose = true\npattern = \"{value} {unit}\"\n[decode.units]\nuF = \"uF\"\n";
    alloc::vec![
        line_profile(),
        binary_profile(),
        small_binary("xor8", 1),
        small_binary("sum16be", 3),
        counted_profile(),
        small_counted("type = \"u8\", counts = \"payload\"", "xor8", 1),
        small_counted("type = \"u16le\", counts = \"rest\"", "crc16modbus", 1),
        Profile::parse(loose).unwrap(),
        segment_profile(),
        segments_in_fixed(Some("sum8"), 2),
        segments_in_fixed(None, 2),
        cuts::meter("xor8", "", 1),
        cuts::meter("sum8", "must = { 7 = 0xAA }\n", 2),
        cuts::twofold("xor8", 1),
    ]
}

/// Bytes of which many look like parts of frames.
fn bytes() -> impl Strategy<Value = Vec<u8>> {
    let piece = prop_oneof![
        vec(any::<u8>(), 0..40),
        Just(b"CAP   38.52 uF    A   \r\n".to_vec()),
        Just(b"\r\n".to_vec()),
        Just(alloc::vec![0xD7, 0x2B]),
        (0_u8..14, vec(any::<u8>(), 0..14))
            .prop_map(|(n, rest)| [&[0xD7, 0x2B, n], rest.as_slice()].concat()),
        (0_u8..24, vec(any::<u8>(), 0..9))
            .prop_map(|(n, rest)| [&[0x3C, 0xB1, 1, n], rest.as_slice()].concat()),
        Just(alloc::vec![0x3C, 0xB1, 1, 5, 0, 4, 0xA2, 0, 62, 0, 0xE9]),
        Just(alloc::vec![0x1F, 0x24, 0x3F, 0x47, 0x5D, 0x6E, 0x7B, 0x85, 0x98, 0xA0, 0xB2, 0xC2, 0xD0]),
        vec(0_u8..16, 0..14).prop_map(|data| data
            .iter()
            .zip(1_u8..)
            .map(|(data, place)| place << 4 | data)
            .collect()),
        Just(alloc::vec![0xD7, 0x2B, 6, 0xFE, 0x77, 0x11, 0, 0, 0xE7, 0, 0x62, 0x9A]),
    ];
    vec(prop_oneof![6 => piece, 1 => still()], 0..20).prop_map(|pieces| pieces.concat())
}

/// A display that stands still, its sync byte inside it too, with an exclusive or of all bytes behind them.
fn still() -> impl Strategy<Value = Vec<u8>> {
    let byte = prop_oneof![Just(0xAA_u8), Just(0), 1_u8..4, any::<u8>()];
    (vec(byte, 5..=7), 1_usize..4).prop_map(|(rest, times)| {
        let bytes = [&[0xAA], rest.as_slice()].concat();
        [bytes.as_slice(), &ChecksumKind::Xor8.compute(&bytes)[..1]].concat().repeat(times)
    })
}

fn state() -> impl Strategy<Value = State> {
    prop_oneof![
        6 => (-9_999_i64..=9_999, -3_i8..=0).prop_map(|(m, e)| State::Value(Decimal::new(m, e).unwrap())),
        1 => Just(State::Overload(Sign::Positive)),
        1 => Just(State::Overload(Sign::Negative)),
    ]
}

fn any_reading() -> impl Strategy<Value = Reading> {
    use Coupling::{Ac, Dc};
    let units = [
        (Unit::MICROFARAD, None),
        (Unit::NANOFARAD, None),
        (Unit::OHM, None),
        (Unit::KILOHM, None),
        (Unit::MEGOHM, None),
        (Unit::VOLT, Some(Ac)),
        (Unit::VOLT, Some(Dc)),
        (Unit::AMPERE, Some(Ac)),
        (Unit::MICROAMPERE, Some(Dc)),
    ];
    (0..units.len(), state(), any::<[bool; 4]>()).prop_map(
        move |(i, state, [hold, low_battery, relative, min_max])| {
            let (unit, coupling) = units[i];
            let flags = Flags { hold, low_battery, relative, min_max };
            // A zeroed meter shows a small negative number at most where the kind allows no more.
            let state = match (state, unit.kind()) {
                (State::Value(d), quantity::Kind::Capacitance | quantity::Kind::Resistance) => {
                    State::Value(Decimal::new(d.mantissa().abs(), d.exponent()).unwrap())
                }
                (state, _) => state,
            };
            Reading { state, flags, ..reading("0", unit, coupling) }
        },
    )
}

fn same(a: &Reading, b: &Reading) -> bool {
    let negative_zero = |r: &Reading| matches!(r.state, State::Value(d) if d.mantissa() == 0);
    let states = a.state == b.state || (negative_zero(a) && negative_zero(b));
    states
        && (a.display.unit, a.display.coupling, a.flags, a.channel)
            == (b.display.unit, b.display.coupling, b.flags, b.channel)
}

proptest! {
    #[test]
    fn no_byte_is_lost_from_the_count_and_memory_is_bounded(bytes in bytes()) {
        for profile in profiles() {
            let run = run_whole(&profile, &bytes);
            let c = run.counters;
            prop_assert_eq!(c.bytes, c.frame_bytes + c.dropped_bytes + run.held as u64);
            prop_assert!(c.readings as usize == run.readings.len());
            prop_assert!(c.faults() as usize == run.faults.len());
            for (i, reading) in run.readings.iter().enumerate() {
                prop_assert_eq!(reading.seq, i as u64);
            }
        }
    }

    #[test]
    fn splits_mean_nothing(bytes in bytes(), size in 1_usize..50) {
        for profile in profiles() {
            let whole = run_whole(&profile, &bytes);
            prop_assert_eq!(whole.timeless(), run(&profile, bytes.chunks(size)).timeless());
            prop_assert_eq!(whole.timeless(), run(&profile, bytes.chunks(1)).timeless());
        }
    }

    #[test]
    fn garbage_around_frames_costs_only_itself(before in vec(any::<u8>(), 0..60), after in vec(any::<u8>(), 0..60)) {
        let values = [microfarad("38.52"), microfarad("38.53"), microfarad("38.52"), microfarad("38.53")];
        let counted = small_counted("type = \"u8\", counts = \"payload\"", "crc16modbus", 1);
        for profile in [line_profile(), small_binary("crc16modbus", 1), counted, segment_profile()] {
            let bytes = [before.as_slice(), &stream(&profile, &values), &after, &stream(&profile, &values)].concat();
            // Rubbish that begins like a long frame holds the last frames up until more bytes come.
            let bytes = [bytes.as_slice(), &[0x0A; 32]].concat();
            let shown = run_whole(&profile, &bytes).shown();
            let good = if profile.agree() == 1 { 8 } else { 6 };
            prop_assert!(shown.len() >= good, "{shown:?}");
            prop_assert!(shown.iter().all(|s| s == "38.52 uF" || s == "38.53 uF"), "{shown:?}");
        }
    }

    #[test]
    fn encode_then_decode_is_the_same_reading(reading in any_reading()) {
        let line = line_profile();
        let bytes = stream(&line, &[reading, reading]);
        let decoded = run_whole(&line, &bytes);
        prop_assert_eq!(decoded.counters.faults(), 0);
        prop_assert!(decoded.readings.len() == 2 && decoded.readings.iter().all(|r| same(r, &reading)));

        let binary = binary_profile();
        let jack = Reading { channel: 1, state: State::NoValue, ..super::reading("0", Unit::CELSIUS, None) };
        let frame = simulate::encode(&binary, &[reading, jack]).unwrap();
        let decoded = run_whole(&binary, &frame);
        prop_assert!(decoded.readings.len() == 2 && same(&decoded.readings[0], &reading) && same(&decoded.readings[1], &jack));
    }

    #[test]
    fn counted_encode_then_decode_is_the_same_reading(
        pressure in -140_i16..=4999, clamp in -2731_i16..=3000, plugged in any::<bool>(), [hold, low_battery] in any::<[bool; 2]>(),
    ) {
        let profile = counted_profile();
        let flags = Flags { hold, low_battery, ..Flags::default() };
        let shown = |counts: i16, unit| Reading {
            flags,
            state: State::Value(Decimal::new(i64::from(counts), -1).unwrap()),
            ..reading("0", unit, None)
        };
        let both = [shown(pressure, Unit::PSIG), Reading { channel: 1, ..shown(clamp, Unit::CELSIUS) }];
        let sent = if plugged { &both[..] } else { &both[..1] };
        // The first frame of all may end like another begins, and waits for one byte more.
        let mut bytes = simulate::encode(&profile, sent).unwrap();
        bytes.push(0);
        let decoded = run_whole(&profile, &bytes);
        prop_assert_eq!(decoded.counters.faults(), 0);
        prop_assert_eq!(decoded.readings.len(), sent.len());
        prop_assert!(decoded.readings.iter().zip(sent).all(|(a, b)| same(a, b)));
    }

    #[test]
    fn profile_loader_never_panics(text in "(profile = 1\n|id = \"a\"\n|\\[frame\\]\n|kind = \"(line|fixed|counted|indexed)\"\n|\\[decode\\]\n|[a-z_]{1,8} = [0-9\"{}\\[\\]a-z:., ]{0,12}\n){0,12}") {
        let _ = Profile::parse(&text);
    }
}
