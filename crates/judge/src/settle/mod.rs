//! Settling: being written.
