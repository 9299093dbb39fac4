//! Any text as a decode script, and as the body of `decode`: it is refused with a line of its own, or it ends, whatever the frame
//! holds.
#![no_main]

use libfuzzer_sys::fuzz_target;
use script::FrameScripts;
use wire::script::ScriptCompiler;

fuzz_target!(|data: &[u8]| {
    let Some((length, data)) = data.split_first() else { return };
    let (frame, text) = data.split_at(usize::from(*length).min(data.len()));
    let Ok(text) = std::str::from_utf8(text) else { return };
    for text in [text.to_owned(), format!("fn decode(frame) {{\n{text}\n}}")] {
        match FrameScripts.compile(&text) {
            Ok(script) => drop(script.decode(frame)),
            Err(error) => assert!(error.line <= text.matches('\n').count() + 1),
        }
    }
});
