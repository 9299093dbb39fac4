//! Splits a stream of bytes into lines of bounded length, one at a time. Longer ones are skipped without being held.
//! Does not know the content of a line.

use alloc::vec::Vec;

use crate::stream::ByteStream;

/// Longest line of a recording in bytes, without its line end. The longest lines written contain the text of a
/// profile.
pub const LINE_BYTES_MAX: usize = 1024 * 1024;

/// A line as found.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Line<'a> {
    /// Text, without its line end; `ended` is false when the stream ended first.
    Text { text: &'a str, ended: bool },
    /// Bytes that are not UTF-8; `cut` if the stream ended in the middle of a character.
    NotText { cut: bool },
    /// Longer than [`LINE_BYTES_MAX`].
    TooLong,
}

/// Returns the lines of a stream.
#[derive(Debug)]
pub(crate) struct Lines<R> {
    source: R,
    buffer: Vec<u8>,
    /// Lines returned so far.
    number: usize,
    /// The rest of the last line is still to be skipped.
    in_the_middle: bool,
}

impl<R: ByteStream> Lines<R> {
    pub(crate) fn new(source: R) -> Self {
        Self { source, buffer: Vec::new(), number: 0, in_the_middle: false }
    }

    /// The number of the last line returned, from 1; 0 before the first.
    pub(crate) fn number(&self) -> usize {
        self.number
    }

    /// The next line and its number, from 1.
    ///
    /// # Errors
    /// The error of the stream.
    pub(crate) fn next(&mut self) -> Result<Option<(usize, Line<'_>)>, R::Error> {
        if self.in_the_middle {
            self.pass_over()?;
        }
        self.read_line()?;
        if self.buffer.is_empty() {
            return Ok(None);
        }
        self.number = self.number.saturating_add(1);
        let (bytes, ended) = match self.buffer.strip_suffix(b"\n") {
            Some(bytes) => (bytes, true),
            None => (self.buffer.as_slice(), false),
        };
        if bytes.len() > LINE_BYTES_MAX {
            self.in_the_middle = true;
            return Ok(Some((self.number, Line::TooLong)));
        }
        let line = match core::str::from_utf8(bytes) {
            Ok(text) => Line::Text { text, ended },
            Err(error) => Line::NotText { cut: !ended && error.error_len().is_none() },
        };
        Ok(Some((self.number, line)))
    }

    /// Reads up to a line end, the end of the stream, or one byte more than a line may have.
    fn read_line(&mut self) -> Result<(), R::Error> {
        let Self { source, buffer, .. } = self;
        buffer.clear();
        let mut goes_on = true;
        while goes_on {
            source.piece(&mut |held| {
                let room = LINE_BYTES_MAX.saturating_add(1).saturating_sub(buffer.len());
                let held = held.get(..room).unwrap_or(held);
                let end = line_end(held);
                let line = end.and_then(|end| held.get(..end)).unwrap_or(held);
                buffer.extend_from_slice(line);
                goes_on = end.is_none() && !line.is_empty();
                line.len()
            })?;
        }
        Ok(())
    }

    fn pass_over(&mut self) -> Result<(), R::Error> {
        while self.in_the_middle {
            let in_the_middle = &mut self.in_the_middle;
            self.source.piece(&mut |held| {
                let end = line_end(held);
                *in_the_middle = end.is_none() && !held.is_empty();
                end.unwrap_or(held.len())
            })?;
        }
        Ok(())
    }
}

/// The number of bytes up to and including the first line end.
fn line_end(bytes: &[u8]) -> Option<usize> {
    memchr::memchr(b'\n', bytes).map(|at| at.saturating_add(1))
}

#[cfg(test)]
mod tests {
    use alloc::borrow::ToOwned;
    use alloc::format;
    use alloc::string::String;

    use std::io::{self, Read as _};
    use std::vec;

    use super::*;

    fn all(bytes: &[u8], piece: usize) -> Vec<(usize, String)> {
        let mut lines = Lines::new(io::BufReader::with_capacity(piece, bytes));
        let mut found = Vec::new();
        while let Some((number, line)) = lines.next().unwrap() {
            found.push((
                number,
                match line {
                    Line::Text { text, ended: true } => text.to_owned(),
                    Line::Text { text, ended: false } => format!("{text}..."),
                    Line::NotText { cut } => format!("not text, cut: {cut}"),
                    Line::TooLong => "too long".to_owned(),
                },
            ));
        }
        found
    }

    #[test]
    fn each_line_with_its_number_whatever_the_pieces() {
        let long = "x".repeat(LINE_BYTES_MAX);
        let bytes = [
            "erste °\r\n\n".as_bytes(),
            b"\xff\xfe\n\xc2\n",
            long.as_bytes(),
            b"\n",
            long.as_bytes(),
            b"y\n",
            long.as_bytes(),
            b"yz and more\nlast\xc2",
        ];
        let wanted = [
            "erste °\r",
            "",
            "not text, cut: false",
            "not text, cut: false",
            &long,
            "too long",
            "too long",
            "not text, cut: true",
        ];
        let wanted: Vec<(usize, String)> = (1..).zip(wanted.map(str::to_owned)).collect();
        for piece in [1, 7, 8_192] {
            assert_eq!(all(&bytes.concat(), piece), wanted, "pieces of {piece}");
        }
        assert_eq!(all(b"a\nb", 8), [(1, "a".to_owned()), (2, "b...".to_owned())]);
        assert_eq!(all(b"", 8), []);
    }

    /// A signal may break into any reading of a file; the line goes on behind it.
    #[test]
    fn an_interrupted_reading_goes_on() {
        struct Interrupted<R>(R, bool);
        impl<R: io::Read> io::Read for Interrupted<R> {
            fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
                self.1 = !self.1;
                if self.1 { Err(io::ErrorKind::Interrupted.into()) } else { self.0.read(buffer) }
            }
        }
        let long = [vec![b'x'; LINE_BYTES_MAX + 9], b"\nb".to_vec()].concat();
        for (bytes, wanted) in [(&b"a\nb"[..], "a"), (&long, "too long")] {
            let mut lines = Lines::new(io::BufReader::with_capacity(3, Interrupted(bytes, false)));
            let first = match lines.next().unwrap() {
                Some((1, Line::Text { text, ended: true })) => text.to_owned(),
                Some((1, Line::TooLong)) => "too long".to_owned(),
                other => panic!("{other:?}"),
            };
            assert_eq!(first, wanted);
            assert_eq!(lines.next().unwrap(), Some((2, Line::Text { text: "b", ended: false })));
            assert_eq!(lines.next().unwrap(), None);
        }
    }

    /// A line without an end is never held whole.
    #[test]
    fn a_line_without_end_takes_no_more_room_than_the_bound() {
        let mut lines = Lines::new(io::BufReader::new(io::repeat(b'x').take(64 * LINE_BYTES_MAX as u64)));
        assert_eq!(lines.next().unwrap(), Some((1, Line::TooLong)));
        assert_eq!(lines.next().unwrap(), None);
        assert!(lines.buffer.capacity() <= 4 * LINE_BYTES_MAX, "{}", lines.buffer.capacity());
    }
}
