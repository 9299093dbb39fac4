//! `cliplead licences`: the licences of the program and of everything built into it. `cargo xtask licences` generates
//! the text; nothing is computed here.

use crate::output::{self, Exit};

const OWN: &str = "\
cliplead is licensed under the MIT licence or the Apache License 2.0, as you choose. Both texts stand at the end of this
text too, as many packages come under them.
";
const THIRD_PARTY: &str = include_str!("../third-party.txt");

/// Prints all of it.
///
/// # Errors
/// When stdout cannot be written.
pub(crate) fn run() -> anyhow::Result<Exit> {
    output::data(&format!("{OWN}\n{}", THIRD_PARTY.trim_end()))?;
    Ok(Exit::Fine)
}
