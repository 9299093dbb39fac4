//! The text that names a device: `scheme:rest`. Holds the syntax that all schemes share; each adapter interprets
//! `rest`.

use std::fmt;
use std::str::FromStr;

use crate::error::{OpenError, SelectorFault};

/// The longest selector, in bytes.
const SELECTOR_BYTES_MAX: usize = 1024;
/// The longest scheme, in bytes.
const SCHEME_BYTES_MAX: usize = 16;

/// The name of a device, as it is written in the configuration.
///
/// | text | means |
/// |---|---|
/// | `serial:/dev/serial/by-id/NAME` | the serial port with this stable name |
/// | `serial:usb=1a86:7523` | the one USB serial port with this vendor and product, hex |
/// | `serial:usb=1a86:7523:SERIAL` | the same, with the adapter's serial number |
/// | `tcp:HOST:PORT` | a serial server; an IPv6 address in brackets |
/// | `ble:AA:BB:CC:DD:EE:FF` | the Bluetooth LE device with this address |
/// | `ble:name=NAME` | the one in range with this name |
/// | `ble:service=0x181A` | the one in range that offers this service; a full UUID also works |
/// | `ble:id=UUID` | the one with this id on this machine, for systems that hide addresses |
/// | `ble+portable:...` | the same, through the Bluetooth library of other systems |
/// | `file:PATH` | recorded raw bytes |
/// | `stdin:` | bytes piped into the process |
/// | `sim:NAME` | a scripted meter |
/// | `manual:` or `manual:NAME` | values that a person types |
///
/// The text is kept as written, so printing returns it unchanged.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Selector {
    text: String,
    scheme_bytes: usize,
}

impl Selector {
    /// The part before the first colon.
    #[must_use]
    pub fn scheme(&self) -> &str {
        self.text.get(..self.scheme_bytes).unwrap_or_default()
    }

    /// The part after the first colon, as written.
    #[must_use]
    pub fn rest(&self) -> &str {
        self.text.get(self.scheme_bytes.saturating_add(1)..).unwrap_or_default()
    }

    /// The whole text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.text
    }

    /// The error that rejects this selector because of `fault`.
    #[must_use]
    pub fn refuse(&self, fault: SelectorFault) -> OpenError {
        OpenError::BadSelector { selector: self.text.clone(), fault }
    }

    /// The rest as a name: letters, digits, `-`, `_`, `.`; at most 64.
    ///
    /// # Errors
    /// [`SelectorFault::RestMissing`] or [`SelectorFault::BadName`].
    pub(crate) fn name(&self) -> Result<&str, OpenError> {
        let name = self.rest();
        if name.is_empty() {
            return Err(self.refuse(SelectorFault::RestMissing));
        }
        let good = |c: char| c.is_alphanumeric() || matches!(c, '-' | '_' | '.');
        if name.chars().count() > 64 || !name.chars().all(good) {
            return Err(self.refuse(SelectorFault::BadName));
        }
        Ok(name)
    }
}

impl FromStr for Selector {
    type Err = OpenError;

    fn from_str(text: &str) -> Result<Self, OpenError> {
        scheme_end(text)
            .map(|scheme_bytes| Self { text: text.to_owned(), scheme_bytes })
            .map_err(|fault| OpenError::BadSelector { selector: text.chars().take(80).collect(), fault })
    }
}

/// The length of the scheme, or what is wrong.
fn scheme_end(text: &str) -> Result<usize, SelectorFault> {
    if text.len() > SELECTOR_BYTES_MAX {
        return Err(SelectorFault::TooLong);
    }
    if text.chars().any(char::is_control) {
        return Err(SelectorFault::ControlCharacter);
    }
    if text.starts_with(['/', '.', '~']) {
        return Err(SelectorFault::BarePath);
    }
    let (scheme, _) = text.split_once(':').ok_or(SelectorFault::NoScheme)?;
    let mut bytes = scheme.bytes();
    let head_good = bytes.next().is_some_and(|b| b.is_ascii_lowercase());
    if !head_good
        || scheme.len() > SCHEME_BYTES_MAX
        || !bytes.all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || matches!(b, b'-' | b'+'))
    {
        return Err(SelectorFault::BadScheme);
    }
    Ok(scheme.len())
}

impl fmt::Display for Selector {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}
