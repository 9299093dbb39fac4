//! The doctor on systems whose state is not in files: it examines the list of serial ports and the history's folder,
//! and reports everything else as not examined. Opens no port, writes nothing, runs nothing.

use std::path::Path;

#[cfg(feature = "serial")]
use link::{NamedPort, Port, SerialPlace, Unavailable};

use crate::{Finding, Remedy, State};

/// Why something about a port was not examined.
#[cfg(feature = "serial")]
const NO_LOOK: &str = "cannot be looked at on this system; opening the port tells";

/// The machine to examine: this one.
#[derive(Debug, Clone)]
pub struct Machine;

impl Machine {
    /// Whether another machine can be examined by its files, an account named, and a remedy run.
    pub const SHOWS_IN_FILES: bool = false;

    /// This machine. Accounts are unknown.
    #[must_use]
    pub fn here(_name: Option<&str>) -> Self {
        Self
    }

    /// This machine; another one's files cannot be read here.
    #[must_use]
    pub fn under(_root: &Path, _name: Option<&str>) -> Self {
        Self
    }

    /// Whether it is known who will use the meter.
    #[must_use]
    pub fn knows_account(&self) -> bool {
        false
    }

    /// Whether root will use the meter.
    #[must_use]
    pub fn is_root(&self) -> bool {
        false
    }
}

/// Examines every listed serial port. `named` are the places in the devices of a site, if a site is known.
#[cfg(all(feature = "serial", not(target_os = "linux")))]
#[must_use]
pub fn serial(_machine: &Machine, named: Option<&[SerialPlace]>) -> Vec<Finding> {
    ports(link::ports::named(), named, link::ports::IF_IT_STAYS_AWAY)
}

#[cfg(feature = "serial")]
fn ports(
    listed: Result<Vec<NamedPort>, String>,
    named: Option<&[SerialPlace]>,
    if_it_stays_away: &str,
) -> Vec<Finding> {
    const TOPIC: &str = "serial ports";
    const WHAT: &str = "the system's list";
    const WHY: &str = "A meter on a cable is read through a serial port.";
    let ports = match listed {
        Ok(ports) => ports,
        Err(why) => {
            let seen = format!("the system gives none: {}", why.replace(char::is_control, " "));
            return vec![Finding::new(TOPIC, WHAT, State::Unknown, seen, WHY)];
        }
    };
    if ports.is_empty() {
        return vec![
            Finding::new(TOPIC, WHAT, State::Missing, "no serial port", WHY)
                .with(Remedy::advice("plug the cable in and look again"))
                .with(Remedy::advice(if_it_stays_away)),
        ];
    }
    let mut findings: Vec<Finding> = ports.into_iter().map(|port| lasting(port, named)).collect();
    findings.push(Finding::new(
        "right to open",
        "all ports",
        State::Unknown,
        NO_LOOK,
        "Without the right to open the port no byte of the meter is read.",
    ));
    findings.push(Finding::new(
        "in use",
        "all ports",
        State::Unknown,
        NO_LOOK,
        "Two programs on one port each get a part of the bytes, so a port that is taken is not opened.",
    ));
    findings
}

/// Whether the port has a stable name.
#[cfg(feature = "serial")]
fn lasting(NamedPort { port, name }: NamedPort, named: Option<&[SerialPlace]>) -> Finding {
    const TOPIC: &str = "lasting name";
    const WHY: &str = "A number goes by order of plugging in; tomorrow it may be another meter.";
    let what = port.device.display().to_string();
    match name {
        Ok(rest) => Finding::new(TOPIC, what, State::Fine, format!("write serial:{rest}"), WHY),
        Err(why) => {
            let is_used =
                named.map_or(port.usb.is_some(), |places| places.iter().any(|place| means(place, &port)));
            let state = if is_used { State::Blocked } else { State::Note };
            Finding::new(TOPIC, what, state, why.to_string(), WHY)
        }
    }
}

/// Whether a place denotes this port.
#[cfg(feature = "serial")]
fn means(place: &SerialPlace, port: &Port) -> bool {
    match place {
        SerialPlace::Usb(usb) => port.usb.as_ref().is_some_and(|found| usb.matches(found)),
        SerialPlace::Path(path) => *path == port.device,
    }
}

/// Examines the one port denoted by the rest of a selector (after `serial:`).
#[cfg(all(feature = "serial", not(target_os = "linux")))]
#[must_use]
pub fn serial_place(_machine: &Machine, place: &SerialPlace) -> Finding {
    port_of(place, link::ports::find(place))
}

#[cfg(feature = "serial")]
fn port_of(place: &SerialPlace, sought: Result<Result<(), Unavailable>, String>) -> Finding {
    const TOPIC: &str = "device";
    const WHY: &str = "The daemon waits for this port and reads nothing until it is there.";
    let found = |state, seen: String| Finding::new(TOPIC, place.to_string(), state, seen, WHY);
    match sought {
        Err(why) => found(State::Unknown, format!("the system gives no list of ports: {why}")),
        Ok(Ok(())) => found(State::Fine, "is there".to_owned()),
        Ok(Err(absence)) => found(State::Blocked, absence.to_string())
            .with(Remedy::advice("`cliplead devices list` shows what is there and what to write")),
    }
}

/// udev rules do not apply here.
#[cfg(feature = "serial")]
#[must_use]
pub fn udev_rule(_machine: &Machine, _current: &str) -> Vec<Finding> {
    Vec::new()
}

/// Nothing between the program and a Bluetooth meter can be examined.
#[must_use]
pub fn bluetooth(_machine: &Machine) -> Vec<Finding> {
    vec![Finding::new(
        "Bluetooth adapter",
        "this machine",
        State::Unknown,
        "cannot be looked at on this system",
        "A meter without a cable is heard through the Bluetooth adapter.",
    )]
}

/// Examines the file `path` and its folder. The daemon creates a file that does not exist.
#[must_use]
pub fn storage(_machine: &Machine, path: &Path) -> Finding {
    const TOPIC: &str = "history";
    const WHY: &str = "A verdict is shown only after it is stored, so without the file none is shown.";
    let found = |state, seen: &str| Finding::new(TOPIC, path.display().to_string(), state, seen, WHY);
    let folder =
        path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or_else(|| Path::new("."));
    if !folder.is_dir() {
        return found(State::Blocked, "its folder is not there")
            .with(Remedy::advice(format!("make the folder {}", folder.display())));
    }
    match std::fs::metadata(path) {
        Ok(meta) if !meta.is_file() => found(State::Blocked, "is no file"),
        Ok(meta) if meta.permissions().readonly() => found(State::Blocked, "is marked as read-only")
            .with(Remedy::advice("take the mark away, or name another place for the history")),
        Ok(_) => found(State::Unknown, "is there; whether it may be written shows only when it is"),
        Err(_) => found(State::Unknown, "is not there yet; whether it may be made shows only when it is"),
    }
}

#[cfg(test)]
#[cfg(feature = "serial")]
mod tests;
