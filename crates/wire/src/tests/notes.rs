//! Every folder of hardware-notes: its stream must decode to its expected readings, text for text. Those whose profile carries
//! a decode script are run by `crates/script/tests/notes.rs`; here they are refused.
//! `UPDATE_EXPECT=1` rewrites the expected text.

use crate::Profile;
use crate::stream::{Recording, expected};
use alloc::vec::Vec;
use std::path::{Path, PathBuf};

fn folders() -> Vec<PathBuf> {
    let notes = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../hardware-notes");
    let mut found: Vec<PathBuf> =
        std::fs::read_dir(notes).unwrap().map(|e| e.unwrap().path()).filter(|p| p.is_dir()).collect();
    found.sort();
    found
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
        let profile = Profile::parse(&read("profile.toml"));
        if folder.file_name().is_some_and(|name| name == "generic-scripted-meter") {
            assert!(profile.unwrap_err().message.contains("has a decode script"));
            continue;
        }
        let profile = profile.unwrap_or_else(|error| panic!("{}/profile.toml: {error}", folder.display()));
        assert_eq!(
            Some(profile.id()),
            folder.file_name().and_then(|n| n.to_str()),
            "id is the folder's name"
        );
        assert!(read("README.md").contains("synthesised") || read("README.md").contains("captured"));
        let stream = Recording::parse_hex(&read("stream.hex"))
            .unwrap_or_else(|line| panic!("{}/stream.hex:{line} is no hex", folder.display()));
        let got = expected(&profile, &stream);
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
