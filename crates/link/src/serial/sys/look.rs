//! Lists this machine's ports for callers that open none: on Linux the scan of a tree and the names that lead to a
//! port, elsewhere the list with its names.

#[cfg(target_os = "linux")]
pub use super::linux::Source;
#[cfg(target_os = "linux")]
pub use super::linux::ports::{scan, stable_name};
#[cfg(not(target_os = "linux"))]
pub use crate::sys::words::IF_IT_STAYS_AWAY;
#[cfg(not(target_os = "linux"))]
use crate::{
    error::Unavailable,
    serial::port::{NamedPort, SerialPlace},
};

/// Every port of this machine with the name that stays the same.
///
/// # Errors
/// Why the system gives no list.
#[cfg(not(target_os = "linux"))]
pub fn named() -> Result<Vec<NamedPort>, String> {
    super::elsewhere::named(&super::Source::here())
}

/// Whether the port that a place means may be opened by this name.
///
/// # Errors
/// Why the system gives no list.
#[cfg(not(target_os = "linux"))]
pub fn find(place: &SerialPlace) -> Result<Result<(), Unavailable>, String> {
    super::elsewhere::find(place, &super::Source::here())
}
