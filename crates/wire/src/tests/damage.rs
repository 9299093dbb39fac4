//! Damage counted: every single flipped bit, lost byte and doubled byte of every frame of several streams. How many
//! wrong values get through, and how many good ones are lost with a bad one. `--nocapture` prints the tables that the
//! docs of `agree` quote; a change that lets more through fails here.

use super::*;
use std::println;

/// What damage did, over all cases.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Tally {
    cases: usize,
    /// A value handed out that the damaged frame did not say.
    wrong: usize,
    /// Of these, outside what the display showed in the window around.
    outside: usize,
    /// Of these, by more than the noise of the stream.
    beyond: usize,
    /// Of the wrong, by more than 40 counts outside what the frame and its two neighbours showed.
    far: usize,
    /// The most readings that one damage cost, and the sum over all cases.
    lost_max: usize,
    lost: usize,
    /// Readings without any damage, of how many frames.
    clean: usize,
}

#[derive(Clone, Copy)]
enum Damage {
    FlippedBit,
    LostByte,
    DoubledByte,
}

/// Every damaged copy of a frame.
fn damaged(frame: &[u8], damage: Damage) -> Vec<Vec<u8>> {
    let places = 0..frame.len();
    match damage {
        Damage::FlippedBit => places
            .flat_map(|i| (0..8).map(move |bit| (i, bit)))
            .map(|(i, bit)| {
                let mut copy = frame.to_vec();
                copy[i] ^= 1 << bit;
                copy
            })
            .collect(),
        Damage::LostByte => places.map(|i| [&frame[..i], &frame[i + 1..]].concat()).collect(),
        Damage::DoubledByte => places.map(|i| [&frame[..=i], &frame[i..]].concat()).collect(),
    }
}

/// Damages each frame that has six frames before it and four after it.
fn tally(profile: &Profile, readings: &[Reading], damage: Damage, noise: f64) -> Tally {
    let frames: Vec<Vec<u8>> = readings
        .iter()
        .map(|r| crate::simulate::encode(profile, core::slice::from_ref(r)).unwrap())
        .collect();
    let start: &[u8] = if profile.id().contains("line") { b"\r\n" } else { &[] };
    let mut tally = Tally::default();
    let mut decoder = Decoder::new(profile);
    for k in 6..readings.len() - 4 {
        // A window of frames is enough: nothing older or newer is looked at.
        let around = k - 6..k + 5;
        let clean = window(&mut decoder, start, &frames[around.clone()], None);
        tally.clean += usize::from(clean.iter().any(|(i, _)| *i == 6));
        for copy in damaged(&frames[k], damage) {
            tally.cases += 1;
            let got = window(&mut decoder, start, &frames[around.clone()], Some(&copy));
            // A lost last byte may be made good by an equal first byte of the next frame: the damaged frame's own
            // number then comes with the next one's time, and is right.
            let said = |i: usize, r: &Reading| says_the_same(r, &readings[around.start + i]);
            let wrong = got.iter().filter(|(i, r)| !(said(*i, r) || *i == 7 && said(6, r)));
            for (_, r) in wrong {
                tally.wrong += 1;
                tally.outside += usize::from(!within(r, &readings[around.clone()], 0.0));
                tally.beyond += usize::from(!within(r, &readings[around.clone()], noise));
                tally.far += usize::from(!within(r, &readings[k - 1..k + 2], 0.4));
            }
            let lost = clean.len().saturating_sub(got.len());
            tally.lost += lost;
            tally.lost_max = tally.lost_max.max(lost);
        }
    }
    tally
}

/// Readings with the number of the frame that ended when they were complete; the seventh frame may be replaced.
fn window(
    decoder: &mut Decoder,
    start: &[u8],
    frames: &[Vec<u8>],
    seventh: Option<&[u8]>,
) -> Vec<(usize, Reading)> {
    decoder.gap(Instant::ZERO);
    let mut got = Vec::new();
    decoder.bytes(Instant::ZERO, start, &mut |_| {});
    for (i, frame) in frames.iter().enumerate() {
        let bytes = seventh.filter(|_| i == 6).unwrap_or(frame);
        decoder.bytes(Instant::from_micros(i64::try_from(i).unwrap()), bytes, &mut |item| {
            if let Item::Reading(reading) = item {
                got.push((usize::try_from(reading.at.micros()).unwrap(), reading));
            }
        });
    }
    got
}

fn says_the_same(a: &Reading, b: &Reading) -> bool {
    let value = |r: &Reading| match r.state {
        State::Value(d) => Some(d.to_f64()),
        _ => None,
    };
    value(a) == value(b) && alike(a, b)
}

fn alike(a: &Reading, b: &Reading) -> bool {
    core::mem::discriminant(&a.state) == core::mem::discriminant(&b.state)
        && (a.display.unit, a.display.coupling, a.flags) == (b.display.unit, b.display.coupling, b.flags)
}

/// Within the span of like readings around, and `slack` more.
fn within(r: &Reading, around: &[Reading], slack: f64) -> bool {
    let State::Value(shown) = r.state else {
        return around.iter().any(|a| a.state == r.state && alike(a, r));
    };
    let like = || {
        around.iter().filter(|a| alike(a, r)).filter_map(|a| match a.state {
            State::Value(d) => Some(d.to_f64()),
            _ => None,
        })
    };
    like().any(|v| v <= shown.to_f64() + slack) && like().any(|v| v >= shown.to_f64() - slack)
}

/// Streams of a display in counts of 0.01 uF.
fn streams() -> Vec<(&'static str, Vec<Reading>)> {
    let shown = |counts: i64| microfarad(&Decimal::new(counts, -2).unwrap().to_string());
    let mut seeded = mutate::Seeded(3);
    let mut noise = |span: i64| -> i64 {
        // Sum of four: bell-shaped, within twice the span.
        let mut one = || i64::try_from(seeded.below(usize::try_from(span + 1).unwrap())).unwrap();
        one() + one() + one() + one() - 2 * span
    };
    let steady = (0..40).map(|_| shown(3852)).collect();
    let flicker = (0..60).map(|_| shown(3852 + noise(1))).collect();
    let noisy = (0..60).map(|_| shown(3852 + noise(8))).collect();
    // Towards 38.52 with a time constant of five frames.
    let settling =
        (0..60_i32).map(|i| shown(3852 - (3000.0 * (-f64::from(i) / 5.0).exp()).round() as i64)).collect();
    let ramp = (0..60).map(|i| shown(2010 + 7 * i)).collect();
    let steps = (0..60).map(|i| shown(if (i / 10) % 2 == 0 { 1007 } else { 3852 } + noise(1))).collect();
    alloc::vec![
        ("steady", steady),
        ("flicker", flicker),
        ("noisy", noisy),
        ("settling", settling),
        ("ramp", ramp),
        ("steps", steps),
    ]
}

/// The noise of a stream in uF: the flicker itself, two deviations of noise.
fn noise(stream: &str) -> f64 {
    match stream {
        "flicker" | "steps" => 0.021,
        "noisy" => 0.1,
        _ => 0.0,
    }
}

#[test]
fn text_without_checksum() {
    without_checksum("lines", &line_profile(), &[1, 2, 3]);
}

/// The bits of a display, each byte with its place and without a checksum: one bit makes another figure of some.
#[test]
fn segments_without_checksum() {
    without_checksum("segments", &segment_profile(), &[1, 2]);
}

/// What agreement is worth where nothing else bears a frame out; lost and doubled bytes at the default of two.
fn without_checksum(class: &str, profile: &Profile, agrees: &[u8]) {
    println!("| {class} | agree | damage | cases | wrong | outside | far | lost: most, mean | clean |");
    for (name, readings) in streams() {
        for agree in agrees {
            let profile = profile.clone().with_agree(*agree);
            for (what, damage) in KINDS.into_iter().take(if *agree == 2 { 3 } else { 1 }) {
                let t = tally(&profile, &readings, damage, noise(name));
                println!(
                    "| {name} | {agree} | {what} | {} | {} | {} | {} | {}, {:.2} | {} of {} |",
                    t.cases,
                    t.wrong,
                    t.outside,
                    t.far,
                    t.lost_max,
                    t.lost as f64 / t.cases as f64,
                    t.clean,
                    readings.len() - 10
                );
                if what != "bit" {
                    assert_eq!(t.wrong, 0, "{name}: a width or a place refuses a lost or doubled byte");
                }
                if *agree >= 2 {
                    // In motion the steps are wide; the settler refuses a display in motion.
                    let moving = name == "settling" || name == "ramp";
                    assert!(moving || t.beyond == 0, "{name}: a number beyond the noise of the display");
                    assert!(moving || t.far == 0, "{name}: a number far from those beside it");
                    assert!(t.lost <= 2 * t.cases, "{name}: a damage costs more than itself and one more");
                    assert!(name != "steady" || t.wrong == 0, "a steady display lets nothing wrong through");
                }
            }
        }
    }
}

const KINDS: [(&str, Damage); 3] =
    [("bit", Damage::FlippedBit), ("lost", Damage::LostByte), ("doubled", Damage::DoubledByte)];

/// Jumps all over the range from frame to frame: the hardest case for a checksum, since any number may come.
#[test]
fn binary_by_checksum_alone() {
    println!("| check | damage | cases | wrong | lost at most |");
    let counts = |i: i64| (i * 1237) % 20_000;
    let readings: Vec<Reading> =
        (0..400).map(|i| microfarad(&Decimal::new(counts(i), -2).unwrap().to_string())).collect();
    for check in ["sum8", "xor8", "sum16le", "sum16be", "crc16modbus"] {
        for (what, damage) in KINDS {
            let t = tally(&small_binary(check, 1), &readings, damage, 0.0);
            println!("| {check} | {what} | {} | {} | {} |", t.cases, t.wrong, t.lost_max);
            // One byte of checksum holds for one in 256 shifted frames. Such a one and the true frame behind it are two
            // ways to cut, so that neither is believed.
            let lost = if check.ends_with('8') { 2 } else { 1 };
            assert!(t.wrong == 0 && t.lost_max <= lost, "{check} {what}: {t:?}");
        }
    }
}

/// The same with frames that say their length: a damaged length moves the checksum too.
#[test]
fn counted_by_checksum_alone() {
    println!("| counted, check | damage | cases | wrong | lost at most |");
    let counts = |i: i64| (i * 1237) % 20_000;
    let readings: Vec<Reading> =
        (0..400).map(|i| microfarad(&Decimal::new(counts(i), -2).unwrap().to_string())).collect();
    for check in ["sum8", "xor8", "sum16le", "sum16be", "crc16modbus"] {
        for (what, damage) in KINDS {
            let profile = small_counted("type = \"u8\", counts = \"payload\"", check, 1);
            let t = tally(&profile, &readings, damage, 0.0);
            println!("| {check} | {what} | {} | {} | {} |", t.cases, t.wrong, t.lost_max);
            // A frame that one byte of checksum lets through by chance may hold the first byte of the next.
            let (wrong, lost) = if check.ends_with('8') { (1, 2) } else { (0, 1) };
            assert!(t.wrong <= wrong && t.lost_max <= lost, "{check} {what}: {t:?}");
        }
    }
}

/// One byte of checksum with the agreement of two that it gets by default.
#[test]
fn binary_by_one_byte_of_checksum_and_agreement() {
    println!("| stream | check | damage | cases | wrong | outside | lost at most |");
    for (name, readings) in streams() {
        for check in ["sum8", "xor8"] {
            for (what, damage) in KINDS {
                let t = tally(&small_binary(check, 2), &readings, damage, 0.0);
                println!(
                    "| {name} | {check} | {what} | {} | {} | {} | {} |",
                    t.cases, t.wrong, t.outside, t.lost_max
                );
                assert_eq!(t.wrong, 0, "{name} {check} {what}");
            }
        }
    }
}
