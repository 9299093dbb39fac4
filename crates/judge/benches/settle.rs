//! Settling benchmark: being written.
fn main() {}
