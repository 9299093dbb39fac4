//! Serial ports on Linux: found in `/sys/class/tty`, named by udev or by USB identity, opened by path. Holds which
//! names are stable and what opening depends on; the scan and the permissions have their own files.

mod access;
pub(crate) mod ports;
#[cfg(test)]
pub(crate) mod tests;

use std::fs;
use std::io;
use std::os::unix::fs::FileTypeExt as _;
use std::path::{Component, Path, PathBuf};

use crate::adapter::Found;
use crate::error::{SelectorFault, Unavailable};
use crate::selector::Selector;
use crate::serial::port::{Located, Port, SerialPlace, UsbIdentity};

/// The level of control lines that the profile leaves alone: the kernel raises both itself.
pub(crate) const LEVEL_UNLESS_SET: Option<bool> = None;

/// The places in which ports are looked for.
#[derive(Debug, Clone)]
pub struct Source {
    /// `/dev`
    pub dev: PathBuf,
    /// `/sys/class/tty`
    pub tty_class: PathBuf,
}

impl Source {
    /// The ports of this machine.
    pub(crate) fn here() -> Self {
        Self { dev: "/dev".into(), tty_class: "/sys/class/tty".into() }
    }
}

/// Every port with the best name it has.
pub(crate) fn list(source: &Source) -> Vec<Found> {
    ports::scan(source).iter().map(|port| found(port, source)).collect()
}

/// The best name a port has: by-id, then USB identity with serial number, then its place in the machine.
fn found(port: &Port, source: &Source) -> Found {
    let by_id = ports::stable_name(&port.device, &source.dev.join("serial/by-id"));
    let by_usb = || port.usb.as_ref().filter(|usb| usb.serial.is_some()).map(|usb| format!("usb={usb}"));
    let by_path = || ports::stable_name(&port.device, &source.dev.join("serial/by-path"));
    let rest = by_id.or_else(by_usb).or_else(by_path);
    let selector: Option<Selector> = rest.and_then(|rest| format!("serial:{rest}").parse().ok());
    let hindrance = if selector.is_none() {
        Some(Unavailable::NotStable { path: port.device.display().to_string() })
    } else {
        access::hindrance(Path::new(&port.device))
    };
    Found { selector, description: port.description(), hindrance }
}

/// Whether a port of the identity `found` answers to `wanted`.
pub(crate) fn answers(wanted: &UsbIdentity, found: &UsbIdentity) -> bool {
    wanted.is(found)
}

/// Reads a name that is no USB identity: an absolute path that follows the device.
pub(crate) fn named(rest: &str) -> Result<PathBuf, SelectorFault> {
    let path = Path::new(rest);
    if !path.is_absolute() || path.components().any(|part| part == Component::ParentDir) {
        // `COM3`, `ttyUSB0`: a number too, and it deserves the fuller answer.
        let numbered = !rest.contains('/') && rest.ends_with(|c: char| c.is_ascii_digit());
        return Err(if numbered { SelectorFault::NumberedName } else { SelectorFault::PathNotPlain });
    }
    // Rebuilt from its parts, `//` and `/./` are gone.
    let plain: PathBuf = path.components().collect();
    if is_numbered(&plain) { Err(SelectorFault::NumberedName) } else { Ok(plain) }
}

/// A name that the kernel gave by order of arrival: `/dev/tty*`, `/dev/rfcomm*`, `/dev/char/*`.
fn is_numbered(path: &Path) -> bool {
    let Ok(name) = path.strip_prefix("/dev") else { return false };
    let Some(name) = name.to_str() else { return false };
    name.starts_with("char/") || ["tty", "rfcomm"].iter().any(|start| name.starts_with(start))
}

/// The port that a place means now, and that it may be opened by this name.
pub(crate) fn locate(place: &SerialPlace, source: &Source) -> Result<Located, Unavailable> {
    let (path, real) = lead(place, source)?;
    let shown = path.display().to_string();
    let is_pty = real.starts_with("/dev/pts");
    if matches!(place, SerialPlace::Path(_)) && !is_pty && !has_fixed_name(&path, &real) {
        return Err(Unavailable::NotStable { path: shown });
    }
    let is_device = fs::metadata(&real).is_ok_and(|meta| meta.file_type().is_char_device());
    let Some(text) = real.to_str().filter(|_| is_device) else {
        return Err(Unavailable::NotAPort { path: shown });
    };
    Ok(Located { text: text.to_owned(), shown, is_pty })
}

/// The path as named and the device it leads to.
fn lead(place: &SerialPlace, source: &Source) -> Result<(PathBuf, PathBuf), Unavailable> {
    let path = match place {
        SerialPlace::Path(path) => path.clone(),
        SerialPlace::Usb(usb) => usb.only_one_of(ports::scan(source), answers)?.device,
    };
    match fs::canonicalize(&path) {
        Ok(real) => Ok((path, real)),
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            Err(Unavailable::NotFound { what: place.to_string() })
        }
        Err(error) => Err(Unavailable::System {
            path: path.display().to_string(),
            kind: error.kind(),
            detail: error.to_string(),
        }),
    }
}

/// Names under `/dev` other than the kernel's numbers are made by udev rules and follow the device. A link made by hand
/// elsewhere follows nothing.
fn has_fixed_name(path: &Path, real: &Path) -> bool {
    path.starts_with("/dev") && !is_numbered(path) && path != real
}

/// What the library's error means here. Its "no device" is EBUSY from the kernel, or its lock held by another.
pub(crate) fn refused(error: &tokio_serial::Error, port: &Located, _source: &Source) -> Unavailable {
    absence(error, &port.shown, || access::group_of(Path::new(&port.text)))
}

/// Maps the library's error to what a person can do about it.
fn absence(error: &tokio_serial::Error, path: &str, group: impl FnOnce() -> String) -> Unavailable {
    use tokio_serial::ErrorKind as Kind;
    let path = path.to_owned();
    match error.kind() {
        // The library gives this kind for a busy port: EBUSY from the kernel, or its lock held by another.
        Kind::NoDevice => Unavailable::InUse { path },
        Kind::Io(io::ErrorKind::NotFound) => Unavailable::NotFound { what: path },
        Kind::Io(io::ErrorKind::PermissionDenied) => Unavailable::PermissionDenied { path, group: group() },
        Kind::InvalidInput => Unavailable::NotAPort { path },
        Kind::Io(kind) => Unavailable::System { path, kind, detail: error.to_string() },
        Kind::Unknown => Unavailable::System { path, kind: io::ErrorKind::Other, detail: error.to_string() },
    }
}
