//! The interface to a system's Bluetooth that every backend implements: radios, devices in range, scan, connection,
//! characteristics and their values. Holds the trait and its types; no backend. To add a backend: implement
//! [`Central`] in a file below `ble/sys`; `ble/sys.rs` selects the backend of each system. Search, session, silence
//! detection and packets are shared.

use std::fmt::Debug;
use std::future::Future;
use std::time::Duration;

use wire::gatt::Uuid;

use crate::error::Unavailable;

/// The longest wait for any reply.
pub(super) const CALL_TIME_MAX: Duration = Duration::from_secs(5);

/// Why a call failed.
#[derive(Debug)]
pub(super) enum CallFault {
    /// No reply within this time.
    Stalled(Duration),
    /// The service refused, or the connection to it is gone.
    Refused(String),
}

impl CallFault {
    /// As text, for an [`Unavailable`].
    pub(super) fn words(self) -> String {
        match self {
            Self::Stalled(limit) => format!("no answer in {} s", limit.as_secs()),
            Self::Refused(detail) => detail,
        }
    }

    pub(super) fn service(self) -> Unavailable {
        Unavailable::NoBluetooth { detail: self.words() }
    }

    /// Another program's scan is just starting; its results are visible to all.
    pub(super) fn scans_already(&self) -> bool {
        matches!(self, Self::Refused(why) if why.contains("org.bluez.Error.InProgress"))
    }
}

/// Whether a radio is on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Power {
    On,
    Off,
    /// The system does not say, or does not tell this program.
    #[allow(dead_code, reason = "BlueZ always says")]
    Unknown,
}

/// A Bluetooth radio of this machine.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Radio {
    /// The backend's key for it.
    pub(super) key: String,
    pub(super) power: Power,
}

/// A device in range.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct DiscoveredDevice {
    /// The backend's key for it.
    pub(super) key: String,
    /// The key of the radio that hears it.
    pub(super) radio: String,
    /// Its address in capitals, or `id=...` on systems that hide addresses: the part after `ble:`.
    pub(super) address: String,
    pub(super) name: String,
    /// Sorted.
    pub(super) services: Vec<Uuid>,
    pub(super) connected: bool,
    /// Its address may change by itself, for privacy.
    pub(super) is_random: bool,
}

/// A characteristic of a connected device.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct ListedCharacteristic {
    /// The backend's key for it; sorts in handle order if the backend knows that order.
    pub(super) key: String,
    /// Its index among all characteristics of the device, from 0.
    pub(super) place: usize,
    pub(super) service: Uuid,
    pub(super) uuid: Uuid,
    /// Which of several with these two UUIDs, from 1, or [`wire::gatt::packet::INSTANCE_UNKNOWN`].
    pub(super) instance: u8,
    /// It sends by itself.
    pub(super) sends: bool,
    pub(super) readable: bool,
    /// Short UUID and key of each descriptor, in the order of the handles.
    pub(super) descriptors: Vec<(u16, String)>,
}

/// The characteristics of a connected device.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Characteristics {
    /// In the order of their places.
    pub(super) listed: Vec<ListedCharacteristic>,
    /// Characteristics that exist but cannot be read by this backend, as text.
    pub(super) withheld: Vec<String>,
}

/// An event that a backend reports.
#[derive(Debug)]
pub(super) enum Signal {
    /// A characteristic sent a value.
    Value { key: String, value: Vec<u8> },
    /// The connection to a device ended, or the device is gone.
    DeviceGone { key: String },
    /// A radio was switched off or is gone.
    RadioGone { key: String },
    /// Attributes of a device are gone: what was known about it is no longer valid.
    #[allow(dead_code, reason = "BlueZ alone tells it")]
    PartGone { key: String },
    /// The Bluetooth service, or the connection to it, is gone.
    Closed,
    /// A library below panicked and the panic was caught; its work is undone or missing. As text.
    #[allow(dead_code, reason = "the backend for BlueZ is all our own")]
    Panicked { words: String },
}

/// A connection to the system's Bluetooth. Cheap to clone; dropping the last clone closes it. Each call returns by
/// itself, within [`CALL_TIME_MAX`] unless stated otherwise.
pub(super) trait Central: Clone + Debug + Send + Sync + Sized + 'static {
    /// Where the service is.
    type Place: Clone + Debug + Send + Sync + 'static;
    /// Where signals come from.
    type Signals: Send;

    /// Connects to the service.
    fn open(place: &Self::Place) -> impl Future<Output = Result<(Self, Self::Signals), Unavailable>> + Send;

    /// The next signal. Cancel-safe. Not called again after [`Signal::Closed`].
    fn next(signals: &mut Self::Signals) -> impl Future<Output = Signal> + Send;

    /// The radios there are. Switches none on.
    fn radios(&self) -> impl Future<Output = Result<Vec<Radio>, CallFault>> + Send;

    /// The devices known to be in range: heard by a scan, or connected.
    fn devices(&self) -> impl Future<Output = Result<Vec<DiscoveredDevice>, CallFault>> + Send;

    /// Starts a scan on a radio that is on.
    fn start_scan(&self, radio: &str) -> impl Future<Output = Result<(), CallFault>> + Send;

    /// Ends it.
    fn stop_scan(&self, radio: &str) -> impl Future<Output = Result<(), CallFault>> + Send;

    /// Connects to a device and subscribes to its signals.
    fn connect(&self, seen: &DiscoveredDevice) -> impl Future<Output = Result<(), CallFault>> + Send;

    /// Disconnects a device.
    fn disconnect(&self, device: &str) -> impl Future<Output = Result<(), CallFault>> + Send;

    /// The characteristics of a connected device. `Ok(None)`: not known yet. `Err(None)`: the device is gone.
    fn characteristics(
        &self,
        seen: &DiscoveredDevice,
    ) -> impl Future<Output = Result<Option<Characteristics>, Option<CallFault>>> + Send;

    /// Reads the value of a characteristic.
    fn read(&self, key: &str) -> impl Future<Output = Result<Vec<u8>, CallFault>> + Send;

    /// Reads the value of a descriptor.
    fn read_descriptor(&self, key: &str) -> impl Future<Output = Result<Vec<u8>, CallFault>> + Send;

    /// Makes a characteristic send notifications.
    fn subscribe(&self, key: &str) -> impl Future<Output = Result<(), CallFault>> + Send;

    /// Stops the notifications. A refusal means that nothing was subscribed.
    fn unsubscribe(&self, key: &str) -> impl Future<Output = Result<(), CallFault>> + Send;
}
