//! Where the bytes of a recording come from: with std whatever is read through a buffer, without it what a board brings along.
//! Does not look for lines.

use core::fmt;

/// Bytes in order, a piece at a time.
pub trait ByteStream {
    /// What can go wrong.
    type Error: fmt::Display;

    /// Shows the bytes that stand next, as many as are at hand and none at the end. `take` says how many of them it took;
    /// the others come again.
    ///
    /// # Errors
    /// What hinders the reading; nothing was taken then.
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
