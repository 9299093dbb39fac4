//! Cost of a reading, bytes to reading, for the framings and for answers in packets; cost of an exchange with a poller. Plain timing on one core: best of several rounds.
//! Does not judge the figures; it prints them.
#![allow(clippy::unwrap_used, clippy::print_stdout, clippy::cast_precision_loss, missing_docs)]

use quantity::{Decimal, Flags, Instant, Reading, State, Unit};
use std::time::Instant as Clock;
use wire::gatt::Uuid;
use wire::gatt::packet::Message;
use wire::packet::{PacketKind, wrap};
use wire::poll::PollOutput;
use wire::{ChecksumKind, Decoder, Item, Profile, simulate};

const READINGS: usize = 20_000;
const ROUNDS: usize = 15;

fn reading(i: usize, channel: u8, unit: Unit) -> Reading {
    let counts = 3852 + i64::try_from(i % 3).unwrap();
    let exponent = if channel == 0 { -2 } else { -1 };
    Reading {
        at: Instant::ZERO,
        seq: 0,
        channel,
        display: quantity::DisplayUnit { unit, coupling: None },
        state: State::Value(Decimal::new(counts, exponent).unwrap()),
        flags: Flags::default(),
        accuracy: None,
        timing: quantity::Timing::default(),
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

/// Marker, its echo, a read, its reply: what the poller itself costs, with a device that answers at once.
fn exchanges(profile: &Profile) {
    let mut poller = profile.poller(0).unwrap();
    let mut now = Instant::ZERO;
    poller.opened(now);
    let start = Clock::now();
    while poller.counters().answers < 20_000 {
        now = now.max(poller.poll_at().unwrap());
        let mut asked = Vec::new();
        poller.tick(now, &mut |polled| {
            if let PollOutput::Send(request) = polled {
                asked = request;
            }
        });
        let reply = match asked.get(1) {
            Some(3) => vec![17, 3, 10, 0x42, 0x04, 0x7A, 0xE1, 0x17, 0x70, 0, 0xD7, 0, 0],
            Some(4) => vec![17, 4, 4, 0x07, 0x91, 0, 0],
            // Diagnostics: the same back.
            _ => asked.get(..asked.len().saturating_sub(2)).unwrap_or_default().to_vec(),
        };
        if !reply.is_empty() {
            let sealed = [reply.as_slice(), &ChecksumKind::Crc16Modbus.compute(&reply)].concat();
            poller.received(now, &sealed, &mut |polled| {
                std::hint::black_box(polled);
            });
        }
    }
    let counters = poller.counters();
    let each = start.elapsed().as_nanos() as f64 / counters.answers as f64;
    println!("{:34} {each:8.0} ns per exchange ({} faults)", "poller, marker and read", counters.faults());
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

/// Temperatures of one characteristic.
fn bluetooth() {
    let gatt =
        Profile::parse(include_str!("../../../hardware-notes/generic-gatt-meter/profile.toml")).unwrap();
    let values: Vec<u8> = (0..READINGS)
        .flat_map(|i| {
            // Temperature 0x2A6E, hundredths of a degree.
            let value = i16::try_from(2300 + i % 3).unwrap().to_le_bytes();
            let message = Message {
                service: Uuid::parse("0x181A").unwrap(),
                characteristic: Uuid::parse("0x2A6E").unwrap(),
                instance: 1,
                presentations: Vec::new(),
                label: Some(b"supply air"),
                range: None,
                value: &value,
            };
            wrap(PacketKind::Gatt, 0, &message.write().unwrap()).unwrap()
        })
        .collect();
    measure("Bluetooth values in packets, whole", &gatt, &values, 4096);
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
    let counted =
        Profile::parse(include_str!("../../../hardware-notes/generic-counted-meter/profile.toml")).unwrap();
    let segment =
        Profile::parse(include_str!("../../../hardware-notes/generic-segment-meter/profile.toml")).unwrap();
    let probes: Vec<u8> = (0..READINGS / 2)
        .flat_map(|i| {
            let pressure = Reading { channel: 0, ..reading(i, 1, Unit::PSIG) };
            simulate::encode(&counted, &[pressure, reading(i, 1, Unit::CELSIUS)]).unwrap()
        })
        .collect();
    let displays: Vec<u8> = (0..READINGS)
        .flat_map(|i| simulate::encode(&segment, &[reading(i, 0, Unit::MICROFARAD)]).unwrap())
        .collect();
    measure("counted, sum16, whole", &counted, &probes, 4096);
    measure("indexed segments, agreement of 2", &segment, &displays, 4096);
    let modbus =
        Profile::parse(include_str!("../../../hardware-notes/generic-modbus-meter/profile.toml")).unwrap();
    let scpi =
        Profile::parse(include_str!("../../../hardware-notes/generic-scpi-meter/profile.toml")).unwrap();
    let replies: Vec<u8> = (0..READINGS / 3)
        .flat_map(|_| {
            let registers = [3, 0, 0, 0, 5, 3, 10, 0x42, 0x04, 0x7A, 0xE1, 0x17, 0x70, 0, 0xD7, 0, 0];
            wrap(PacketKind::Reply, 0, &registers).unwrap()
        })
        .collect();
    let answers: Vec<u8> = (0..READINGS)
        .flat_map(|i| {
            let answer = format!("MEAS:CAP?\n+3.312{}4E-05", i % 3);
            wrap(PacketKind::Reply, 0, answer.as_bytes()).unwrap()
        })
        .collect();
    bluetooth();
    measure("registers in packets, whole", &modbus, &replies, 4096);
    measure("answers in packets, agreement of 2", &scpi, &answers, 4096);
    exchanges(&modbus);
    rubbish("line", &line);
    rubbish("binary", &binary);
    rubbish("counted", &counted);
    rubbish("indexed segments", &segment);
}
