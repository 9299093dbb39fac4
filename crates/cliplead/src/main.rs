//! `cliplead`: skeleton, being filled.
fn main() {}
