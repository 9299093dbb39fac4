//! Ambiguous framing: a steady display whose bytes contain the sync byte, joined anywhere. Damages nothing; `damage`
//! does.
//!
//! An exclusive or over all bytes of a frame is 0 wherever the frame is begun, so each byte of a steady display that
//! equals the sync byte begins sound frames; an 8-bit sum does the same for one display in 128.

use super::mutate::Seeded;
use super::*;
use crate::Reason;
use std::println;

/// What stands in the made-up meter's byte 7, and which function is on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Nasty {
    /// Nothing equals the sync byte but the value, at times.
    Nothing,
    /// A constant does.
    Constant,
    /// A function code does.
    Function,
}

/// Nine bytes: sync, function, power of ten, value (two bytes), bar graph, flags, a constant, check.
pub(crate) fn meter(check: &str, must: &str, agree: u8) -> Profile {
    Profile::parse(&meter_text(check, must, agree)).unwrap_or_else(|error| panic!("{error}"))
}

pub(crate) fn meter_text(check: &str, must: &str, agree: u8) -> String {
    alloc::format!(
        "profile = 1\nid = \"nine\"\nagree = {agree}\n[frame]\nkind = \"fixed\"\nsync = [0xAA]\nlength = 9\n\
         check = {{ kind = \"{check}\", from = 0, to = 8, at = 8 }}\n{must}[decode]\nkind = \"fields\"\n\
         [[decode.channel]]\nselect = {{ at = 1, type = \"u8\" }}\nexponent = {{ at = 2, type = \"i8\" }}\n\
         value = {{ at = 3, type = \"u16be\" }}\n\
         [decode.channel.functions]\n1 = \"uF\"\n2 = \"V ac\"\n3 = \"kohm\"\n0xAA = \"A ac\"\n\
         [decode.channel.flags]\nhold = \"6.0\"\nlow_battery = \"6.1\"\noverload = \"6.2\"\n"
    )
}

/// A frame and what its display shows.
fn display(seeded: &mut Seeded, check: ChecksumKind, nasty: Nasty) -> ([u8; 9], String) {
    let function = match nasty {
        Nasty::Function => 3,
        _ => seeded.below(3),
    };
    let (code, unit) = [(1, "uF"), (2, "V ac"), (3, "kohm"), (0xAA, "A ac")][function];
    let constant = if nasty == Nasty::Constant { 0xAA } else { 0x5C };
    let counts = u16::try_from(seeded.below(60_000)).unwrap();
    let [high, low] = counts.to_be_bytes();
    let places = seeded.below(4);
    let bar = u8::try_from(counts / 1000).unwrap();
    let flags = u8::try_from(seeded.below(2)).unwrap();
    let power = [0, 0xFF, 0xFE, 0xFD][places];
    let mut frame = [0xAA, code, power, high, low, bar, flags, constant, 0];
    frame[8] = check.compute(&frame[..8])[0];
    let exponent = -i8::try_from(places).unwrap();
    (frame, alloc::format!("{} {unit}", Decimal::new(i64::from(counts), exponent).unwrap()))
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Joins {
    joins: usize,
    without: usize,
    wrong: usize,
    two_cuts: usize,
}

/// 150 joins at a random byte, each of 40 equal frames.
fn joins(profile: &Profile, check: ChecksumKind, nasty: Nasty) -> Joins {
    let mut seeded = Seeded(9);
    let mut tally = Joins::default();
    for _ in 0..150 {
        let (frame, shown) = display(&mut seeded, check, nasty);
        let bytes = frame.repeat(41);
        let from = seeded.below(frame.len());
        let run = run(profile, bytes[from..from + 40 * frame.len()].chunks(frame.len()));
        tally.joins += 1;
        tally.without += usize::from(run.readings.is_empty());
        tally.wrong += usize::from(run.shown().iter().any(|got| *got != shown));
        tally.two_cuts += usize::from(run.counters.drops(Reason::Ambiguous) > 0);
    }
    tally
}

/// 40 equal frames are 10 s at 4 Hz. `--nocapture` prints the table.
#[test]
fn a_steady_display_is_read_wherever_it_is_joined() {
    println!(
        "| check | equals the sync byte | demanded | agree | joins | without a reading | wrong | two cuts |"
    );
    for (name, check) in [("xor8", ChecksumKind::Xor8), ("sum8", ChecksumKind::Sum8)] {
        for nasty in [Nasty::Nothing, Nasty::Constant, Nasty::Function] {
            for must in ["", "must"] {
                for agree in [1, 2] {
                    let constant = if nasty == Nasty::Constant { "0xAA" } else { "0x5C" };
                    let demanded = alloc::format!("must = {{ 7 = {constant} }}\n");
                    let demanded = if must.is_empty() { "" } else { &demanded };
                    let t = joins(&meter(name, demanded, agree), check, nasty);
                    println!(
                        "| {name} | {nasty:?} | {must} | {agree} | {} | {} | {} | {} |",
                        t.joins, t.without, t.wrong, t.two_cuts
                    );
                    // Without the demanded byte, one display in some hundred can be read both ways; that is told.
                    let ambiguous = if nasty == Nasty::Function && must.is_empty() { t.two_cuts } else { 0 };
                    assert_eq!((t.without, t.wrong), (ambiguous, 0), "{name} {nasty:?} {must} {agree}");
                    assert!(ambiguous <= 2, "{name} {nasty:?} {must} {agree}");
                }
            }
        }
    }
}

/// A meter of seven bytes without anything that tells its two ways apart: sync, value, constant equal to sync, value, xor8
/// of all. Both ways can be read as long as the display stands still.
pub(crate) fn twofold(check: &str, agree: u8) -> Profile {
    let text = alloc::format!(
        "profile = 1\nid = \"twofold\"\nagree = {agree}\n[frame]\nkind = \"fixed\"\nsync = [0xAA]\nlength = 7\n\
         check = {{ kind = \"{check}\", from = 0, to = 6, at = 6 }}\n[decode]\nkind = \"fields\"\n\
         [[decode.channel]]\nunit = \"uF\"\nexponent = -2\nvalue = {{ at = 1, type = \"u16be\" }}\n"
    );
    Profile::parse(&text).unwrap_or_else(|error| panic!("{error}"))
}

fn twofold_frame(counts: u16, second: u8) -> [u8; 7] {
    let [high, low] = counts.to_be_bytes();
    let mut frame = [0xAA, high, low, 0xAA, 0, second, 0];
    frame[6] = ChecksumKind::Xor8.compute(&frame[..6])[0];
    frame
}

#[test]
fn where_both_ways_can_be_read_nothing_is_believed_and_that_is_told() {
    let steady = twofold_frame(3852, 0x11).repeat(41);
    for agree in [1, 2] {
        for from in 0..7 {
            for size in [1, 5, 7, 500] {
                let run = run(&twofold("xor8", agree), steady[from..].chunks(size));
                assert_eq!(run.shown(), [""; 0], "{agree} {from} {size}");
                assert!(run.counters.drops(Reason::Ambiguous) > 60, "{agree} {from} {size}");
            }
        }
    }
}

/// As soon as the display moves, the false way breaks.
#[test]
fn a_change_of_the_display_tells_the_ways_apart() {
    for from in 0..7 {
        let moving: Vec<u8> = (0..20).flat_map(|i| twofold_frame(3852 + i, 0x11)).collect();
        let run = run_whole(&twofold("xor8", 1), &moving[from..]);
        assert!(run.readings.len() >= 18, "{from}: {:?}", run.shown());
        assert!(run.shown().iter().all(|shown| shown.starts_with("38.") && shown.ends_with(" uF")), "{from}");
    }
}

/// A function that the profile does not name: the true frames are refused and the false ones could be read. What was read
/// before says which is which.
#[test]
fn a_refused_frame_in_a_row_of_read_ones_gives_no_other_cut_a_chance() {
    let profile = meter("xor8", "", 1);
    let named = |seed: u64| display(&mut Seeded(seed), ChecksumKind::Xor8, Nasty::Nothing).0;
    // Byte 4 equals the sync byte, and what follows it looks like function, power and value; the function is none.
    let mut strange = [0xAA, 0, 0xFF, 0x10, 0xAA, 1, 0, 0x5C, 0];
    strange[8] = ChecksumKind::Xor8.compute(&strange[..8])[0];
    let alone = run_whole(&profile, &strange.repeat(20));
    let bytes = [named(1).repeat(3), named(2).repeat(3), strange.repeat(20)].concat();
    let run = run_whole(&profile, &bytes);
    assert_eq!(run.readings.len(), 6, "{:?}", run.shown());
    assert!(
        run.counters.drops(Reason::Ambiguous) > 15 && alone.readings.len() > 15,
        "the false cut can be read"
    );
}

/// No bytes behind it are waited for in vain.
#[test]
fn a_frame_that_waits_for_what_follows_is_handed_out_when_nothing_does() {
    let profile = meter("xor8", "", 1);
    let mut frame = [0xAA, 1, 0xFE, 0x0F, 0xAA, 39, 0, 0x5C, 0];
    frame[8] = ChecksumKind::Xor8.compute(&frame[..8])[0];
    let mut decoder = Decoder::new(&profile);
    let mut seen = Vec::new();
    for second in [1, 10, 20] {
        decoder.bytes(Instant::from_micros(second * 1_000_000), &frame, &mut |item| seen.push(item));
    }
    let times: Vec<i64> = seen
        .iter()
        .map(|item| match item {
            Item::Reading(reading) => reading.at.micros() / 1_000_000,
            Item::Fault(fault) => panic!("{fault}"),
        })
        .collect();
    assert_eq!(times, [1, 10]);
    assert_eq!((decoder.counters().gaps, decoder.held()), (2, 9));
}

/// Frames that follow on one that was read are handed out when they are whole, whatever stands inside them.
#[test]
fn a_frame_in_a_row_does_not_wait() {
    let profile = meter("xor8", "must = { 7 = 0xAA }\n", 1);
    let (frame, shown) = display(&mut Seeded(5), ChecksumKind::Xor8, Nasty::Constant);
    let run = run(&profile, frame.repeat(10).chunks(9));
    let times: Vec<i64> = run.readings.iter().map(|reading| reading.at.micros() / 10_000).collect();
    // The first is told from what may begin inside it by the bytes of the second; its time is that of its last byte.
    assert_eq!(times, [0, 1, 2, 3, 4, 5, 6, 7, 8, 9], "{shown}");
    assert_eq!(run.counters.faults(), 0);
}

#[test]
fn a_demanded_byte_that_differs_is_told_by_its_name() {
    let profile = meter("xor8", "must = { 7 = 0x5C }\n", 1);
    let (good, shown) = display(&mut Seeded(6), ChecksumKind::Xor8, Nasty::Nothing);
    let mut bad = good;
    bad[7] ^= 1;
    bad[8] ^= 1;
    let run = run_whole(&profile, &[good, bad, good].concat());
    assert_eq!(run.shown(), [shown.as_str(), &shown]);
    assert_eq!(run.faults, [Fault { reason: Reason::FixedByte, bytes: 9 }]);
}

/// What damage did to the nine-byte meter.
#[derive(Clone, Copy, Debug, Default)]
struct Damaged {
    frames: usize,
    readings: usize,
    /// Readings that no display said.
    wrong: usize,
}

/// 1,000 displays of six frames each, every byte flipped, lost, doubled or preceded by another with a chance of 1 in `rare`.
fn damaged(profile: &Profile, check: ChecksumKind, nasty: Nasty, rare: usize) -> Damaged {
    let mut seeded = Seeded(11);
    let mut decoder = Decoder::new(profile);
    let mut tally = Damaged::default();
    for second in 0..1_000 {
        let (frame, shown) = display(&mut seeded, check, nasty);
        let mut bytes = Vec::new();
        for byte in frame.repeat(6) {
            match (seeded.below(rare), seeded.below(4)) {
                (0, 0) => bytes.push(byte ^ 1 << seeded.below(8)),
                (0, 1) => {}
                (0, 2) => bytes.extend([byte, byte]),
                (0, _) => bytes.extend([u8::try_from(seeded.below(256)).unwrap(), byte]),
                _ => bytes.push(byte),
            }
        }
        // A gap between displays, so that each reading is of the one in hand.
        decoder.gap(Instant::from_micros(second * 1_000_000));
        decoder.bytes(Instant::from_micros(second * 1_000_000), &bytes, &mut |item| {
            if let Item::Reading(reading) = item {
                tally.readings += 1;
                tally.wrong += usize::from(reading.to_string() != shown);
            }
        });
        tally.frames += 6;
    }
    tally
}

/// Agreement of two, the default for one byte of checksum. `--nocapture` prints the table.
#[test]
fn damage_on_a_steady_display_gets_nothing_through() {
    println!("| check | equals the sync byte | demanded | damage | frames | readings | wrong |");
    for (name, check) in [("xor8", ChecksumKind::Xor8), ("sum8", ChecksumKind::Sum8)] {
        for nasty in [Nasty::Nothing, Nasty::Constant] {
            for must in ["", "must"] {
                for rare in [40, 150] {
                    let constant = if nasty == Nasty::Constant { "0xAA" } else { "0x5C" };
                    let demanded = alloc::format!("must = {{ 7 = {constant} }}\n");
                    let demanded = if must.is_empty() { "" } else { &demanded };
                    let t = damaged(&meter(name, demanded, 2), check, nasty, rare);
                    println!(
                        "| {name} | {nasty:?} | {must} | 1 in {rare} bytes | {} | {} | {} |",
                        t.frames, t.readings, t.wrong
                    );
                    assert!(
                        t.wrong == 0 && t.readings > t.frames / 2,
                        "{name} {nasty:?} {must} {rare}: {t:?}"
                    );
                }
            }
        }
    }
}
