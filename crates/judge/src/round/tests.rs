//! Round: being written.
