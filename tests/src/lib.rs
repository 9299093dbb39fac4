//! Support for the end-to-end checks: runs the program, follows a running daemon line by line, plays meters on
//! pseudo-terminals, speaks to the page over plain HTTP, reads tables of command lines. Holds no checks itself; they
//! stand in `it/`.
//!
//! Nothing here sleeps. What is waited for is a line, a view or an end; the deadline only bounds a hang.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "support of tests: a failure here is a failed test"
)]

mod daemon;
mod disk;
mod folder;
mod http;
mod meter;
mod program;
mod strace;
mod table;

pub use daemon::{Daemon, Stream};
pub use disk::{Disk, Fate, Rng, lay_out};
pub use folder::{Folder, copy_tree, root};
pub use http::{Answer, Page};
pub use meter::{Leads, Meter, babble};
pub use program::{Ended, Invocation, program};
pub use strace::{Event, has_strace, trace};
pub use table::check_table;

/// Bounds a hang, nothing else: no check passes or fails by how long something takes.
pub const HANG: std::time::Duration = std::time::Duration::from_secs(90);
