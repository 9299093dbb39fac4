//! `cliplead devices learn` from end to end: a meter on a pseudo-terminal that no built-in profile covers, learned by
//! asking, and its folder run over the same meter.

use std::io::Write as _;

use checks::{Daemon, Folder, Invocation, Meter, Stream};
use link::Step;
use quantity::{Coupling, Decimal, Flags, Instant, Reading, State, Unit};

/// A made-up meter, synthesised: `A7`, function, range, three bytes of counts (high byte first), sum of the five before.
/// Fifty frames a second.
fn frames(function: u8, range: u8, counts: u32) -> impl FnMut() -> Option<Step> {
    move || {
        let [_, high, middle, low] = counts.to_be_bytes();
        let mut frame = vec![0xA7, function, range, high, middle, low];
        frame.push(frame.iter().skip(1).fold(0, |sum: u8, byte| sum.wrapping_add(*byte)));
        Some(Step::send(20, frame))
    }
}

#[test]
fn a_meter_that_no_profile_covers_is_learned_over_its_port() {
    let folder = Folder::new("learn");
    let meter = Meter::plug_in(&folder.join("meter"), checks::Leads::Open);
    meter.play(frames(0x21, 2, 6158));
    let class = folder.join("bench-meter");
    let invocation = Invocation::new([
        "devices".to_owned(),
        "learn".to_owned(),
        meter.selector(),
        // A recording ends by its bytes; the seconds only bound a hang.
        "--bytes".to_owned(),
        "210".to_owned(),
        "--seconds".to_owned(),
        "60".to_owned(),
        "--write".to_owned(),
        class.display().to_string(),
    ]);
    let mut learning = Daemon::start(invocation.command());
    let mut stdin = learning.take_stdin();
    // Function 21 is capacitance, range 2 two decimals; function 35 ohms, range 1 one decimal.
    let shows = [
        (0x21, 2, 6158, "61.58 uF"),
        (0x21, 2, 93_204, "932.04 uF"),
        (0x35, 1, 70_431, "7043.1 ohm"),
        (0x35, 1, 1_286, "128.6 ohm"),
    ];
    let mut mark = 0;
    for (index, (_, _, _, text)) in shows.iter().enumerate() {
        learning.wait_from(mark, Stream::Err, "What did the display show?");
        mark = learning.mark();
        writeln!(stdin, "{text}").unwrap();
        learning.wait_from(mark, Stream::Err, "press Enter");
        mark = learning.mark();
        match shows.get(index + 1) {
            Some((function, range, counts, _)) => {
                meter.play(frames(*function, *range, *counts));
                writeln!(stdin).unwrap();
            }
            None => writeln!(stdin, "done").unwrap(),
        }
    }
    let (code, out) = learning.ended();
    assert_eq!(code, Some(0), "{out:?}");
    for name in ["profile.toml", "stream.hex", "expected.txt", "README.md"] {
        assert!(class.join(name).is_file(), "{name}");
    }
    let note = std::fs::read_to_string(class.join("README.md")).unwrap();
    assert!(note.contains("captured"), "{note}");
    assert!(std::fs::read_to_string(class.join("stream.hex")).unwrap().contains("A7 21 02 00 18 0E"));

    // The profile reads the meter: a number that was never shown, within the bits that were.
    meter.play(frames(0x21, 2, 44_417));
    let profile = class.join("profile.toml").display().to_string();
    let seen =
        Invocation::new(["devices", "watch", &meter.selector(), "--profile", &profile, "--count", "8"]).run();
    assert_eq!(seen.code, Some(0), "{}", seen.err);
    assert!(seen.out.contains("444.17 uF"), "{}", seen.out);
    // A range that was not shown has no row.
    let text = std::fs::read_to_string(&profile).unwrap();
    assert!(text.contains("0x2102") && text.contains("0x3501") && !text.contains("0x2101"), "{text}");
}

/// A meter that sends the lit bits of its display: each figure once in each place, then another function, and its bits are known.
#[test]
fn a_display_is_learned_over_its_port() {
    let folder = Folder::new("learn-display");
    let truth = Meter::profile_of("generic-segment-meter");
    let lit = |counts: i64, exponent: i8, unit: Unit, coupling: Option<Coupling>| {
        let state = State::Value(Decimal::new(counts, exponent).unwrap());
        let (flags, timing) = (Flags::default(), quantity::Timing::default());
        let at = Instant::ZERO;
        let (display, accuracy) = (quantity::DisplayUnit { unit, coupling }, None);
        let reading = Reading { at, seq: 0, channel: 0, display, state, flags, accuracy, timing };
        let bytes = wire::simulate::encode(&truth, &[reading]).unwrap();
        move || Some(Step::send(5, bytes.clone()))
    };
    let farads = |counts: i64| lit(counts, -2, Unit::MICROFARAD, None);
    let meter = Meter::plug_in_script(&folder.join("meter"), "generic-segment-meter", farads(1234));
    let class = folder.join("bench-display");
    let invocation = Invocation::new([
        "devices".to_owned(),
        "learn".to_owned(),
        meter.selector(),
        "--bytes".to_owned(),
        "160".to_owned(),
        "--seconds".to_owned(),
        "60".to_owned(),
        "--write".to_owned(),
        class.display().to_string(),
    ]);
    let start = std::time::Instant::now();
    let mut learning = Daemon::start(invocation.command());
    let mut stdin = learning.take_stdin();
    let counts = [1234, 2345, 3456, 4567, 5678, 6789, 7890, 8901, 9012];
    let volts = [("8.013 V dc", 8013, -3), ("146.2 V dc", 1462, -1), ("-24.07 V dc", -2407, -2)];
    let total = counts.len() + volts.len();
    let mut mark = 0;
    for index in 0..total {
        let text = match (counts.get(index), volts.get(index.saturating_sub(counts.len()))) {
            (Some(counts), _) => format!("{}.{:02} uF", counts / 100, counts % 100),
            (None, Some((text, ..))) => (*text).to_owned(),
            (None, None) => unreachable!("as many as there are"),
        };
        learning.wait_from(mark, Stream::Err, "What did the display show?");
        mark = learning.mark();
        writeln!(stdin, "{text}").unwrap();
        learning.wait_from(mark, Stream::Err, "press Enter");
        mark = learning.mark();
        match (counts.get(index + 1), volts.get((index + 1).saturating_sub(counts.len()))) {
            (Some(next), _) => meter.play(farads(*next)),
            (None, Some((_, next, exponent))) => {
                meter.play(lit(*next, *exponent, Unit::VOLT, Some(Coupling::Dc)));
            }
            (None, None) => {}
        }
        writeln!(stdin, "{}", if index + 1 == total { "done" } else { "" }).unwrap();
    }
    let (code, out) = learning.ended();
    println!("learned from {total} numbers in {:.1} s, typing left out", start.elapsed().as_secs_f64());
    assert_eq!(code, Some(0), "{out:?}");

    // A number that was never shown, of a function that was.
    meter.play(farads(4471));
    let profile = class.join("profile.toml").display().to_string();
    let watch = |profile: &str| {
        Invocation::new(["devices", "watch", &meter.selector(), "--profile", profile, "--count", "4"]).run()
    };
    let seen = watch(&profile);
    assert_eq!(seen.code, Some(0), "{}", seen.err);
    assert!(seen.out.contains("44.71 uF"), "{}", seen.out);
    // The class's own profile says the same.
    let true_one = watch("generic-segment-meter");
    assert!(true_one.out.contains("44.71 uF"), "{}", true_one.out);
}

/// The simulated meter is heard as a receiver at each rate would hear it (`crates/link/src/sim/rate.rs`). A steady display gives
/// regular frames at half the rate too, so the rate is then asked for; one that changes shows its checksum.
#[test]
fn the_right_baud_is_found_by_what_the_bytes_look_like() {
    let folder = Folder::new("bauds");
    for (baud, name, step, says) in [
        (19_200, "changing", 997, "goes on with 19200 baud"),
        (2_400, "slow", 31, "goes on with 2400 baud"),
        (19_200, "steady", 0, "baud alike; say --baud"),
    ] {
        let mut count = 0_u32;
        let meter = Meter::plug_in_at(&folder.join(name), baud, move || {
            count += 1;
            let played = frames(0x21, 2, 6158 + step * (count % 64))();
            played.map(|played| match played {
                Step::Send { bytes, .. } => Step::send(4, bytes),
                other => other,
            })
        });
        let seen = Invocation::new([
            "devices".to_owned(),
            "learn".to_owned(),
            meter.selector(),
            "--try-bauds".to_owned(),
            "--bytes".to_owned(),
            "210".to_owned(),
            "--seconds".to_owned(),
            "60".to_owned(),
            "--shows".to_owned(),
            "61.59 uF".to_owned(),
        ])
        .run();
        println!("{}", seen.err);
        assert!(seen.err.contains(says), "{}", seen.err);
        assert_eq!(seen.err.lines().filter(|line| line.contains(" baud: ")).count(), 8, "{}", seen.err);
    }
}
