//! Linux: ports in `/sys/class/tty`, names by udev, the doctor's look at the machine's files. Holds what these share; no
//! other system compiles any of it.

pub(crate) mod doctor;
mod rights;
#[cfg(feature = "serial")]
pub(crate) mod serial;
pub(crate) mod words;
