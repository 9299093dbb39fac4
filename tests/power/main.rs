//! What only a traced or a small disk shows: power cuts and a full disk. Needs strace, and the right to mount, so it is
//! not among the tests that always run: `cargo xtask test --only power,full` installs strace where it can, and reports
//! NOT RUN where it cannot.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::print_stdout,
    reason = "tests"
)]

mod cut;
mod full;
