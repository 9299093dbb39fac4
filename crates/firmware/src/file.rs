//! A file of the machine that emulates the board, read a piece at a time.

use alloc::ffi::CString;
use alloc::vec;
use alloc::vec::Vec;

use record::ByteStream;
use semihosting::fs;
use semihosting::io::{self, Read as _};

/// Bytes read at once.
const PIECE_BYTES: usize = 4096;

/// An open file.
pub(crate) struct File {
    file: fs::File,
    /// On the heap: the stack is for the rules.
    piece: Vec<u8>,
    /// The part of the piece that was not taken yet.
    from: usize,
    until: usize,
}

impl File {
    /// Opens it, at its beginning.
    pub(crate) fn open(path: &str) -> io::Result<Self> {
        let path = CString::new(path).map_err(|_| io::ErrorKind::InvalidInput)?;
        Ok(Self { file: fs::File::open(path)?, piece: vec![0; PIECE_BYTES], from: 0, until: 0 })
    }
}

impl ByteStream for File {
    type Error = io::Error;

    fn piece(&mut self, take: &mut dyn FnMut(&[u8]) -> usize) -> io::Result<()> {
        if self.from == self.until {
            (self.from, self.until) = (0, self.file.read(&mut self.piece)?);
        }
        let held = self.piece.get(self.from..self.until).unwrap_or_default();
        self.from += take(held).min(held.len());
        Ok(())
    }
}
