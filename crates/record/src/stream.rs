//! The source of a recording's bytes: with std, anything behind a buffered reader; without it, whatever a board
//! provides. Does not look for lines.

use core::fmt;

/// Bytes in order, a piece at a time.
pub trait ByteStream {
    /// What can go wrong.
    type Error: fmt::Display;

    /// Shows `take` the next bytes, as many as are available and none at the end. `take` returns how many it
    /// consumed; the rest is shown again.
    ///
    /// # Errors
    /// What prevents reading; nothing was consumed then.
    fn piece(&mut self, take: &mut dyn FnMut(&[u8]) -> usize) -> Result<(), Self::Error>;
}

#[cfg(feature = "std")]
impl<R: std::io::BufRead> ByteStream for R {
    type Error = std::io::Error;

    fn piece(&mut self, take: &mut dyn FnMut(&[u8]) -> usize) -> Result<(), Self::Error> {
        let taken = loop {
            match self.fill_buf() {
                Ok(held) => break take(held),
                Err(error) if error.kind() == std::io::ErrorKind::Interrupted => {}
                Err(error) => return Err(error),
            }
        };
        self.consume(taken);
        Ok(())
    }
}
