//! What only a traced or slowed disk shows: power cuts, slow flushes. Needs strace, so it is not among the tests
//! that always run: `cargo xtask test --only power` installs strace where it can, and reports NOT RUN where it cannot.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::print_stdout,
    reason = "tests"
)]

mod cut;
