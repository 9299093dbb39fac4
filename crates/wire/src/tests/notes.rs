//! Every folder of hardware-notes: its stream must decode to its expected readings, text for text.
//! `UPDATE_EXPECT=1` rewrites the expected text.

use crate::{Decoder, Item, Profile, Reason};
use alloc::string::String;
use alloc::vec::Vec;
use core::fmt::Write as _;
use quantity::{Instant, Reading};
use std::path::{Path, PathBuf};

fn folders() -> Vec<PathBuf> {
    let notes = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../hardware-notes");
    let mut found: Vec<PathBuf> =
        std::fs::read_dir(notes).unwrap().map(|e| e.unwrap().path()).filter(|p| p.is_dir()).collect();
    found.sort();
    found
}

fn print(out: &mut String, item: Item) {
    match item {
        Item::Fault(fault) => writeln!(out, "  dropped: {fault}").unwrap(),
        Item::Reading(reading) => {
            let Reading { seq, at, channel, flags, .. } = reading;
            write!(out, "{seq} at {} ms, channel {channel}: {reading}", at.micros() / 1000).unwrap();
            let names = [
                (flags.hold, "hold"),
                (flags.low_battery, "low battery"),
                (flags.relative, "relative"),
                (flags.min_max, "min/max"),
            ];
            names.iter().filter(|(set, _)| *set).for_each(|(_, name)| write!(out, ", {name}").unwrap());
            match reading.quantity() {
                Some(quantity) => {
                    writeln!(out, ", u = {:.4}", quantity.unwrap().standard_uncertainty()).unwrap()
                }
                None => writeln!(out).unwrap(),
            }
        }
    }
}

/// Lines of hex bytes, `@ ms`, `gap`; `#` begins a comment.
fn decode(profile: &Profile, hex: &str) -> String {
    let mut decoder = Decoder::new(profile);
    let mut at = Instant::ZERO;
    let mut out = String::new();
    for line in hex.lines().map(|line| line.split('#').next().unwrap_or_default().trim()) {
        if let Some(ms) = line.strip_prefix('@') {
            at = Instant::from_micros(ms.trim().parse::<i64>().unwrap() * 1000);
        } else if line == "gap" {
            decoder.gap(at);
            out.push_str("  gap\n");
        } else {
            let bytes: Vec<u8> =
                line.split_whitespace().map(|b| u8::from_str_radix(b, 16).unwrap()).collect();
            decoder.bytes(at, &bytes, &mut |item| print(&mut out, item));
        }
    }
    let c = decoder.counters();
    writeln!(out, "{} bytes, {} frames, {} readings, {} gaps", c.bytes, c.frames, c.readings, c.gaps)
        .unwrap();
    for (reason, name) in [
        (Reason::Garbage, "garbage"),
        (Reason::Partial, "partial"),
        (Reason::Checksum, "checksum"),
        (Reason::Pattern, "pattern"),
        (Reason::Overlong, "overlong"),
        (Reason::Undecodable(crate::Field::Value), "undecodable"),
        (Reason::Disagreed, "disagreed"),
    ] {
        writeln!(out, "{name}: {}", c.drops(reason)).unwrap();
    }
    out
}

#[test]
fn every_folder_decodes_to_what_it_expects() {
    let folders = folders();
    assert!(folders.len() >= 2, "hardware-notes is missing");
    for folder in folders {
        let read = |name: &str| {
            std::fs::read_to_string(folder.join(name))
                .unwrap_or_else(|e| panic!("{}/{name}: {e}", folder.display()))
        };
        let profile = Profile::parse(&read("profile.toml"))
            .unwrap_or_else(|error| panic!("{}/profile.toml: {error}", folder.display()));
        assert_eq!(
            Some(profile.id()),
            folder.file_name().and_then(|n| n.to_str()),
            "id is the folder's name"
        );
        assert!(read("README.md").contains("synthesised") || read("README.md").contains("captured"));
        let got = decode(&profile, &read("stream.hex"));
        if std::env::var_os("UPDATE_EXPECT").is_some() {
            std::fs::write(folder.join("expected.txt"), &got).unwrap();
        }
        let want = read("expected.txt");
        let differs = got.lines().zip(want.lines()).position(|(a, b)| a != b);
        assert!(
            got == want,
            "{}/expected.txt differs from line {}; UPDATE_EXPECT=1 rewrites it",
            folder.display(),
            differs.map_or(want.lines().count().min(got.lines().count()), |i| i) + 1
        );
    }
}
