//! The folders of hardware-notes whose profile carries a decode script: the stream must decode to the expected readings, text
//! for text, and the note must name every function. `UPDATE_EXPECT=1` rewrites the expected text. All other folders are
//! run by crate `wire`, which refuses these.
#![allow(clippy::unwrap_used, clippy::panic)] // test code

use std::path::{Path, PathBuf};

use script::{FRAME_FUNCTIONS, FrameScripts};
use wire::stream::{Recording, expected};
use wire::{Decoder, Profile};

fn notes() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../hardware-notes")
}

fn text(folder: &Path, name: &str) -> String {
    std::fs::read_to_string(folder.join(name)).unwrap_or_else(|e| panic!("{}/{name}: {e}", folder.display()))
}

#[test]
fn every_scripted_folder_decodes_to_what_it_expects() {
    let mut run = 0;
    let mut folders: Vec<PathBuf> =
        std::fs::read_dir(notes()).unwrap().map(|e| e.unwrap().path()).filter(|p| p.is_dir()).collect();
    folders.sort();
    for folder in folders {
        let profile = text(&folder, "profile.toml");
        if Profile::parse(&profile).is_ok() {
            continue;
        }
        run += 1;
        let profile = Profile::parse_with(&profile, &FrameScripts)
            .unwrap_or_else(|error| panic!("{}/profile.toml: {error}", folder.display()));
        assert_eq!(
            Some(profile.id()),
            folder.file_name().and_then(|n| n.to_str()),
            "id is the folder's name"
        );
        assert!(["synthesised", "captured"].iter().any(|word| text(&folder, "README.md").contains(word)));
        let stream = Recording::parse_hex(&text(&folder, "stream.hex"))
            .unwrap_or_else(|line| panic!("{}/stream.hex:{line} is no hex", folder.display()));
        let got = expected(&profile, &stream);
        if std::env::var_os("UPDATE_EXPECT").is_some() {
            std::fs::write(folder.join("expected.txt"), &got).unwrap();
        }
        let want = text(&folder, "expected.txt");
        let differs = got.lines().zip(want.lines()).position(|(a, b)| a != b);
        let line = differs.unwrap_or_else(|| want.lines().count().min(got.lines().count())) + 1;
        assert!(
            got == want,
            "{}/expected.txt differs from line {line}; UPDATE_EXPECT=1 rewrites it",
            folder.display()
        );
    }
    assert!(run >= 1, "no folder of hardware-notes carries a decode script");
}

#[test]
fn the_note_names_every_function() {
    let note = text(&notes().join("generic-scripted-meter"), "README.md");
    for function in FRAME_FUNCTIONS {
        assert!(
            note.contains(&format!("| `{}` | {} |", function.signature, function.doc)),
            "{}",
            function.signature
        );
    }
}

/// A profile that another one is made from by changing a piece; with the line at which the piece begins.
fn changed(from: &str, to: &str) -> (String, usize) {
    let profile = text(&notes().join("generic-scripted-meter"), "profile.toml");
    let at = profile.find(from).unwrap_or_else(|| panic!("{from:?} is not in the profile"));
    let line = profile.get(..at).unwrap().matches('\n').count() + 1;
    (profile.replacen(from, to, 1), line)
}

#[test]
fn what_is_wrong_is_named_by_its_line_in_the_profile() {
    for (from, to, says) in [
        ("u8(frame, 2)", "u7(frame, 2)", "decode script: no function is named u7; did you mean \"u8\"?"),
        ("refuse(\"checksum\")", "refuse(\"sum\")", "refuse takes value"),
        ("kind = \"script\"", "kind = \"scripts\"", "did you mean \"script\""),
        ("script = '''\n", "script = '''", "each on a line of its own"),
        ("script = '''\n", "scrip = '''\n", "did you mean \"script\""),
        ("agree = 2", "agree = 1", "no checksum"),
    ] {
        let (text, line) = changed(from, to);
        let error = Profile::parse_with(&text, &FrameScripts).unwrap_err();
        assert!(error.line == line && error.message.contains(says), "{to:?}, line {line}: {error}");
    }
    let (text, line) = changed("kind = \"script\"", "kind = \"script\"");
    let error = Profile::parse(&text).unwrap_err();
    assert!(error.line == line && error.message.contains("runs none"), "{error}");
}

/// A device that sends whole frames as fast as it can buys no time: what is above 200 in a second is dropped and counted.
#[test]
fn a_flood_of_whole_frames_is_not_read() {
    let (text, line) = changed("while at < 10 {", "while true {");
    let profile = Profile::parse_with(&text, &FrameScripts).unwrap();
    let mut decoder = Decoder::new(&profile);
    let frame = [0xE4, 0x9C, 0, 1, 2, 3, 4, 5, 6, 7, 8];
    for second in 0..3_i64 {
        for _ in 0..1_000 {
            let at = quantity::Instant::from_micros(second * 1_000_000);
            decoder.bytes(at, &frame, &mut |_| {});
        }
    }
    let counters = *decoder.counters();
    assert_eq!(counters.drops(wire::Reason::Script), 600);
    assert_eq!(counters.drops(wire::Reason::Unread), 2_400);
    assert_eq!(counters.bytes, counters.dropped_bytes);
    let error = decoder.script_error().unwrap();
    // The endless loop asks for a byte behind the frame, in the function above it.
    assert!(error.line > 0 && error.line < line && error.message.contains("11 bytes"), "{error}");
}

/// Recorded bytes have no times and no device behind them: all of them are read.
#[test]
fn every_frame_of_recorded_bytes_is_read() {
    let (text, _) = changed("kind = \"script\"", "kind = \"script\"");
    let profile = Profile::parse_with(&text, &FrameScripts).unwrap();
    let frame = [0xE4, 0x9C, 0, 1, 2, 3, 4, 5, 6, 7, 8];
    let unread = |mut decoder: Decoder| {
        decoder.bytes(quantity::Instant::ZERO, &frame.repeat(1_000), &mut |_| {});
        decoder.counters().drops(wire::Reason::Unread)
    };
    assert_eq!((unread(Decoder::new(&profile)), unread(Decoder::of_recorded_bytes(&profile))), (800, 0));
}

#[test]
fn a_script_reads_one_characteristic() {
    use wire::packet::{PacketKind, wrap};
    let profile = "profile = 1\nid = \"a\"\n[frame]\nkind = \"packet\"\n[decode]\nkind = \"script\"\n\
        characteristic = \"0000fff4-0000-1000-8000-00805f9b34fb\"\nscript = '''\n\
        fn decode(frame) { reading(0, u16le(frame, 0), -1, \"°C\") }\n'''\n";
    let profile = Profile::parse_with(profile, &FrameScripts).unwrap();
    let mut shown = Vec::new();
    let mut decoder = Decoder::new(&profile);
    for uuid in [0xFFF4_u16, 0xFFF5] {
        let characteristic = wire::gatt::Uuid::parse(&format!("0x{uuid:04X}")).unwrap();
        let message = wire::gatt::packet::Message {
            service: characteristic,
            characteristic,
            instance: 1,
            label: None,
            presentations: Vec::new(),
            range: None,
            value: &[0xE7, 0x00],
        };
        let packet = wrap(PacketKind::Gatt, 0, &message.write().unwrap()).unwrap();
        decoder.bytes(quantity::Instant::ZERO, &packet, &mut |item| shown.push(format!("{item:?}")));
    }
    assert_eq!(decoder.counters().readings, 1, "{shown:?}");
    assert_eq!(decoder.counters().ignored, 1);
}
