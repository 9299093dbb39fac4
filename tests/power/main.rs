//! What only a traced, slowed or small disk shows: power cuts, slow flushes, a full disk. Needs strace, and the right to mount, so it is
//! not among the tests that always run: `cargo xtask test --only power,slow,full` installs strace where it can, and reports
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
#[allow(dead_code, reason = "shared with the checks of the daemon, which use more of it")]
#[path = "../it/site.rs"]
mod site;
mod slow;
