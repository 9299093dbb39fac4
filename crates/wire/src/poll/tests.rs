//! The poller against devices in virtual time: deterministic, seeded, no clock and no I/O. Does not test the codec or the
//! decoding; those have their tests beside them and in `crate::tests::polled`.

mod hostile;
mod instrument;
mod rtu;
