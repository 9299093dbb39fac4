//! `ble:...` and `ble+portable:...`: a Bluetooth LE meter, through one of two backends. Holds the adapters. The
//! selector, the search, the characteristics and the session have their own files and serve both backends, which are
//! in [`sys`]. Each value of each characteristic is passed on as one packet ([`wire::packet`],
//! [`wire::gatt::packet`]). Writes nothing to a meter.
//!
//! # Why two
//! On Linux, the backend talks to the Bluetooth service over the bus itself, by object path. The library that serves
//! every system keeps one characteristic per UUID, so of supply and return air one is lost; it panics in tasks of its
//! own, blocks a thread while it starts, and switches a radio on when it scans. On other systems there is no
//! alternative; `sys/portable` contains what guards against it.

mod central;
mod find;
mod place;
mod session;
mod sys;
mod table;
mod teardown;

use tokio::time::{Instant, sleep_until};

pub use place::BlePlace;

use crate::adapter::{Adapter, Found, Link, ScanFuture};
use crate::backoff::Backoff;
use crate::error::{OpenError, Unavailable};
use crate::options::OpenOptions;
use crate::selector::Selector;
use crate::shutdown::{CloseFuture, Shutdown};
use crate::task::TaskLink;
use central::{CallFault, Central, DiscoveredDevice};

/// Connects to Bluetooth LE meters through the backend that fits this system best.
#[derive(Debug, Clone)]
pub struct BleAdapter(Reach<sys::Own>);

/// Connects to Bluetooth LE meters through the library that serves every system.
#[cfg(feature = "ble-portable")]
#[derive(Debug, Clone)]
pub struct PortableBleAdapter(Reach<sys::Portable>);

/// A backend and its links.
#[derive(Debug, Clone)]
struct Reach<C: Central> {
    scheme: &'static str,
    place: C::Place,
    shutdown: Shutdown,
    /// Lets tests make the code that receives signals fail.
    #[cfg(test)]
    trip: std::sync::Arc<std::sync::atomic::AtomicBool>,
}

impl Default for BleAdapter {
    fn default() -> Self {
        Self(Reach::new("ble", Default::default()))
    }
}

impl BleAdapter {
    /// Through the service of this system.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }
}

#[cfg(feature = "ble-portable")]
impl Default for PortableBleAdapter {
    fn default() -> Self {
        Self(Reach::new("ble+portable", Default::default()))
    }
}

#[cfg(feature = "ble-portable")]
impl PortableBleAdapter {
    /// Through the library.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }
}

#[cfg(test)]
impl BleAdapter {
    /// If set, the code that receives the next signal fails.
    pub(crate) fn trip(&self) -> &std::sync::atomic::AtomicBool {
        &self.0.trip
    }
}

#[cfg(all(test, feature = "ble-portable"))]
impl PortableBleAdapter {
    /// Under this scheme.
    pub(crate) fn at(scheme: &'static str) -> Self {
        Self(Reach::new(scheme, Default::default()))
    }

    /// As [`BleAdapter::trip`].
    pub(crate) fn trip(&self) -> &std::sync::atomic::AtomicBool {
        &self.0.trip
    }

    /// If set, code on the library's thread panics.
    pub(crate) fn trip_library(&self) -> &std::sync::atomic::AtomicBool {
        &self.0.place.trip
    }
}

impl<C: Central> Reach<C> {
    fn new(scheme: &'static str, place: C::Place) -> Self {
        Self {
            scheme,
            place,
            shutdown: Shutdown::default(),
            #[cfg(test)]
            trip: std::sync::Arc::default(),
        }
    }

    async fn look(&self) -> Result<Vec<Found>, Unavailable> {
        let (central, _signals) = C::open(&self.place).await?;
        let scan = find::start_scan(&central, &self.shutdown.guard()).await?;
        sleep_until(Instant::now() + find::SCAN_TIME).await;
        let devices = central.devices().await.map_err(CallFault::service);
        scan.run().await;
        Ok(devices?.into_iter().map(|seen| self.found(seen)).collect())
    }

    fn found(&self, seen: DiscoveredDevice) -> Found {
        let services: Vec<String> = seen.services.iter().map(ToString::to_string).collect();
        let changes =
            if seen.is_random { "; its address may change, then use name= or service=" } else { "" };
        Found {
            selector: format!("{}:{}", self.scheme, seen.address).parse().ok(),
            description: format!("{:?}, services {}{changes}", seen.name, services.join(" ")),
            hindrance: None,
        }
    }

    fn open(&self, selector: &Selector, options: &OpenOptions) -> Result<Box<dyn Link>, OpenError> {
        let place = place(selector)?;
        let (central, silence, backoff) = (self.place.clone(), options.silence, Backoff::new(selector));
        let hold = self.shutdown.guard();
        let link = TaskLink::start(selector, options, |sender| {
            #[allow(unused_mut)] // tests set the trip
            let mut source =
                session::Source::<C>::new((self.scheme, place), central, sender, silence, backoff, hold);
            #[cfg(test)]
            (source.trip = std::sync::Arc::clone(&self.trip));
            session::supervise(source)
        })?;
        Ok(Box::new(link))
    }
}

fn place(selector: &Selector) -> Result<BlePlace, OpenError> {
    BlePlace::parse(selector.rest()).map_err(|fault| selector.refuse(fault))
}

impl<C: Central> Adapter for Reach<C> {
    fn scheme(&self) -> &'static str {
        self.scheme
    }

    /// Empty: a radio sends nothing unasked. A scan finds what is in range.
    fn list(&self) -> Vec<Found> {
        Vec::new()
    }

    fn scan(&self) -> Option<ScanFuture<'_>> {
        Some(Box::pin(self.look()))
    }

    fn validate(&self, selector: &Selector) -> Result<(), OpenError> {
        place(selector).map(|_| ())
    }

    fn open(&self, selector: &Selector, options: &OpenOptions) -> Result<Box<dyn Link>, OpenError> {
        self.open(selector, options)
    }

    fn close(&self) -> CloseFuture {
        self.shutdown.close()
    }
}

/// The adapters are the reach of their backend.
macro_rules! adapter {
    ($($name:ident),*) => {$(
        impl Adapter for $name {
            fn scheme(&self) -> &'static str {
                self.0.scheme()
            }
            fn list(&self) -> Vec<Found> {
                self.0.list()
            }
            fn scan(&self) -> Option<ScanFuture<'_>> {
                self.0.scan()
            }
            fn validate(&self, selector: &Selector) -> Result<(), OpenError> {
                self.0.validate(selector)
            }
            fn open(&self, selector: &Selector, options: &OpenOptions) -> Result<Box<dyn Link>, OpenError> {
                self.0.open(selector, options)
            }
            fn close(&self) -> CloseFuture {
                self.0.close()
            }
        }
    )*};
}

adapter!(BleAdapter);
#[cfg(feature = "ble-portable")]
adapter!(PortableBleAdapter);
