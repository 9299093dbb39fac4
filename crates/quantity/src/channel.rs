//! One channel of one device: where readings come from. Does not know devices beyond their names.

use alloc::borrow::ToOwned;
use alloc::string::String;
use core::fmt;

/// One channel of one device. Written `DEVICE/CHANNEL`.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct DeviceChannel {
    /// The device's name.
    pub device: String,
    /// Its channel.
    pub channel: u8,
}

impl DeviceChannel {
    /// This channel of this device.
    #[must_use]
    pub fn new(device: &str, channel: u8) -> Self {
        Self { device: device.to_owned(), channel }
    }

    /// Whether it is this channel of this device.
    #[must_use]
    pub fn is(&self, device: &str, channel: u8) -> bool {
        self.channel == channel && self.device == device
    }
}

impl fmt::Display for DeviceChannel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.device, self.channel)
    }
}
