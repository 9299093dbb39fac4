//! Why a selector does not lead to an open device, and what to do next. Holds no retry policy.

use std::fmt;
use std::io;
use std::path::PathBuf;

use crate::options::OptionFault;
use crate::sys::words;

/// A selector that names no device, or none with a stable name.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum SelectorFault {
    /// There is no `scheme:` in front.
    NoScheme,
    /// The text is a path to a device without `serial:` in front.
    BarePath,
    /// The scheme is not 1 to 16 of `a-z 0-9 - +`, starting with a letter.
    BadScheme,
    /// Longer than 1024 bytes.
    TooLong,
    /// Contains a control character.
    ControlCharacter,
    /// The part after the scheme is empty and must not be.
    RestMissing,
    /// The part after the scheme must be empty.
    RestNotEmpty,
    /// Not a possible name of a serial port: a path that is not absolute or contains `..`.
    PathNotPlain,
    /// A numbered name such as `/dev/ttyUSB0`.
    NumberedName,
    /// A `usb=` part that is not `VVVV:PPPP` or `VVVV:PPPP:SERIAL`.
    BadUsb,
    /// A host that is not a name, an IPv4 address or an IPv6 address in brackets, or that does not denote a single
    /// machine.
    BadHost,
    /// The port is missing or not a number from 1 to 65535.
    BadPort,
    /// An IPv6 address without brackets.
    BareIpv6,
    /// A Bluetooth selector that is not an address, `id=`, `name=` or `service=`.
    BadBle,
    /// A name with characters other than letters, digits, `-`, `_`, `.`.
    BadName,
}

impl fmt::Display for SelectorFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let port = words::PORT_EXAMPLE;
        f.write_str(match self {
            Self::NoScheme => {
                return write!(
                    f,
                    "it has no scheme in front; write for example {port}, file:PATH or manual:"
                );
            }
            Self::BarePath => {
                return write!(
                    f,
                    "a path alone does not say how to read it; write {port} for a device, file:PATH for recorded bytes"
                );
            }
            Self::BadScheme => "the scheme must be 1 to 16 small letters, digits, '-' or '+', starting with a letter",
            Self::TooLong => "it is longer than 1024 bytes",
            Self::ControlCharacter => "it holds a control character",
            Self::RestMissing => "nothing stands after the colon; say which device",
            Self::RestNotEmpty => "nothing may stand after the colon",
            Self::PathNotPlain => words::NOT_A_NAME,
            Self::NumberedName => words::NUMBERED_NAME,
            Self::BadUsb => "write usb=VVVV:PPPP or usb=VVVV:PPPP:SERIAL with the four hex digits of vendor and product",
            Self::BadHost => {
                "write tcp:HOST:PORT, where HOST is a name, an IPv4 address, or an IPv6 address in brackets without a zone, \
                 and means one machine"
            }
            Self::BadPort => "the port is missing or not a number from 1 to 65535; write tcp:HOST:PORT",
            Self::BareIpv6 => "an IPv6 address stands in brackets; write for example tcp:[2001:db8::7]:4001",
            Self::BadBle => {
                "write ble:AA:BB:CC:DD:EE:FF (see `devices list --scan`), ble:name=NAME, or ble:service=0x181A with a 16-bit or \
                 full service UUID"
            }
            Self::BadName => "a name is 1 to 64 letters, digits, '-', '_' or '.'",
        })
    }
}

/// A request to open that can never succeed as written. Everything that may recover by itself is an [`Unavailable`]
/// instead.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum OpenError {
    /// No adapter of this build knows the scheme.
    UnknownScheme {
        /// The scheme asked for.
        scheme: String,
        /// The schemes this build has.
        known: Vec<&'static str>,
    },
    /// The selector is invalid.
    BadSelector {
        /// The text as given.
        selector: String,
        /// What is wrong with it and what to write instead.
        fault: SelectorFault,
    },
    /// An option is out of its range.
    BadOption(OptionFault),
    /// A finite source cannot be read.
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system said.
        kind: io::ErrorKind,
    },
    /// The path is not a regular file.
    NotAFile {
        /// The path.
        path: PathBuf,
    },
    /// This source can be open only once, and is.
    AlreadyOpen {
        /// The selector.
        selector: String,
    },
    /// The adapter has no source of this name.
    NoSuchSource {
        /// The selector.
        selector: String,
        /// The names it has.
        known: Vec<String>,
    },
    /// Called outside a tokio runtime: a bug in the caller.
    NoRuntime,
}

impl fmt::Display for OpenError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::UnknownScheme { scheme, known } => {
                write!(f, "no adapter reads '{scheme}:'; this build has {}", known.join(", "))?;
                match scheme.as_str() {
                    "ble+portable" => f.write_str(
                        "; on Linux it needs a build with the feature ble-portable (hardware-notes/attach-bluetooth.md)",
                    ),
                    _ => Ok(()),
                }
            }
            Self::BadSelector { selector, fault } => {
                write!(f, "device selector '{}': {fault}", selector.escape_debug())
            }
            Self::BadOption(fault) => write!(f, "{fault}"),
            Self::Unreadable { path, kind } => {
                write!(f, "cannot read {}: {kind}; check the path and its rights", path.display())
            }
            Self::NotAFile { path } => {
                write!(f, "{} is not a regular file; file: reads recorded bytes only", path.display())
            }
            Self::AlreadyOpen { selector } => {
                write!(f, "'{selector}' is open already and can be opened once only")
            }
            Self::NoSuchSource { selector, known } => {
                write!(
                    f,
                    "'{selector}' names nothing here; known: {}",
                    if known.is_empty() { "none".to_owned() } else { known.join(", ") }
                )
            }
            Self::NoRuntime => {
                f.write_str("a link was opened outside the async runtime (a defect, please report it)")
            }
        }
    }
}

impl std::error::Error for OpenError {}

/// What may help with a Bluetooth meter that is in range and cannot be opened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Remedy {
    /// Another program or phone may be holding it: release it there.
    Release,
    /// Pair it first.
    Pair,
    /// It is barely in range: move closer.
    Approach,
    /// What the system remembers about it may be wrong: forget it.
    Forget,
    /// The Bluetooth service itself does not respond.
    Service,
    /// It has nothing to read: choose another device.
    Choose,
}

/// Why a device cannot be opened now. The link keeps retrying; the text says what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum Unavailable {
    /// It is not there.
    NotFound {
        /// What was looked for.
        what: String,
    },
    /// Several devices match the selector; none is chosen.
    Ambiguous {
        /// What was looked for.
        what: String,
        /// The devices that match.
        paths: Vec<String>,
    },
    /// No right to open it.
    PermissionDenied {
        /// The device.
        path: String,
        /// The group that has the right, by its name on the system.
        group: String,
    },
    /// Another program has it open.
    InUse {
        /// The device.
        path: String,
    },
    /// The path is not a serial port.
    NotAPort {
        /// The path.
        path: String,
    },
    /// The path is numbered by the kernel, or is a hand-made link to such a path, and may mean another device
    /// tomorrow.
    NotStable {
        /// The path.
        path: String,
    },
    /// The port rejected a line setting.
    SettingRefused {
        /// The device.
        path: String,
        /// The setting: `parity`, `data bits` or `stop bits`.
        setting: &'static str,
    },
    /// Opening did not return in time; the same attempt is still pending.
    OpenStalled {
        /// The device.
        what: String,
    },
    /// The host's name has no address.
    NameUnknown {
        /// The name.
        host: String,
        /// The system's error text.
        detail: String,
    },
    /// Looking up the host's name does not return; the same look-up is still pending.
    NameUnanswered {
        /// The name.
        host: String,
    },
    /// The host is up and accepts no connection on this port.
    Refused {
        /// Address and port.
        address: String,
    },
    /// The host does not respond in time.
    Unanswered {
        /// Address and port.
        address: String,
    },
    /// The line is open, but the device on it does not reply. Polling continues.
    Mute {
        /// The result of the last request.
        why: &'static str,
        /// The line is a serial port of this machine, so its settings are ours to check.
        serial: bool,
    },
    /// There is no route to the host.
    Unreachable {
        /// Address and port.
        address: String,
        /// The system's error text.
        detail: String,
    },
    /// The Bluetooth service cannot be reached.
    NoBluetooth {
        /// The error text of the bus or the service.
        detail: String,
    },
    /// There is no Bluetooth radio.
    NoRadio,
    /// Every Bluetooth radio is switched off; only a person switches one on.
    RadioOff,
    /// Several Bluetooth devices in range match the selector; none is chosen.
    SeveralInRange {
        /// What was looked for.
        what: String,
        /// Their selectors by address.
        devices: Vec<String>,
    },
    /// A Bluetooth device is in range but cannot be opened.
    NotConnected {
        /// Its address.
        device: String,
        /// The service's error text.
        detail: String,
        /// What may help.
        mend: Remedy,
    },
    /// The system refused for another reason.
    System {
        /// The device.
        path: String,
        /// The kind of error.
        kind: io::ErrorKind,
        /// The system's error text.
        detail: String,
    },
}

impl fmt::Display for Unavailable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotFound { what } => write!(f, "{what} is not there; plug it in or switch it on"),
            Self::Ambiguous { what, paths } => write!(
                f,
                "{what} matches {} devices ({}); {}",
                paths.len(),
                paths.join(", "),
                words::TELL_APART
            ),
            Self::PermissionDenied { path, group } => f.write_str(&words::no_right(path, group)),
            Self::InUse { path } => f.write_str(&words::in_use(path)),
            Self::NotAPort { path } => write!(f, "{path} is not a serial port; see `devices list`"),
            Self::NotStable { path } => f.write_str(&words::not_stable(path)),
            Self::SettingRefused { path, setting } => {
                write!(
                    f,
                    "{path} did not take the {setting} of the profile; the adapter cannot do it or its driver is faulty"
                )
            }
            Self::OpenStalled { what } => {
                write!(f, "opening {what} gives no answer; unplug the adapter and plug it in again")
            }
            Self::NameUnknown { host, detail } => {
                write!(
                    f,
                    "the name {host} has no address ({detail}); check its spelling, or write the address in its place"
                )
            }
            Self::NameUnanswered { host } => write!(
                f,
                "looking up the name {host} gives no answer; check this machine's network, or write the address in its place"
            ),
            Self::Refused { address } => write!(
                f,
                "{address} takes no connection: check the port, that the serial server is set to raw TCP, and that no other \
                 program holds its only place"
            ),
            Self::Unanswered { address } => write!(
                f,
                "{address} does not answer; check that the serial server is on, that the address is its own, and that no \
                 firewall stands between"
            ),
            Self::Mute { why, serial } => f.write_str(&mute(why, *serial)),
            Self::Unreachable { address, detail } => write!(
                f,
                "no way to {address} ({detail}); check the cable or the Wi-Fi, and that both are in the same network"
            ),
            Self::NoBluetooth { .. }
            | Self::NoRadio
            | Self::RadioOff
            | Self::SeveralInRange { .. }
            | Self::NotConnected { .. } => self.fmt_bluetooth(f),
            Self::System { path, kind, detail } => write!(f, "cannot open {path}: {detail} ({kind})"),
        }
    }
}

/// What to look at when an open line gives no replies.
fn mute(why: &str, serial: bool) -> String {
    let (line, places) = if serial {
        ("line", "its address, speed and parity, and the wires")
    } else {
        (
            "connection",
            "its address in the profile, and, if a serial server stands between, the line settings of that server",
        )
    };
    format!(
        "the {line} is open, and the device gives no answer that counts ({why}); check that it is on, {places}"
    )
}

impl Unavailable {
    /// The text of the Bluetooth variants.
    fn fmt_bluetooth(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoBluetooth { detail } => {
                write!(f, "the Bluetooth service does not answer ({detail}); {}", words::BLUETOOTH.service)
            }
            Self::NoRadio => write!(f, "no Bluetooth radio is there; {}", words::BLUETOOTH.no_radio),
            Self::RadioOff => {
                write!(
                    f,
                    "the Bluetooth radio is off; switch it on yourself ({})",
                    words::BLUETOOTH.switch_on
                )
            }
            Self::SeveralInRange { what, devices } => write!(
                f,
                "{what} matches {} devices in range ({}); write the address of the right one",
                devices.len(),
                devices.join(", ")
            ),
            Self::NotConnected { device, detail, mend } => {
                write!(f, "{device} is in range and cannot be opened ({detail}); ")?;
                let named = |words: &str| words.replace("ADDRESS", device);
                match mend {
                    Remedy::Release => f.write_str(
                        "close the program or telephone that holds it, then switch it off and on",
                    ),
                    Remedy::Pair => write!(f, "it may have to be paired: {}", named(words::BLUETOOTH.pair)),
                    Remedy::Approach => f.write_str("bring it nearer, and see that it is still switched on"),
                    Remedy::Forget => write!(
                        f,
                        "switch it off and on; if that does not help, have the system forget it: {}",
                        named(words::BLUETOOTH.forget)
                    ),
                    Remedy::Service => write!(
                        f,
                        "switch it off and on; if that does not help, start the Bluetooth service anew: {}",
                        words::BLUETOOTH.restart
                    ),
                    Remedy::Choose => f.write_str(
                        "check with `devices list --scan` that it is the meter that is meant; this one cannot be read",
                    ),
                }
            }
            _ => Ok(()),
        }
    }
}
