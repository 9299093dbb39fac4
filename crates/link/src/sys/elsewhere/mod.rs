//! What the systems other than Linux share: ports as the serial library lists them, and a doctor that can look at little.
//! Holds nothing that depends on one of them; their names and words stand in their own files.

pub(crate) mod doctor;
#[cfg(all(feature = "serial", feature = "sim", any(not(unix), test)))]
pub(crate) mod meter;
#[cfg(feature = "serial")]
pub(crate) mod serial;
#[cfg(test)]
#[cfg(feature = "serial")]
mod tests;
