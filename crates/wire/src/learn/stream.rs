//! A recording: bytes with their times, and gaps. Does not interpret them.

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use quantity::Instant;

/// The most bytes that are kept; further ones are counted as left out.
const RECORDING_BYTES_MAX: usize = 256 * 1024;

/// Bytes as they came.
#[derive(Clone, Debug, Default)]
pub struct Recording {
    /// `None` is a gap.
    chunks: Vec<(Instant, Option<Vec<u8>>)>,
    bytes: usize,
    left_out: usize,
}

impl Recording {
    /// Nothing yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Reads the text of a `stream.hex`: bytes as hex, `@ 250` sets the time in ms, `gap` is a gap, `#` begins a comment.
    ///
    /// # Errors
    /// The number of the line, from 1, that is none of these.
    pub fn parse_hex(text: &str) -> Result<Self, usize> {
        let (mut recording, mut at) = (Self::new(), Instant::ZERO);
        for (index, line) in text.lines().enumerate() {
            let line = line.split('#').next().unwrap_or_default().trim();
            if let Some(ms) = line.strip_prefix('@') {
                let us = ms.trim().parse::<i64>().ok().and_then(|ms| ms.checked_mul(1000));
                at = us.map(Instant::from_micros).filter(|t| *t >= at).ok_or(index + 1)?;
            } else if line == "gap" {
                recording.gap(at);
            } else {
                let bytes: Option<Vec<u8>> =
                    line.split_whitespace().map(|hex| u8::from_str_radix(hex, 16).ok()).collect();
                recording.push(at, &bytes.ok_or(index + 1)?);
            }
        }
        Ok(recording)
    }

    /// The text that [`Recording::parse_hex`] reads.
    #[must_use]
    pub fn to_hex(&self) -> String {
        let (mut text, mut last) = (String::new(), None);
        for (at, bytes) in self.chunks() {
            let ms = at.micros() / 1000;
            if last != Some(ms) {
                text.push_str(&format!("@ {ms}\n"));
                last = Some(ms);
            }
            match bytes {
                None => text.push_str("gap\n"),
                Some(bytes) => bytes.chunks(32).for_each(|row| {
                    let hex: Vec<String> = row.iter().map(|b| format!("{b:02X}")).collect();
                    text.push_str(&hex.join(" "));
                    text.push('\n');
                }),
            }
        }
        text
    }

    /// Bytes that came at `at`. Over 256 KiB are left out, and counted.
    pub fn push(&mut self, at: Instant, bytes: &[u8]) {
        if bytes.is_empty() {
            return;
        }
        if self.bytes + bytes.len() > RECORDING_BYTES_MAX {
            self.left_out = self.left_out.saturating_add(bytes.len());
            return;
        }
        self.bytes += bytes.len();
        self.chunks.push((at, Some(bytes.to_vec())));
    }

    /// Bytes are missing here.
    pub fn gap(&mut self, at: Instant) {
        self.chunks.push((at, None));
    }

    /// Bytes kept.
    #[must_use]
    pub const fn len(&self) -> usize {
        self.bytes
    }

    /// Bytes that had no room.
    #[must_use]
    pub const fn left_out(&self) -> usize {
        self.left_out
    }

    /// True when no byte came.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.bytes == 0
    }

    /// Times of the first and the last bytes.
    #[must_use]
    pub fn span(&self) -> Option<(Instant, Instant)> {
        Some((self.chunks.first()?.0, self.chunks.last()?.0))
    }

    /// Pieces as they came; `None` is a gap.
    pub fn chunks(&self) -> impl Iterator<Item = (Instant, Option<&[u8]>)> {
        self.chunks.iter().map(|(at, bytes)| (*at, bytes.as_deref()))
    }

    /// Runs of bytes between gaps, and in each the places where a piece began.
    pub(super) fn runs(&self) -> Vec<(Vec<u8>, Vec<usize>)> {
        let mut runs = alloc::vec![(Vec::new(), Vec::new())];
        for (_, bytes) in self.chunks() {
            match (bytes, runs.last_mut()) {
                (Some(bytes), Some((run, starts))) => {
                    starts.push(run.len());
                    run.extend_from_slice(bytes);
                }
                _ => runs.push((Vec::new(), Vec::new())),
            }
        }
        runs
    }
}
