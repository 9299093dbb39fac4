//! Cost of a reading, bytes to reading, for both framings. Plain timing on one core: best of several rounds.
//! Does not judge the figures; it prints them.
#![allow(clippy::unwrap_used, clippy::print_stdout, clippy::cast_precision_loss, missing_docs)]

use quantity::{Decimal, Flags, Instant, Reading, State, Unit};
use std::time::Instant as Clock;
use wire::{Decoder, Item, Profile, simulate};

const READINGS: usize = 20_000;
const ROUNDS: usize = 15;

fn reading(i: usize, channel: u8, unit: Unit) -> Reading {
    let counts = 3852 + i64::try_from(i % 3).unwrap();
    let exponent = if channel == 0 { -2 } else { -1 };
    Reading {
        at: Instant::ZERO,
        seq: 0,
        channel,
        unit,
        coupling: None,
        state: State::Value(Decimal::new(counts, exponent).unwrap()),
        flags: Flags::default(),
        accuracy: None,
    }
}

fn measure(name: &str, profile: &Profile, bytes: &[u8], piece: usize) {
    let mut best = f64::INFINITY;
    let mut readings = 0_u64;
    for _ in 0..ROUNDS {
        let mut decoder = Decoder::new(profile);
        let mut sum = 0_u64;
        let start = Clock::now();
        for data in bytes.chunks(piece) {
            decoder.bytes(Instant::ZERO, data, &mut |item| {
                if let Item::Reading(reading) = item {
                    sum = sum.wrapping_add(reading.seq);
                }
            });
        }
        let spent = start.elapsed().as_nanos() as f64;
        readings = decoder.counters().readings;
        std::hint::black_box(sum);
        best = best.min(spent / readings as f64);
    }
    println!("{name:34} {best:8.0} ns per reading ({readings} readings, {} bytes)", bytes.len());
}

fn rubbish(name: &str, profile: &Profile) {
    let mut state = 1_u32;
    let bytes: Vec<u8> = (0..1_000_000)
        .map(|_| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            state.to_le_bytes()[3]
        })
        .collect();
    let start = Clock::now();
    let mut decoder = Decoder::new(profile);
    for data in bytes.chunks(256) {
        decoder.bytes(Instant::ZERO, data, &mut |_| {});
    }
    let ms = start.elapsed().as_secs_f64() * 1e3;
    println!("{name:34} {ms:8.1} ms per MB of rubbish ({} readings)", decoder.counters().readings);
}

fn main() {
    let line =
        Profile::parse(include_str!("../../../hardware-notes/generic-line-meter/profile.toml")).unwrap();
    let binary =
        Profile::parse(include_str!("../../../hardware-notes/generic-binary-meter/profile.toml")).unwrap();
    let lines: Vec<u8> = (0..READINGS)
        .flat_map(|i| simulate::encode(&line, &[reading(i, 0, Unit::MICROFARAD)]).unwrap())
        .collect();
    let frames: Vec<u8> = (0..READINGS / 2)
        .flat_map(|i| {
            let jack = reading(i, 1, Unit::CELSIUS);
            simulate::encode(&binary, &[reading(i, 0, Unit::MICROFARAD), jack]).unwrap()
        })
        .collect();
    measure("line, agreement of 2, whole", &line, &lines, 4096);
    measure("line, agreement of 2, byte by byte", &line, &lines, 1);
    measure("binary, crc16, whole", &binary, &frames, 4096);
    measure("binary, crc16, byte by byte", &binary, &frames, 1);
    rubbish("line", &line);
    rubbish("binary", &binary);
}
