//! The backend of every system: the library `btleplug`, on its own thread and runtime. Translates its devices and
//! events; finds, connects and watches nothing by itself.
//!
//! # Why a thread of its own
//! The library blocks the thread that creates its manager, panics in tasks of its own, and its tasks cannot be ended.
//! It therefore gets a thread with a runtime: if it hangs, nothing else hangs; every call has a time limit; a panic
//! is caught and reported; and the end of a session ends every task. A new session starts with a new manager.
//!
//! # What it does not do
//! It never starts a scan on a radio that is off: the library would switch it on. It writes nothing.
//!
//! The library keeps one characteristic per UUID in a service, and one service per UUID. Where possible, the backend
//! asks the system what else there is ([`handle_order`]); characteristics that cannot be told apart are withheld,
//! never guessed ([`listing`]).

mod attribute;
mod handle_order;
mod listing;
mod panics;
mod words;
mod worker;

use std::sync::Arc;
use std::time::Duration;

use super::library::Error;
use super::library::api::{BDAddr, Central as _, CentralState, Peripheral as _, ScanFilter};
use super::library::platform::Peripheral;
use crate::ble::central::{
    CALL_TIME_MAX, CallFault, Central, Characteristics, DiscoveredDevice, Power, Radio, Signal,
};
use crate::error::Unavailable;
use attribute::Attribute;
pub(in crate::ble) use worker::Place;
use worker::{Doing, Signals, State, Worker};

/// The longest wait for a connection; on some systems it waits for the services too.
const CONNECT_TIME_MAX: Duration = Duration::from_secs(10);
/// The longest wait for the list of a device's characteristics.
const SERVICES_TIME_MAX: Duration = Duration::from_secs(10);

/// A connection to the system's Bluetooth through the library.
#[derive(Clone, Debug)]
pub(in crate::ble) struct Library(Worker);

impl Library {
    async fn is_connected(&self, device: &str) -> bool {
        let key = device.to_owned();
        let ask = move |state: Arc<State>| -> Doing<bool> {
            Box::pin(async move { state.device(&key)?.is_connected().await })
        };
        self.0.ask(CALL_TIME_MAX, ask).await.unwrap_or(false)
    }

    /// Does something with an attribute of the open device.
    async fn with_part<T: Send + 'static>(
        &self,
        key: &str,
        work: impl FnOnce(Peripheral, Attribute) -> Doing<T> + Send + 'static,
    ) -> Result<T, CallFault> {
        let key = key.to_owned();
        let ask = move |state: Arc<State>| -> Doing<T> {
            Box::pin(async move {
                let (device, part) = state.part(&key)?;
                work(device, part).await
            })
        };
        self.0.ask(CALL_TIME_MAX, ask).await
    }
}

impl Central for Library {
    type Place = Place;
    type Signals = Signals;

    async fn open(place: &Place) -> Result<(Self, Signals), Unavailable> {
        let (worker, signals) = Worker::start(place).await?;
        Ok((Self(worker), signals))
    }

    async fn next(signals: &mut Signals) -> Signal {
        signals.recv().await.unwrap_or(Signal::Closed)
    }

    async fn radios(&self) -> Result<Vec<Radio>, CallFault> {
        self.0.ask(CALL_TIME_MAX, |state| Box::pin(radios(state))).await
    }

    async fn devices(&self) -> Result<Vec<DiscoveredDevice>, CallFault> {
        self.0.ask(CALL_TIME_MAX, |state| Box::pin(devices(state))).await
    }

    async fn start_scan(&self, radio: &str) -> Result<(), CallFault> {
        let radio = radio.to_owned();
        let start = move |state: Arc<State>| -> Doing<()> {
            Box::pin(async move {
                let adapter = state.adapter(&radio)?;
                // The library would switch it on.
                match adapter.adapter_state().await? {
                    CentralState::PoweredOn => adapter.start_scan(ScanFilter::default()).await,
                    _ => Err(Error::NotSupported("the radio is off".to_owned())),
                }
            })
        };
        self.0.ask(CALL_TIME_MAX, start).await
    }

    async fn stop_scan(&self, radio: &str) -> Result<(), CallFault> {
        let radio = radio.to_owned();
        let stop = move |state: Arc<State>| -> Doing<()> {
            Box::pin(async move { state.adapter(&radio)?.stop_scan().await })
        };
        self.0.ask(CALL_TIME_MAX, stop).await
    }

    async fn connect(&self, seen: &DiscoveredDevice) -> Result<(), CallFault> {
        let key = seen.key.clone();
        let connect = move |state: Arc<State>| -> Doing<()> {
            Box::pin(async move {
                let device = state.device(&key)?;
                state.listen_to(&device).await?;
                device.connect().await
            })
        };
        match self.0.ask(CONNECT_TIME_MAX, connect).await {
            // Whether the services come is for the caller to see.
            Err(CallFault::Stalled(_)) if self.is_connected(&seen.key).await => Ok(()),
            other => other,
        }
    }

    async fn disconnect(&self, device: &str) -> Result<(), CallFault> {
        let key = device.to_owned();
        let disconnect = move |state: Arc<State>| -> Doing<()> {
            Box::pin(async move { state.device(&key)?.disconnect().await })
        };
        self.0.ask(CALL_TIME_MAX, disconnect).await
    }

    async fn characteristics(
        &self,
        seen: &DiscoveredDevice,
    ) -> Result<Option<Characteristics>, Option<CallFault>> {
        let seen = seen.clone();
        self.0.ask(SERVICES_TIME_MAX, move |state| Box::pin(characteristics(state, seen))).await.map_err(Some)
    }

    async fn read(&self, key: &str) -> Result<Vec<u8>, CallFault> {
        self.with_part(key, |device, part| Box::pin(async move { device.read(&part.characteristic).await }))
            .await
    }

    async fn read_descriptor(&self, key: &str) -> Result<Vec<u8>, CallFault> {
        self.with_part(key, |device, part| {
            Box::pin(async move {
                let descriptor = part.descriptor.ok_or(Error::NoSuchCharacteristic)?;
                device.read_descriptor(&descriptor).await
            })
        })
        .await
    }

    async fn subscribe(&self, key: &str) -> Result<(), CallFault> {
        self.with_part(key, |device, part| {
            Box::pin(async move { device.subscribe(&part.characteristic).await })
        })
        .await
    }

    async fn unsubscribe(&self, key: &str) -> Result<(), CallFault> {
        self.with_part(key, |device, part| {
            Box::pin(async move { device.unsubscribe(&part.characteristic).await })
        })
        .await
    }
}

async fn radios(state: Arc<State>) -> super::library::Result<Vec<Radio>> {
    let mut radios = Vec::new();
    for (key, adapter) in state.adapters().await? {
        let power = match adapter.adapter_state().await {
            Ok(CentralState::PoweredOn) => Power::On,
            Ok(CentralState::PoweredOff) => Power::Off,
            Ok(CentralState::Unknown) | Err(_) => Power::Unknown,
        };
        radios.push(Radio { key, power });
    }
    Ok(radios)
}

async fn devices(state: Arc<State>) -> super::library::Result<Vec<DiscoveredDevice>> {
    let mut devices = Vec::new();
    for (radio, adapter) in state.adapters().await? {
        for device in adapter.peripherals().await? {
            // One that cannot be asked just went.
            let Ok(Some(of)) = device.properties().await else { continue };
            let connected = device.is_connected().await.unwrap_or(false);
            // A device that is only remembered has no signal strength.
            if of.rssi.is_none() && !connected {
                continue;
            }
            let key = device.id().to_string();
            state.seen(&key, device);
            let mut services: Vec<wire::gatt::Uuid> =
                of.services.iter().map(|uuid| wire::gatt::Uuid(*uuid.as_bytes())).collect();
            services.sort();
            devices.push(DiscoveredDevice {
                radio: radio.clone(),
                address: address(of.address, &key),
                name: of.advertisement_name.or(of.local_name).unwrap_or_default(),
                services,
                connected,
                is_random: of.address_type == Some(super::library::api::AddressType::Random),
                key,
            });
        }
    }
    Ok(devices)
}

/// The address, or the device's id on this machine if the system hides addresses.
fn address(address: BDAddr, key: &str) -> String {
    if address == BDAddr::default() {
        format!("id={}", key.to_ascii_lowercase())
    } else {
        address.to_string().to_ascii_uppercase()
    }
}

async fn characteristics(
    state: Arc<State>,
    seen: DiscoveredDevice,
) -> super::library::Result<Option<Characteristics>> {
    let device = state.device(&seen.key)?;
    device.discover_services().await?;
    let services = device.services();
    if services.is_empty() {
        return Ok(None);
    }
    let order = handle_order::of(&seen).await?;
    let (characteristics, parts) = listing::characteristics(&services, order.as_deref());
    state.known(device, parts);
    Ok(Some(characteristics))
}
