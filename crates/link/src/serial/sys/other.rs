//! Serial ports of an unknown system: no name under `/dev` is known to be stable. Nobody has compiled or run this on
//! one.

use std::path::{Path, PathBuf};

use super::elsewhere::{Names, Ports, plain_path};
pub(crate) use super::elsewhere::{list, locate, refused};
use crate::error::SelectorFault;
use crate::serial::port::{Port, UsbIdentity};

/// Left to the system.
pub(crate) const LEVEL_UNLESS_SET: Option<bool> = None;

pub(crate) type Source = Ports<Other>;

#[derive(Debug)]
pub(crate) enum Other {}

impl Names for Other {
    const DENIED_MEANS_IN_USE: bool = false;

    fn is_port(_name: &str) -> bool {
        true
    }

    fn serial_number(listed: &str) -> Option<String> {
        Some(listed.to_owned())
    }

    fn answers(wanted: &UsbIdentity, found: &UsbIdentity) -> bool {
        wanted.is(found)
    }

    fn is_fixed(_port: &Port) -> bool {
        false
    }

    fn pty(path: &Path) -> Option<PathBuf> {
        std::fs::canonicalize(path).ok().filter(|real| real.starts_with("/dev/pts"))
    }
}

pub(crate) fn answers(wanted: &UsbIdentity, found: &UsbIdentity) -> bool {
    Other::answers(wanted, found)
}

/// Reads a name that is no USB identity: a path to a pseudo-terminal or a link to one.
pub(crate) fn named(rest: &str) -> Result<PathBuf, SelectorFault> {
    let plain = plain_path(rest).ok_or(SelectorFault::PathNotPlain)?;
    let is_refused = plain.starts_with("/dev/") && !plain.starts_with("/dev/pts/");
    if is_refused { Err(SelectorFault::NumberedName) } else { Ok(plain.into()) }
}
