//! Windows: which names of serial ports stay the same, and where a person is sent. Asks the system for nothing, so its tests
//! run everywhere. It was checked by compiling; no meter has been read on Windows.

pub(crate) use super::elsewhere::doctor;

/// Where a person is sent: names and tools of Windows. Holds words alone.
pub(crate) mod words {
    use crate::sys::BluetoothWords;

    /// Where a person is sent for Bluetooth.
    pub(crate) const BLUETOOTH: BluetoothWords = BluetoothWords {
        service: "check in the Device Manager under \"Bluetooth\" that the radio works, and in Settings, Privacy, that programs may use it",
        no_radio: "plug one in (Device Manager, \"Bluetooth\")",
        switch_on: "Settings, Bluetooth & devices",
        pair: "Settings, Bluetooth & devices, Add device",
        forget: "Settings, Bluetooth & devices, the three dots beside it, Remove device",
        restart: "switch Bluetooth off and on in Settings",
        free: "switch them off and on",
    };

    /// A serial port as a selector names it best.
    pub(crate) const PORT_EXAMPLE: &str = "serial:usb=VVVV:PPPP:SERIAL";

    /// Why a number is refused, and what to write.
    pub(crate) const NUMBERED_NAME: &str = "this number can mean another adapter on another day; write serial:usb=VVVV:PPPP:SERIAL (see `devices list`)";

    /// What a name that is no USB identity has to be.
    pub(crate) const NOT_A_NAME: &str = "no port of Windows has this name; write serial:usb=VVVV:PPPP:SERIAL (see `devices list`), or serial:COM1 for a port \
         that is no USB port";

    /// What tells ports of one identity apart.
    pub(crate) const TELL_APART: &str =
        "add the serial number; of adapters without one, plug in one of a kind alone";

    /// Where a port that is not seen may show.
    #[cfg(feature = "serial")]
    pub(crate) const IF_IT_STAYS_AWAY: &str = "if it stays away, the Device Manager shows under \"Ports (COM & LPT)\" whether its driver is missing";

    pub(crate) fn no_right(path: &str, _group: &str) -> String {
        format!("no right to open {path}; ask whoever administers this computer")
    }

    pub(crate) fn in_use(path: &str) -> String {
        format!("{path} is in use by another program; close the program that has it open")
    }

    pub(crate) fn not_stable(path: &str) -> String {
        format!(
            "{path} is a USB port, and its number can mean another adapter on another day or another computer; \
             write serial:usb=VVVV:PPPP:SERIAL as `devices list` shows it"
        )
    }
}

/// Serial ports of Windows.
///
/// A USB adapter is named by its identity, as everywhere. `COM3` alone is refused for one: Windows keeps the number for an
/// adapter without a serial number by the socket it is in, gives it anew when a driver is set up again, and another
/// computer has its own numbers. A port that the list does not call a USB port has no other name, and its number
/// stays with its place in the machine, like a name by path on Linux; so there `COM1` is taken.
#[cfg(feature = "serial")]
pub(crate) mod serial {
    use std::path::{Path, PathBuf};

    use super::super::elsewhere::serial::{Names, Ports};
    pub(crate) use super::super::elsewhere::serial::{list, locate, refused};
    use crate::error::SelectorFault;
    use crate::serial::{Port, UsbIdentity};

    /// The library opens a port with DTR low. On Linux and macOS the system raises it, and cables take their supply from there.
    pub(crate) const LEVEL_UNLESS_SET: Option<bool> = Some(true);

    pub(crate) type Source = Ports<Windows>;

    /// The vendor whose driver puts a letter for the port behind the serial number.
    const WITH_PORT_LETTER: u16 = 0x0403;
    /// Its serial numbers have eight characters.
    const SERIAL_CHARS: usize = 8;

    #[derive(Debug)]
    pub(crate) enum Windows {}

    impl Names for Windows {
        /// The system says "access denied" for a port that another program has.
        const DENIED_MEANS_IN_USE: bool = true;

        fn is_port(name: &str) -> bool {
            com_port(name).is_some()
        }

        /// Of an adapter without a serial number the list gives the first character of a place, such as the 5 of `5&1A2B3C&0&2`.
        fn serial_number(listed: &str) -> Option<String> {
            (listed.chars().count() > 1).then(|| listed.to_owned())
        }

        /// Letters count alike in both cases: Windows itself tells no two devices apart by them.
        fn answers(wanted: &UsbIdentity, found: &UsbIdentity) -> bool {
            let small = |usb: &UsbIdentity| UsbIdentity {
                serial: usb.serial.as_ref().map(|serial| serial.to_ascii_lowercase()),
                ..*usb
            };
            let (wanted, found) = (small(wanted), small(found));
            wanted.is(&found) || wanted.is(&without_port_letter(found))
        }

        fn is_fixed(port: &Port) -> bool {
            port.usb.is_none()
        }

        fn pty(_path: &Path) -> Option<PathBuf> {
            None
        }
    }

    /// `A702TB52A` is the port A of the adapter `A702TB52`, which other systems name without the letter.
    fn without_port_letter(mut usb: UsbIdentity) -> UsbIdentity {
        if usb.vendor == WITH_PORT_LETTER
            && let Some(serial) = &mut usb.serial
            && serial.len() == SERIAL_CHARS + 1
            && serial.ends_with(['a', 'b', 'c', 'd'])
        {
            serial.pop();
        }
        usb
    }

    pub(crate) fn answers(wanted: &UsbIdentity, found: &UsbIdentity) -> bool {
        Windows::answers(wanted, found)
    }

    /// Reads a name that is no USB identity: `COM` and a number. Whether it may be used is told when the port is looked for.
    pub(crate) fn named(rest: &str) -> Result<PathBuf, SelectorFault> {
        com_port(rest).map(PathBuf::from).ok_or(SelectorFault::PathNotPlain)
    }

    /// The name as the list writes it; Windows has COM1 to COM256.
    fn com_port(name: &str) -> Option<String> {
        let name = name.to_ascii_uppercase();
        let digits = name.strip_prefix("COM")?;
        let is_plain = !digits.starts_with('0') && digits.bytes().all(|b| b.is_ascii_digit());
        let number: u16 = digits.parse().ok().filter(|_| is_plain)?;
        (1..=256).contains(&number).then_some(name)
    }
}
