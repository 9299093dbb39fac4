//! `xtask`: skeleton, being filled.
fn main() {}
