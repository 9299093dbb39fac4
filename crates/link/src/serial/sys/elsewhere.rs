//! Serial ports on systems where the serial library lists them: which port a place denotes, and the best name of
//! each. The system decides which names are stable ([`Names`]). Opens nothing.

use std::fmt;
use std::io;
use std::marker::PhantomData;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use tokio_serial::{ErrorKind, SerialPortInfo, SerialPortType, UsbPortInfo};

use crate::adapter::Found;
use crate::error::Unavailable;
use crate::selector::Selector;
use crate::serial::port::{Located, NamedPort, Port, SerialPlace, UsbIdentity};

/// The most ports looked at.
const PORTS_MAX: usize = 256;
/// The longest text kept of what an adapter calls itself, in characters.
const TEXT_CHARS_MAX: usize = 80;

/// What one system's names of ports mean.
pub(crate) trait Names: Send + Sync + 'static {
    /// "No right" from the system means that another program has the port.
    const DENIED_MEANS_IN_USE: bool;

    /// Whether the list's entry is a port that a meter may be on.
    fn is_port(name: &str) -> bool;

    /// The adapter's serial number out of what the list gives for one.
    fn serial_number(listed: &str) -> Option<String>;

    /// Whether a port of the identity `found` answers to `wanted`.
    fn answers(wanted: &UsbIdentity, found: &UsbIdentity) -> bool;

    /// Whether the port's own name means the same port tomorrow.
    fn is_fixed(port: &Port) -> bool;

    /// The pseudo-terminal that a path leads to.
    fn pty(path: &Path) -> Option<PathBuf>;
}

type Look = dyn Fn() -> tokio_serial::Result<Vec<SerialPortInfo>> + Send + Sync;

/// Where ports are looked for.
pub(crate) struct Ports<N> {
    look: Arc<Look>,
    names: PhantomData<fn() -> N>,
}

impl<N> Clone for Ports<N> {
    fn clone(&self) -> Self {
        Self { look: Arc::clone(&self.look), names: PhantomData }
    }
}

impl<N> fmt::Debug for Ports<N> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Ports")
    }
}

impl<N: Names> Ports<N> {
    /// The ports of this machine.
    pub(crate) fn here() -> Self {
        Self { look: Arc::new(tokio_serial::available_ports), names: PhantomData }
    }

    /// A made-up machine.
    #[cfg(test)]
    pub(crate) fn made_up(list: Vec<SerialPortInfo>) -> Self {
        Self { look: Arc::new(move || Ok(list.clone())), names: PhantomData }
    }

    /// A machine that does not give its list.
    #[cfg(test)]
    pub(crate) fn unlisted() -> Self {
        Self {
            look: Arc::new(|| Err(tokio_serial::Error::new(ErrorKind::Unknown, "no list"))),
            names: PhantomData,
        }
    }

    /// All ports, by name.
    pub(crate) fn scan(&self) -> Result<Vec<Port>, String> {
        let listed = (self.look)().map_err(|error| error.to_string())?;
        let mut ports: Vec<Port> =
            listed.iter().filter(|port| N::is_port(&port.port_name)).take(PORTS_MAX).map(port::<N>).collect();
        // Shorter names first: COM9 before COM10.
        ports.sort_by_key(|port| (port.device.as_os_str().len(), port.device.clone()));
        ports.dedup_by(|a, b| a.device == b.device);
        Ok(ports)
    }
}

fn port<N: Names>(listed: &SerialPortInfo) -> Port {
    let device = PathBuf::from(&listed.port_name);
    let SerialPortType::UsbPort(usb) = &listed.port_type else {
        return Port { device, usb: None, title: None };
    };
    let serial = usb.serial_number.as_deref().and_then(N::serial_number).as_deref().and_then(clean);
    let identity = UsbIdentity { vendor: usb.vid, product: usb.pid, serial };
    Port { device, usb: Some(identity), title: title(usb, &listed.port_name) }
}

/// Maker and product. Some systems put the port's name, which goes by number, behind the product; it is said anyway.
fn title(usb: &UsbPortInfo, name: &str) -> Option<String> {
    let own = format!("({name})");
    let words = [usb.manufacturer.as_deref(), usb.product.as_deref()];
    let words: Vec<String> =
        words.into_iter().flatten().filter_map(|text| clean(&text.replace(&own, ""))).collect();
    (!words.is_empty()).then(|| words.join(" "))
}

/// Texts come from strangers; `None` when nothing is left.
fn clean(text: &str) -> Option<String> {
    let clean: String = text.trim().chars().filter(|c| !c.is_control()).take(TEXT_CHARS_MAX).collect();
    (!clean.is_empty()).then_some(clean)
}

/// Every port with the best name it has: its USB identity, then its own name where that stays the same.
pub(crate) fn list<N: Names>(source: &Ports<N>) -> Vec<Found> {
    let ports = source.scan().unwrap_or_default();
    ports.iter().map(|port| found::<N>(port, &ports)).collect()
}

fn found<N: Names>(port: &Port, all: &[Port]) -> Found {
    let (rest, hindrance) = match name::<N>(port, all) {
        Ok(rest) => (Some(rest), None),
        Err(absence) => (None, Some(absence)),
    };
    let selector: Option<Selector> = rest.and_then(|rest| format!("serial:{rest}").parse().ok());
    Found { selector, description: port.description(), hindrance }
}

/// Every port of the list with the name that stays the same.
pub(crate) fn named<N: Names>(source: &Ports<N>) -> Result<Vec<NamedPort>, String> {
    let ports = source.scan()?;
    let names: Vec<_> = ports.iter().map(|port| name::<N>(port, &ports)).collect();
    Ok(ports.into_iter().zip(names).map(|(port, name)| NamedPort { port, name }).collect())
}

/// Whether the port that a place means may be opened by this name; why there is no list, where the system gives none.
pub(crate) fn find<N: Names>(
    place: &SerialPlace,
    source: &Ports<N>,
) -> Result<Result<(), Unavailable>, String> {
    source.scan()?;
    Ok(locate(place, source).map(|_| ()))
}

/// The rest of the selector that means this port and no other, or why there is none.
pub(crate) fn name<N: Names>(port: &Port, all: &[Port]) -> Result<String, Unavailable> {
    let own = port.device.display().to_string();
    let Some(usb) = &port.usb else {
        return if N::is_fixed(port) { Ok(own) } else { Err(Unavailable::NotStable { path: own }) };
    };
    let answers = |one: &&Port| one.usb.as_ref().is_some_and(|found| N::answers(usb, found));
    let alike: Vec<String> =
        all.iter().filter(answers).map(|port| port.device.display().to_string()).collect();
    if alike.len() == 1 {
        Ok(format!("usb={usb}"))
    } else if N::is_fixed(port) {
        Ok(own)
    } else {
        Err(Unavailable::Ambiguous { what: SerialPlace::Usb(usb.clone()).to_string(), paths: alike })
    }
}

/// The port that a place means now, and that it may be opened by this name.
pub(crate) fn locate<N: Names>(place: &SerialPlace, source: &Ports<N>) -> Result<Located, Unavailable> {
    if let SerialPlace::Path(path) = place
        && let Some(pty) = N::pty(path)
    {
        let text = pty.display().to_string();
        return Ok(Located { text, shown: path.display().to_string(), is_pty: true });
    }
    let ports = source.scan().map_err(|detail| Unavailable::System {
        path: place.to_string(),
        kind: io::ErrorKind::Other,
        detail: format!("the system gives no list of its ports: {detail}"),
    })?;
    let port = match place {
        SerialPlace::Usb(usb) => usb.only_one_of(ports, N::answers)?,
        SerialPlace::Path(path) => {
            let shown = || path.display().to_string();
            let Some(port) = ports.into_iter().find(|port| port.device == *path) else {
                // A link made by hand follows nothing.
                let is_there = path.is_absolute() && path.exists();
                return Err(if is_there {
                    Unavailable::NotStable { path: shown() }
                } else {
                    Unavailable::NotFound { what: shown() }
                });
            };
            if !N::is_fixed(&port) {
                return Err(Unavailable::NotStable { path: shown() });
            }
            port
        }
    };
    let text = port.device.display().to_string();
    Ok(Located { shown: text.clone(), text, is_pty: false })
}

/// A path as Unix systems write it, without `//` and `/./`; `None` when it is not absolute or holds `..`. By its text, so that it
/// reads the same in the tests of every system.
#[allow(dead_code, reason = "Windows has no such paths")]
pub(crate) fn plain_path(rest: &str) -> Option<String> {
    let parts: Vec<&str> = rest.split('/').filter(|part| !part.is_empty() && *part != ".").collect();
    let is_plain = rest.starts_with('/') && !parts.contains(&"..");
    is_plain.then(|| format!("/{}", parts.join("/")))
}

/// What the library's error means. It gives one kind for a port that is taken and, on some systems, for one that is gone.
pub(crate) fn refused<N: Names>(
    error: &tokio_serial::Error,
    port: &Located,
    source: &Ports<N>,
) -> Unavailable {
    let path = port.shown.clone();
    let is_listed =
        || source.scan().is_ok_and(|ports| ports.iter().any(|one| one.device == Path::new(&port.text)));
    match error.kind() {
        ErrorKind::NoDevice if port.is_pty || is_listed() => Unavailable::InUse { path },
        ErrorKind::NoDevice | ErrorKind::Io(io::ErrorKind::NotFound) => Unavailable::NotFound { what: path },
        ErrorKind::Io(io::ErrorKind::PermissionDenied) if N::DENIED_MEANS_IN_USE => {
            Unavailable::InUse { path }
        }
        ErrorKind::Io(io::ErrorKind::PermissionDenied) => {
            Unavailable::PermissionDenied { path, group: String::new() }
        }
        ErrorKind::InvalidInput => Unavailable::NotAPort { path },
        ErrorKind::Io(kind) => Unavailable::System { path, kind, detail: error.to_string() },
        ErrorKind::Unknown => {
            Unavailable::System { path, kind: io::ErrorKind::Other, detail: error.to_string() }
        }
    }
}

#[cfg(test)]
mod tests;
