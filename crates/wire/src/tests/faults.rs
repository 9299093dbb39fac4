//! Byte-level faults, one test for each. Damage of every byte and bit is counted in `damage`.

use super::*;
use crate::{Field, Reason};
use quantity::Sign;

fn text(lines: &str) -> Run {
    run_whole(&line_profile(), lines.as_bytes())
}

const A: &str = "CAP   38.52 uF    A   \r\n";

#[test]
fn joined_in_mid_frame_drops_the_first_piece() {
    // The piece alone would fit no pattern; a whole line cannot be told from one, so it goes too.
    for first in ["8.52 uF    A   \r\n", A] {
        let run = text(&[first, A, A].concat());
        assert_eq!(run.shown(), ["38.52 uF", "38.52 uF"], "{first:?}");
        assert_eq!(run.counters.drops(Reason::Partial), 1);
    }
    let profile = binary_profile();
    let frames = stream(&small_binary("crc16modbus", 1), &[microfarad("38.52"), microfarad("38.53")]);
    for cut in 1..9 {
        let run = run_whole(&small_binary("crc16modbus", 1), &frames[cut..]);
        assert_eq!(run.shown(), ["38.53 uF"], "cut {cut}");
        assert_eq!(run.counters.drops(Reason::Partial), 1);
    }
    assert_eq!(profile.frame_bytes_max(), 12);
}

#[test]
fn line_ends_of_any_kind() {
    for end in ["\r", "\n", "\r\n", "\n\r", "\r\n\r\n"] {
        let line = &A[..22];
        let run = text(&[end, line, end, line, end].concat());
        assert_eq!(run.shown().len(), 2, "{end:?}");
        assert_eq!(run.counters.faults(), 0, "{end:?}");
    }
}

#[test]
fn an_endless_line_costs_bounded_memory_and_is_reported_as_it_runs() {
    let mut bytes = b"\r\n".to_vec();
    bytes.extend([b'x'; 100_000]);
    let profile = line_profile();
    let run = run(&profile, bytes.chunks(100));
    assert!(run.counters.drops(Reason::Overlong) >= 20);
    assert!(run.counters.dropped_bytes > 90_000 && run.held < 8192);
    assert!(profile.frame_bytes_max() <= 1024);
}

#[test]
fn endless_sync_bytes_cost_bounded_memory() {
    let bytes: Vec<u8> = core::iter::repeat_n([0xD7, 0x2B], 20_000).flatten().collect();
    let run = run_whole(&binary_profile(), &bytes);
    assert!(run.readings.is_empty());
    assert!(run.counters.dropped_bytes > 39_000);
}

#[test]
fn a_sync_pattern_inside_rubbish_does_not_swallow_the_next_frame() {
    let profile = small_binary("sum16le", 1);
    let good = stream(&profile, &[microfarad("38.52")]);
    for rubbish in [&[0xD7, 0x2B][..], &[0xD7], &[0xD7, 0x2B, 0xD7], &[0xD7, 0x2B, 1, 2, 3, 4, 0xD7, 0x2B]] {
        let run = run_whole(&profile, &[rubbish, &good, &good].concat());
        assert_eq!(run.shown(), ["38.52 uF", "38.52 uF"], "{rubbish:02X?}");
    }
}

#[test]
fn a_duplicate_frame_is_a_reading_of_its_own_number_and_time() {
    let one = stream(&small_binary("sum8", 1), &[microfarad("38.52")]);
    let run = run(&small_binary("sum8", 1), [one.as_slice(), one.as_slice()]);
    let seen: Vec<(u64, i64)> = run.readings.iter().map(|r| (r.seq, r.at.micros())).collect();
    assert_eq!(seen, [(0, 0), (1, 10_000)]);
}

#[test]
fn overload_and_no_value_are_states_and_need_agreement_too() {
    let run = text(
        "\nRES      OL Mohm      \nRES      OL Mohm      \nRES     -OL Mohm      \nRES     -OL Mohm      \n",
    );
    let states: Vec<State> = run.readings.iter().map(|r| r.state).collect();
    let (plus, minus) = (State::Overload(Sign::Positive), State::Overload(Sign::Negative));
    assert_eq!(states, [plus, plus, minus, minus]);
    assert!(run.readings.iter().all(|r| r.quantity().is_none() && r.accuracy.is_none()));
    assert!(text("\nRES      OL Mohm      \nRES   1.200 Mohm      \n").readings.is_empty());
}

#[test]
fn hold_and_min_max_are_not_live_and_one_frame_of_them_is_not_believed() {
    let held = "VAC   118.2 V     H   \r\n";
    let live = "VAC   118.2 V         \r\n";
    let run = text(&["\n", live, live, held, live, live, held, held].concat());
    let holds: Vec<bool> = run.readings.iter().map(|r| r.flags.hold).collect();
    // The first `held` stands alone until the next two, inside the window, bear it out; it is dropped by then.
    assert_eq!(holds, [false, false, false, false, true, true]);
    assert!(run.readings.iter().filter(|r| r.flags.hold).all(|r| !r.flags.is_live()));
}

#[test]
fn function_changes_show_in_the_unit_and_old_frames_do_not_bear_out_new_ones() {
    let volts = "VAC   118.2 V         \r\n";
    let ohms = "RES   118.2 ohm       \r\n";
    let run = text(&["\n", volts, volts, ohms, ohms].concat());
    assert_eq!(run.shown(), ["118.2 V ac", "118.2 V ac", "118.2 ohm", "118.2 ohm"]);
    assert!(text(&["\n", volts, ohms].concat()).readings.is_empty());
}

#[test]
fn what_the_profile_does_not_name_is_refused_field_by_field() {
    for (line, field) in [
        ("XYZ   38.52 uF        ", Field::Mode),
        ("CAP   38.52 V         ", Field::Mode),
        ("CAP   38.52 qF        ", Field::Unit),
        ("CAP   38.52 uF    Q   ", Field::Flags),
        ("CAP   38.52 uF    HH  ", Field::Flags),
        ("CAP   3 .52 uF        ", Field::Value),
        ("CAP   38.5e uF        ", Field::Value),
        ("CAP         uF        ", Field::Value),
        ("CAP       . uF        ", Field::Value),
        ("CAP   --3.5 uF        ", Field::Value),
        // Beyond what can be: below absolute zero.
        ("TMP  -300.0 degC      ", Field::Value),
    ] {
        let run = text(&["\n", line, "\n"].concat());
        assert_eq!(run.faults, [Fault { reason: Reason::Undecodable(field), bytes: 0 }], "{line:?}");
    }
    for line in ["CAP   38.52 uF       ", "CAP   38.52xuF        ", "CAP:  38.52 uF        ", "x"] {
        let run = text(&["\n", line, "\n"].concat());
        assert!(matches!(run.faults[0].reason, Reason::Pattern | Reason::Overlong), "{line:?}");
    }
}

#[test]
fn a_gap_drops_the_partial_frame_and_restarts_agreement() {
    let profile = line_profile();
    let mut decoder = Decoder::new(&profile);
    let mut shown = Vec::new();
    let mut feed = |decoder: &mut Decoder, ms: i64, text: &str| {
        decoder.bytes(Instant::from_micros(ms * 1000), text.as_bytes(), &mut |item| {
            if let Item::Reading(reading) = item {
                shown.push(reading.to_string());
            }
        });
    };
    feed(&mut decoder, 0, &["\n", A, &A[..12]].concat());
    decoder.gap(Instant::from_micros(1));
    // Fits the half line before the gap; never joined to it, and the line before it bears nothing out.
    feed(&mut decoder, 2, &[&A[12..], A].concat());
    assert_eq!(decoder.counters().gaps, 1);
    assert_eq!(
        (decoder.counters().drops(Reason::Partial), decoder.counters().drops(Reason::Disagreed)),
        (2, 1)
    );
    // Silence longer than silence_ms (1500) is a gap that the decoder sees by itself.
    feed(&mut decoder, 1502, A);
    feed(&mut decoder, 3003, &["\n", A].concat());
    assert_eq!(decoder.counters().gaps, 2);
    assert_eq!(shown, ["38.52 uF", "38.52 uF"]);
}

#[test]
fn a_line_checksum_is_checked_and_lets_a_single_line_stand() {
    let with = LINE.replace("agree = 2 ", "").replace("# check = \"xor8\"", "check = \"xor8\"");
    let profile = Profile::parse(&with).unwrap();
    assert_eq!(profile.evidence(), crate::Evidence::Checksum);
    // Exclusive or of these 22 bytes, computed apart (Python): 0x22.
    let body = &A[..22];
    let good = run_whole(&profile, ["\n", body, "*22\n"].concat().as_bytes());
    assert_eq!((good.shown(), good.counters.faults()), (alloc::vec![String::from("38.52 uF")], 0));
    for (tail, reason) in [
        ("*23", Reason::Checksum),
        ("*2G", Reason::Checksum),
        ("+22", Reason::Pattern),
        ("", Reason::Pattern),
    ] {
        let bad = run_whole(&profile, ["\n", body, tail, "\n"].concat().as_bytes());
        assert_eq!((bad.readings.len(), bad.faults[0].reason), (0, reason), "{tail:?}");
    }
}

#[test]
fn two_channels_by_number_by_field_and_fixed() {
    let head = "profile = 1\nid = \"two\"\n[frame]\nkind = \"line\"\n[decode]\nkind = \"pattern\"\n";
    let fixed =
        [head, "pattern = \"{value:5};{value.1:5}\"\n[decode.fixed_units]\n0 = \"°C\"\n1 = \"%RH\"\n"]
            .concat();
    let run = run_whole(&Profile::parse(&fixed).unwrap(), b"\n 21.4; 48.0\n 21.4; 48.0\n");
    let seen: Vec<(u8, String)> = run.readings.iter().map(|r| (r.channel, r.to_string())).collect();
    let want = [(0, "21.4 °C"), (1, "48.0 %RH"), (0, "21.4 °C"), (1, "48.0 %RH")];
    let mut sorted = seen.clone();
    sorted.sort();
    let mut wanted: Vec<(u8, String)> = want.iter().map(|(c, t)| (*c, String::from(*t))).collect();
    wanted.sort();
    assert_eq!(sorted, wanted);

    let by_field = [
        head,
        "pattern = \"{channel:2} {value:5}\"\n[decode.channels]\nT1 = 0\nT2 = 1\n",
        "[decode.fixed_units]\n0 = \"°C\"\n1 = \"°C\"\n",
    ]
    .concat();
    let run = run_whole(
        &Profile::parse(&by_field).unwrap(),
        b"\nT1  21.4\nT2   9.0\nT1  21.4\nT2   9.0\nT3   1.0\n",
    );
    let seen: Vec<(u8, String)> = run.readings.iter().map(|r| (r.channel, r.to_string())).collect();
    assert_eq!(seen.iter().filter(|(c, t)| *c == 1 && t == "9.0 °C").count(), 2);
    assert_eq!((seen.len(), run.faults[0].reason), (4, Reason::Undecodable(Field::Channel)));
}

#[test]
fn prefix_latin1_exponent_and_loose_lines() {
    let head = "profile = 1\nid = \"odd\"\n[frame]\nkind = \"line\"\n[decode]\nkind = \"pattern\"\n";
    let tail = "encoding = \"latin1\"\npattern = \"{value:6}{prefix:1}{unit:2}\"\n[decode.units]\n\"µF\" = \"uF\"\n\"°C\" = \"°C\"\n";
    let run = run_whole(
        &Profile::parse(&[head, tail].concat()).unwrap(),
        b"\n -1.50\xB5F \n-  1.5\xB0C \n-  1.5\xB0C \n",
    );
    assert_eq!(run.shown(), ["-1.5 °C", "-1.5 °C"]);

    let loose = "loose = true\nscientific = true\npattern = \"{value} {unit} {flags}\"\n[decode.units]\nF = \"F\"\n[decode.flags]\nH = \"hold\"\n";
    let profile = Profile::parse(&[head, loose].concat()).unwrap();
    assert_eq!(profile.agree(), 3);
    let run = run_whole(
        &profile,
        b"\n4.470e-05 F\n4.470e-05   F\n 4.470e-05 F\n4.470e-05 F H\n4.470e-05 F extra words\n",
    );
    assert_eq!(run.shown(), ["0.00004470 F", "0.00004470 F", "0.00004470 F"]);

    let separated = "separator = \",\"\npattern = \"{skip},{value},{unit},{flags}\"\n[decode.units]\nF = \"F\"\n[decode.flags]\nH = \"hold\"\n";
    let profile = Profile::parse(&[head, separated].concat()).unwrap();
    assert_eq!(profile.agree(), 3);
    // Every token counts, an empty one too; one missing or too many refuses the line.
    let run = run_whole(&profile, b"\n1,4.470,F,\n2, 4.470 ,F,\n,4.470,F,\n4,4.470,F\n5,4.470,F,,\n6,,F,\n");
    assert_eq!((run.shown(), run.faults.len()), (alloc::vec!["4.470 F".to_string(); 3], 3));
}

#[test]
fn floats_round_to_the_digits_shown_and_their_specials_are_states() {
    let text = "profile = 1\nid = \"float\"\nagree = 1\n[frame]\nkind = \"fixed\"\nsync = [1]\nlength = 6\n\
        check = { kind = \"sum8\", from = 1, to = 5, at = 5 }\n[decode]\nkind = \"fields\"\n[[decode.channel]]\n\
        unit = \"kPa\"\nexponent = -2\nvalue = { at = 1, type = \"f32be\" }\n";
    let profile = Profile::parse(text).unwrap();
    let frame = |value: f32| {
        let mut frame = alloc::vec![1];
        frame.extend(value.to_be_bytes());
        frame.push(value.to_be_bytes().iter().fold(0, |s, b| u8::wrapping_add(s, *b)));
        frame
    };
    for (value, shown) in [
        (44.7, "44.70 kPa"),
        (-12.345, "-12.35 kPa"),
        (f32::NAN, "--- kPa"),
        (f32::INFINITY, "OL kPa"),
        (f32::NEG_INFINITY, "-OL kPa"),
    ] {
        assert_eq!(run_whole(&profile, &frame(value)).shown(), [shown]);
    }
    assert_eq!(run_whole(&profile, &frame(3e30)).faults[0].reason, Reason::Undecodable(Field::Value));
}

#[test]
fn accuracy_comes_with_the_reading_by_quantity_range_and_coupling() {
    let profile = line_profile();
    let percent =
        |unit, coupling, value| profile.accuracy(unit, coupling, value).map(|a| a.percent_of_reading);
    assert_eq!(percent(Unit::MICROFARAD, None, 60.0), Some(1.8));
    assert_eq!(percent(Unit::MICROFARAD, None, 60.1), Some(2.5));
    assert_eq!(percent(Unit::NANOFARAD, None, -500.0), Some(1.8));
    assert_eq!(percent(Unit::VOLT, Some(Coupling::Ac), 230.0), Some(1.0));
    assert_eq!(percent(Unit::VOLT, Some(Coupling::Dc), 12.0), Some(0.5));
    assert_eq!(percent(Unit::VOLT, None, 12.0), None);
    // Above the last row: the last row, not none, which would claim more than the maker does.
    let short = LINE.replace("spec = \"2.5% + 5\"", "up_to = \"100uF\"\nspec = \"2.5% + 5\"");
    let profile = Profile::parse(&short).unwrap();
    assert!(profile.accuracy(Unit::MICROFARAD, None, 5000.0).is_some());
}

/// Bits of a byte of flags that nothing names, in frames whose checksum holds. What is said to be ignored is no such bit, nor
/// are those of bytes without flags or with a number in them.
#[test]
fn a_flag_bit_without_a_name_refuses_the_channel() {
    let text = "profile = 1\nid = \"flags\"\nagree = 2\n[frame]\nkind = \"fixed\"\nsync = [0xD7]\nlength = 9\n[decode]\n\
        kind = \"fields\"\n[[decode.channel]]\nunit = \"uF\"\nexponent = -2\nvalue = { at = 1, type = \"u16be\" }\n\
        [decode.channel.flags]\nhold = \"3.0\"\nignore = [\"3.4\", \"5.*\"]\noverload = \"1.7\"\n\
        [[decode.channel]]\nnumber = 1\nunit = \"°C\"\nexponent = -1\nvalue = { at = 6, type = \"i16be\" }\n\
        [decode.channel.flags]\nlow_battery = \"3.1\"\nhold = \"8.0\"\n";
    let profile = Profile::parse(text).unwrap();
    let good = [0xD7, 0x0F, 0x0C, 0, 0, 0, 0, 231, 0];
    let shown = |at: usize, bits: u8| {
        let mut frame = good;
        frame[at] |= bits;
        let run = run_whole(&profile, &[frame, frame, [0; 9]].concat());
        let refused = run.faults.iter().filter(|f| f.reason == Reason::Undecodable(Field::Flags)).count();
        let mut said: Vec<_> = run.readings.iter().map(|r| (r.channel, r.flags.hold)).collect();
        said.sort_unstable();
        (said, refused)
    };
    let both = |hold: bool| (alloc::vec![(0, hold), (0, hold), (1, false), (1, false)], 0);
    assert_eq!(shown(3, 0x01), both(true));
    for (at, bits) in [(3, 0x02), (3, 0x10), (4, 0xFF), (5, 0xFF), (1, 0x40)] {
        assert_eq!(shown(at, bits), both(false), "{at}: {bits:#x}");
    }
    for bits in [0x04, 0x08, 0x20, 0x40, 0x80] {
        assert_eq!(shown(3, bits), (alloc::vec![], 4), "{bits:#x}");
        assert_eq!(shown(8, bits), (alloc::vec![(0, false), (0, false)], 2), "{bits:#x}");
    }
}
