//! Learning from the streams of hardware-notes (their expected texts are what the display showed) and from meters made
//! up at random, which are synthesised by `simulate`.

use super::{Head, Learned, Observation, Outcome, Recording, Shown, learn};
use crate::{Decoder, Item, Profile, simulate};
use alloc::vec;
use alloc::vec::Vec;
use quantity::{Instant, Reading, State};

const HEAD: Head<'static> = Head { id: "learned", title: "learned in a test", link: "" };

fn ms(ms: i64) -> Instant {
    Instant::from_micros(ms * 1000)
}

fn see(from: i64, to: i64, text: &str) -> Observation {
    Observation { from: ms(from), to: ms(to), shown: Shown::parse(text).unwrap() }
}

fn note(class: &str) -> (Profile, Recording) {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../hardware-notes").join(class);
    let profile = Profile::parse(&std::fs::read_to_string(folder.join("profile.toml")).unwrap()).unwrap();
    let hex = std::fs::read_to_string(folder.join("stream.hex")).unwrap();
    (profile, Recording::parse_hex(&hex).unwrap())
}

fn decoded(profile: &Profile, recording: &Recording) -> Vec<Reading> {
    let mut decoder = Decoder::new(profile);
    let mut found = Vec::new();
    for (at, bytes) in recording.chunks() {
        match bytes {
            None => decoder.gap(at),
            Some(bytes) => decoder.bytes(at, bytes, &mut |item| {
                if let Item::Reading(reading) = item {
                    found.push(reading);
                }
            }),
        }
    }
    found
}

fn profile_of(learned: &Learned) -> (Profile, &str) {
    match &learned.outcome {
        Outcome::Profile { toml, .. } => (Profile::parse(toml).unwrap(), toml),
        other => panic!("{other:?}\n{:?}", learned.hypotheses),
    }
}

/// (right, withheld, wrong) of what the learned profile says beside what the true one says, by time and channel.
fn compare(truth: &[Reading], learned: &[Reading]) -> (usize, usize, usize) {
    let of = |r: &Reading| (r.at, r.unit, r.coupling, r.state, r.flags);
    let truth: Vec<_> = truth.iter().filter(|r| r.channel == 0).map(of).collect();
    let said: Vec<_> = learned.iter().filter(|r| r.channel == 0 && r.state != State::NoValue).map(of).collect();
    let right = said.iter().filter(|r| truth.contains(r)).count();
    (right, truth.len().saturating_sub(right), said.len() - right)
}

#[test]
fn the_line_class_is_learned_from_its_stream() {
    let (truth, stream) = note("generic-line-meter");
    let seen = [
        see(500, 2770, "38.52 uF"),
        see(3020, 3270, "412.0 nF"),
        see(4020, 4270, "4.7 ohm"),
        see(5020, 5270, "2.20 Mohm"),
        see(3520, 3770, "OL Mohm"),
        see(5520, 5770, "236.4 V ac"),
        see(6020, 6270, "-12.04 V dc"),
        see(9520, 9770, "118.2 V ac hold"),
    ];
    let learned = learn(HEAD, &stream, &seen);
    let (profile, toml) = profile_of(&learned);
    let (right, withheld, wrong) = compare(&decoded(&truth, &stream), &decoded(&profile, &stream));
    std::println!("{toml}\n{:?}\nright {right} withheld {withheld} wrong {wrong}", learned.hypotheses);
    assert_eq!(wrong, 0, "{toml}");
    assert!(right >= 18, "{right} right, {withheld} withheld\n{toml}");
}

#[test]
fn the_fixed_class_is_learned_from_its_stream() {
    let (truth, stream) = note("generic-binary-meter");
    let learned = learn(HEAD, &stream, &[]);
    std::println!("{learned:?}");
    assert!(learned.hypotheses[0].words.contains("12 bytes that begin with [0xD7, 0x2B], crc16modbus over bytes 2 to 9"));
    // The stream holds each function for one frame only, too few to be watched: so the truth's own frames, longer.
    let (stream, seen) = shown_by(&truth, &["44.71 uF", "23.60 uF", "-12.04 V dc", "236.4 V ac", "412.0 nF"], Some("23.1 °C"));
    let learned = learn(HEAD, &stream, &seen);
    let (profile, toml) = profile_of(&learned);
    let (right, withheld, wrong) = compare(&decoded(&truth, &stream), &decoded(&profile, &stream));
    std::println!("{toml}\nright {right} withheld {withheld} wrong {wrong}");
    assert_eq!((withheld, wrong), (0, 0), "{toml}");
    assert!(right >= 40);
}

#[test]
fn the_counted_class_is_learned_from_its_stream() {
    let (_, stream) = note("generic-counted-meter");
    let learned = learn(HEAD, &stream, &[]);
    std::println!("{learned:?}");
    assert!(
        learned.hypotheses[0].words.contains("say their length (u8 at byte 3, counts payload), sum16be from byte 3 on"),
        "{:?}",
        learned.hypotheses
    );
}

/// A recording of ten frames for each text (and a second channel, steady), with its observations; a lost byte, a
/// flipped bit and a run of garbage stand between.
fn shown_by(truth: &Profile, texts: &[&str], second: Option<&str>) -> (Recording, Vec<Observation>) {
    let (mut recording, mut seen, mut at) = (Recording::new(), Vec::new(), 0);
    recording.push(ms(at), &[0x11, 0xF7, 0x03]);
    for (turn, text) in texts.iter().enumerate() {
        let from = at + 1;
        for n in 0..10 {
            at += 250;
            let mut bytes = simulate::encode(truth, &readings(text, second)).unwrap();
            match (turn, n) {
                (0, 4) => drop(bytes.remove(3)),
                (1, 6) => bytes[4] ^= 0x10,
                _ => {}
            }
            recording.push(ms(at), &bytes);
        }
        seen.push(see(from, at, text));
    }
    (recording, seen)
}

fn readings(text: &str, second: Option<&str>) -> Vec<Reading> {
    let reading = |channel: u8, text: &str| {
        let shown = Shown::parse(text).unwrap();
        let unit = shown.unit.unwrap();
        Reading {
            at: Instant::ZERO,
            seq: 0,
            channel,
            unit: unit.unit,
            coupling: unit.coupling,
            state: shown.state,
            flags: shown.flags,
            accuracy: None,
        }
    };
    let mut all = vec![reading(0, text)];
    all.extend(second.map(|text| reading(1, text)));
    all
}
