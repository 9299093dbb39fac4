//! `script`: skeleton, being filled.
#![no_std]
extern crate alloc;
