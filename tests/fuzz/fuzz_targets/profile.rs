//! Any text through the profile loader: it loads or names a line, and what loads decodes without a panic.
#![no_main]

use libfuzzer_sys::fuzz_target;
use quantity::Instant;
use wire::{Decoder, Profile};

fuzz_target!(|data: &[u8]| {
    let Ok(text) = std::str::from_utf8(data) else { return };
    match Profile::parse(text) {
        Ok(profile) => {
            assert!(profile.frame_bytes_max() <= 1024);
            let mut decoder = Decoder::new(&profile);
            decoder.bytes(Instant::ZERO, b"\r\nCAP   38.52 uF    A   \r\n", &mut |_| {});
            decoder.bytes(Instant::ZERO, data, &mut |_| {});
        }
        Err(error) => assert!(error.line >= 1 && error.line <= text.matches('\n').count() + 1),
    }
});
