//! `ble:...`: a Bluetooth LE meter, through the system's Bluetooth service (BlueZ) on the system bus. Holds the adapter; the
//! selector, the bus, the search, the characteristics and the session stand in their own files. Each value of each
//! characteristic goes on as one packet ([`wire::packet`], [`wire::gatt::packet`]). Writes nothing to a meter.
//!
//! The service is spoken to over the bus itself (`zbus`), by object path. The usual library keeps one characteristic of
//! each UUID, so that of supply and return air one is lost; it panics in tasks of its own, blocks a thread while it
//! connects, and its tasks cannot be ended, which clause 6 of the contract asks for.

mod bluez;
mod central;
mod farewell;
mod find;
mod place;
mod session;
mod table;

use tokio::time::{Instant, sleep_until};

pub use place::BlePlace;

use central::{CallFault, Central, Seen};

use crate::adapter::{Adapter, Found, Link};
use crate::backoff::Backoff;
use crate::closing::{Closer, Closing};
use crate::error::{Absence, OpenError};
use crate::options::OpenOptions;
use crate::selector::Selector;
use crate::task::TaskLink;

/// Connects to Bluetooth LE meters.
#[derive(Debug, Clone, Default)]
pub struct BleAdapter {
    /// Where the bus is; `None`: the system's own.
    bus: Option<String>,
    closer: Closer,
    /// Tests make the code that takes signals fail with it.
    #[cfg(test)]
    pub(crate) trip: std::sync::Arc<std::sync::atomic::AtomicBool>,
}

impl BleAdapter {
    /// On the system bus.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// On the bus at this address, as D-Bus writes addresses: `unix:path=/run/other/socket`.
    #[must_use]
    pub fn on_bus(address: &str) -> Self {
        let mut adapter = Self::new();
        adapter.bus = Some(address.to_owned());
        adapter
    }

    fn place(selector: &Selector) -> Result<BlePlace, OpenError> {
        BlePlace::parse(selector.rest()).map_err(|fault| selector.refuse(fault))
    }

    /// Scans for some seconds and tells what is in range. Connects to nothing and switches no radio on. When it is dropped
    /// before its end, [`Adapter::close`] waits until the scan is stopped. Must be called within a tokio runtime.
    ///
    /// # Errors
    /// Why no scan was possible.
    pub async fn scan(&self) -> Result<Vec<Found>, Absence> {
        scan::<bluez::Bus>(&self.bus, &self.closer).await
    }
}

async fn scan<C: Central>(place: &C::Place, closer: &Closer) -> Result<Vec<Found>, Absence> {
    let (central, _signals) = C::open(place).await?;
    let scan = find::start_scan(&central, &closer.hold()).await?;
    sleep_until(Instant::now() + find::SCAN_TIME).await;
    let devices = central.devices().await.map_err(CallFault::service);
    scan.say().await;
    Ok(devices?.into_iter().map(found).collect())
}

fn found(seen: Seen) -> Found {
    let services: Vec<String> = seen.services.iter().map(ToString::to_string).collect();
    let changes = if seen.is_random { "; its address may change, then use name= or service=" } else { "" };
    Found {
        selector: format!("ble:{}", seen.address).parse().ok(),
        description: format!("{:?}, services {}{changes}", seen.name, services.join(" ")),
        hindrance: None,
    }
}

impl Adapter for BleAdapter {
    fn scheme(&self) -> &'static str {
        "ble"
    }

    /// A radio sends nothing unasked; [`BleAdapter::scan`] finds what is in range.
    fn list(&self) -> Vec<Found> {
        Vec::new()
    }

    fn check(&self, selector: &Selector) -> Result<(), OpenError> {
        Self::place(selector).map(|_| ())
    }

    fn open(&self, selector: &Selector, options: &OpenOptions) -> Result<Box<dyn Link>, OpenError> {
        let place = Self::place(selector)?;
        let (bus, silence, backoff) = (self.bus.clone(), options.silence, Backoff::new(selector));
        let hold = self.closer.hold();
        let link = TaskLink::start(selector, options, |outlet| {
            #[allow(unused_mut)] // tests set the trip
            let mut source = session::Source::<bluez::Bus>::new(place, bus, outlet, silence, backoff, hold);
            #[cfg(test)]
            (source.trip = std::sync::Arc::clone(&self.trip));
            session::supervise(source)
        })?;
        Ok(Box::new(link))
    }

    fn close(&self) -> Closing {
        self.closer.close()
    }
}
