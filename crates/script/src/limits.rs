//! The limits of one call of a rule. Does not enforce them.

pub use rulecode::Limits;

/// Nesting of function calls; 16 levels would need 3 MiB of stack in a debug build (512 KiB in release), 8 fit 2 MiB.
pub(crate) const CALL_LEVELS_MAX: usize = 8;
