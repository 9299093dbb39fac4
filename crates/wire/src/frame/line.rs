//! Lines of text, ended by CR, LF or both, with an optional checksum after `*`. Does not look at the text.

use alloc::vec::Vec;

use super::{Chunk, Out, RUN_BYTES_MAX, count, drop_bytes};
use crate::checksum::ChecksumKind;
use crate::counters::{Fault, Reason};

/// The most bytes a line may have in any profile.
pub const LINE_BYTES_MAX: usize = 1024;

/// Bytes of a line's checksum: `*` and two hex digits.
pub(crate) const CHECKSUM_BYTES: usize = 3;

/// The shape of a line framing.
#[derive(Clone, Copy, Debug)]
pub(crate) struct LineFrame {
    /// Longest line, including the checksum and without the line end.
    pub(crate) max_bytes: usize,
    pub(crate) checksum: Option<ChecksumKind>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    /// Before the first line end. A line joined in the middle looks like a whole one, so it is dropped.
    Joining,
    Lines,
    /// In a line that is already too long.
    Overlong,
}

/// Cuts bytes into lines.
#[derive(Clone, Debug)]
pub(crate) struct LineFramer {
    frame: LineFrame,
    state: State,
    line: Vec<u8>,
    /// Bytes dropped and not yet reported.
    skipped: u32,
}

impl LineFramer {
    pub(crate) fn new(frame: LineFrame) -> Self {
        Self { frame, state: State::Joining, line: Vec::with_capacity(frame.max_bytes), skipped: 0 }
    }

    #[cfg(test)]
    pub(crate) fn buffered(&self) -> usize {
        self.line.len()
    }

    pub(crate) fn held(&self) -> usize {
        self.line.len() + self.skipped as usize
    }

    pub(crate) fn cut(&mut self, out: &mut Out<'_>) {
        drop_bytes(out, Reason::Partial, self.skipped + count(self.line.len()));
        self.line.clear();
        self.skipped = 0;
        self.state = State::Joining;
    }

    pub(crate) fn push(&mut self, data: &[u8], out: &mut Out<'_>) {
        let mut rest = data;
        while !rest.is_empty() {
            let end = rest.iter().position(|b| matches!(b, b'\r' | b'\n'));
            let (text, after) = rest.split_at(end.unwrap_or(rest.len()));
            self.text(text, out);
            if end.is_some() {
                self.end(out);
                out(Chunk::LineEnd);
            }
            rest = after.get(1..).unwrap_or_default();
        }
    }

    fn text(&mut self, text: &[u8], out: &mut Out<'_>) {
        if self.state == State::Lines {
            if self.line.len() + text.len() <= self.frame.max_bytes {
                self.line.extend_from_slice(text);
                return;
            }
            self.state = State::Overlong;
            self.skipped = count(self.line.len());
            self.line.clear();
        }
        self.skipped = self.skipped.saturating_add(count(text.len()));
        if self.skipped >= RUN_BYTES_MAX {
            self.report_skipped(out);
        }
    }

    fn report_skipped(&mut self, out: &mut Out<'_>) {
        let reason = match self.state {
            State::Overlong => Reason::Overlong,
            _ if self.skipped as usize > self.frame.max_bytes => Reason::Garbage,
            _ => Reason::Partial,
        };
        drop_bytes(out, reason, self.skipped);
        self.skipped = 0;
    }

    fn end(&mut self, out: &mut Out<'_>) {
        self.report_skipped(out);
        if self.state == State::Lines && !self.line.is_empty() {
            let bytes = count(self.line.len());
            match verified_line(&self.line, self.frame.checksum) {
                Ok(frame) => out(Chunk::Frame { frame, bytes, waited: false }),
                Err(reason) => out(Chunk::Dropped(Fault { reason, bytes })),
            };
        }
        self.line.clear();
        self.state = State::Lines;
    }
}

/// The line without its checksum, if that matches.
fn verified_line(line: &[u8], checksum: Option<ChecksumKind>) -> Result<&[u8], Reason> {
    let Some(checksum) = checksum else { return Ok(line) };
    let (body, tail) = line.len().checked_sub(CHECKSUM_BYTES).map_or((line, line), |at| line.split_at(at));
    let &[b'*', high, low] = tail else { return Err(Reason::Pattern) };
    let digit = |c: u8| char::from(c).to_digit(16).and_then(|d| u8::try_from(d).ok()).ok_or(Reason::Checksum);
    let stored = digit(high)? << 4 | digit(low)?;
    if checksum.holds(body, &[stored]) { Ok(body) } else { Err(Reason::Checksum) }
}
