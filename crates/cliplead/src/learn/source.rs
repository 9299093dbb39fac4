//! Recordings out of files: `stream.hex` texts, recordings of the daemon, raw bytes. Does not interpret the bytes.

use std::path::Path;

use anyhow::{Context as _, bail};
use pipeline::Event;
use quantity::Instant;
use wire::stream::Recording;

use crate::files::{self, ReadError};
use crate::output::talk;

/// The most bytes a file may have.
const FILE_BYTES_MAX: u64 = 4 * 1024 * 1024;

/// Raw bytes have no times; they are assumed to come in pieces of 32, one per 33 ms (about 9600 baud).
const RAW_PIECE: (usize, i64) = (32, 33_000);

/// Reads a file.
///
/// # Errors
/// When it cannot be read, is too large, or holds the bytes of several devices.
pub(super) fn read(path: &Path) -> anyhow::Result<Recording> {
    let bytes = files::read_bytes(path, FILE_BYTES_MAX).map_err(|error| match error {
        ReadError::TooLarge(..) => anyhow::anyhow!("{error}; cut out a few minutes"),
        other => other.into(),
    })?;
    let text = std::str::from_utf8(&bytes).ok();
    match (path.extension().and_then(|e| e.to_str()), text) {
        (Some("hex"), Some(text)) => Recording::parse_hex(text).map_err(|line| {
            anyhow::anyhow!("{}:{line}: neither hex bytes, nor @ ms (rising), nor gap", path.display())
        }),
        (Some("jsonl"), _) => {
            let name = path.display().to_string();
            recorded(&bytes, &name).with_context(|| name.clone())
        }
        _ => Ok(raw(&bytes)),
    }
}

fn raw(bytes: &[u8]) -> Recording {
    let mut recording = Recording::new();
    for (index, piece) in bytes.chunks(RAW_PIECE.0).enumerate() {
        let at = i64::try_from(index).unwrap_or(i64::MAX).saturating_mul(RAW_PIECE.1);
        recording.push(Instant::from_micros(at), piece);
    }
    recording
}

fn recorded(bytes: &[u8], name: &str) -> anyhow::Result<Recording> {
    let read = ::record::read(bytes, &script::FrameScripts)?;
    for words in read.skipped.words(name) {
        talk(&words);
    }
    let mut recording = Recording::new();
    let mut known: Option<String> = None;
    for recorded in read.events {
        match recorded.event {
            Some(Event::Bytes { device, data }) => {
                if *known.get_or_insert_with(|| device.clone()) != device {
                    bail!(
                        "line {}: bytes of more than one device; record the new meter alone",
                        recorded.line
                    );
                }
                recording.push(recorded.at, &data);
            }
            Some(Event::Gap { device }) if known.as_ref() == Some(&device) => recording.gap(recorded.at),
            _ => {}
        }
    }
    Ok(recording)
}
