//! The thread on which the library lives, with its own runtime: jobs go in, replies and signals come out, each in
//! bounded time. Holds the library's objects by the keys it hands out; knows no session.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::future::Future;
use std::pin::Pin;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use futures_util::StreamExt as _;
use tokio::sync::{mpsc, oneshot};
use tokio::task::AbortHandle;
use tokio::time::timeout;
use wire::gatt::Uuid;

use super::super::library::api::{Central as _, CentralEvent, CentralState, Manager as _, Peripheral as _};
use super::super::library::platform::{Adapter, Manager, Peripheral};
use super::super::library::{Error, Result as Got};
use super::attribute::{Attribute, Attributes};
use super::{listing, panics, words};
use crate::ble::central::{CALL_TIME_MAX, CallFault, Signal};
use crate::error::Unavailable;

/// The most jobs waiting for the thread.
const JOBS_MAX: usize = 64;
/// The most signals waiting for the session.
const SIGNALS_MAX: usize = 256;
/// The most threads that may hang in the library's constructor before no further one is started.
const HANGING_MAX: usize = 4;

/// The session's end of the signals.
pub(in crate::ble) type Signals = mpsc::Receiver<Signal>;

/// Work for the library; it runs on the thread.
pub(super) type Doing<T> = Pin<Box<dyn Future<Output = Got<T>> + Send>>;

type Job = Box<dyn FnOnce(Arc<State>) -> Pin<Box<dyn Future<Output = ()> + Send>> + Send>;

/// How the library is started; shared by all links of an adapter.
#[derive(Clone, Debug, Default)]
pub(in crate::ble) struct Place {
    /// Threads that started to create a manager and have not returned.
    hanging: Arc<AtomicUsize>,
    /// Lets tests make code on the library's thread fail.
    #[cfg(test)]
    pub(crate) trip: Arc<std::sync::atomic::AtomicBool>,
}

/// A handle to the thread. Dropping the last one ends it.
#[derive(Clone)]
pub(super) struct Worker {
    jobs: mpsc::Sender<Job>,
    #[cfg(test)]
    trip: Arc<std::sync::atomic::AtomicBool>,
}

impl fmt::Debug for Worker {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Worker").field("free", &self.jobs.capacity()).finish_non_exhaustive()
    }
}

impl Worker {
    /// Starts the thread and lets the library create its manager, which blocks; waits within the limit of a call.
    pub(super) async fn start(place: &Place) -> Result<(Self, Signals), Unavailable> {
        let hanging = place.hanging.load(Ordering::Relaxed);
        if hanging >= HANGING_MAX {
            let detail = format!("{hanging} earlier attempts still wait for its answer");
            return Err(Unavailable::NoBluetooth { detail });
        }
        let (jobs, queue) = mpsc::channel(JOBS_MAX);
        let (signals, heard) = mpsc::channel(SIGNALS_MAX);
        let (made, answer) = oneshot::channel();
        launch(place, queue, signals, made).map_err(|error| {
            CallFault::Refused(format!("no thread for it could be started: {error}")).service()
        })?;
        match timeout(CALL_TIME_MAX, answer).await {
            Ok(Ok(Ok(()))) => {}
            Ok(Ok(Err(fault))) => return Err(fault.service()),
            Ok(Err(_gone)) => return Err(failed().service()),
            Err(_elapsed) => return Err(CallFault::Stalled(CALL_TIME_MAX).service()),
        }
        let worker = Self {
            jobs,
            #[cfg(test)]
            trip: Arc::clone(&place.trip),
        };
        Ok((worker, heard))
    }

    /// Runs a job on the thread and waits for at most `limit`, even if the thread itself hangs.
    pub(super) async fn ask<T: Send + 'static>(
        &self,
        limit: Duration,
        work: impl FnOnce(Arc<State>) -> Doing<T> + Send + 'static,
    ) -> Result<T, CallFault> {
        let (answer, answered) = oneshot::channel();
        #[cfg(test)]
        let trip = Arc::clone(&self.trip);
        let job: Job = Box::new(move |state| {
            Box::pin(async move {
                #[cfg(test)]
                assert!(!trip.swap(false, Ordering::Relaxed), "a defect, made up by a test");
                // Given up after the limit here too, so that what hangs does not pile up.
                let got = timeout(limit, work(state)).await;
                let _ = answer.send(got.unwrap_or(Err(Error::TimedOut(limit))));
            })
        });
        let asked = async {
            self.jobs.send(job).await.map_err(|_| failed())?;
            answered.await.map_err(|_| failed())
        };
        match timeout(limit, asked).await {
            Err(_elapsed) => Err(CallFault::Stalled(limit)),
            Ok(Err(fault)) => Err(fault),
            Ok(Ok(Err(Error::TimedOut(limit)))) => Err(CallFault::Stalled(limit)),
            Ok(Ok(Err(error))) => Err(words::fault(&error)),
            Ok(Ok(Ok(got))) => Ok(got),
        }
    }
}

/// The fault of a call whose code or thread panicked.
fn failed() -> CallFault {
    CallFault::Refused("the Bluetooth library failed; it is started again".to_owned())
}

type Made = oneshot::Sender<Result<(), CallFault>>;

/// Starts the thread.
fn launch(
    place: &Place,
    queue: mpsc::Receiver<Job>,
    signals: mpsc::Sender<Signal>,
    made: Made,
) -> std::io::Result<()> {
    let hanging = Hanging::one_more(&place.hanging);
    std::thread::Builder::new().name("bluetooth".to_owned()).spawn(move || {
        panics::tell(signals.clone());
        let runtime = match tokio::runtime::Builder::new_current_thread().enable_all().build() {
            Ok(runtime) => runtime,
            Err(error) => {
                let _ = made.send(Err(CallFault::Refused(error.to_string())));
                return;
            }
        };
        runtime.block_on(async move {
            let manager = Manager::new().await;
            drop(hanging);
            live(manager, queue, signals, made).await;
        });
    })?;
    Ok(())
}

/// One thread in the library's constructor.
struct Hanging(Arc<AtomicUsize>);

impl Hanging {
    fn one_more(count: &Arc<AtomicUsize>) -> Self {
        count.fetch_add(1, Ordering::Relaxed);
        Self(Arc::clone(count))
    }
}

impl Drop for Hanging {
    fn drop(&mut self) {
        self.0.fetch_sub(1, Ordering::Relaxed);
    }
}

/// Runs the jobs, each as a task, until nobody can submit one any more.
async fn live(
    manager: Got<Manager>,
    mut queue: mpsc::Receiver<Job>,
    signals: mpsc::Sender<Signal>,
    made: Made,
) {
    let manager = match manager {
        Ok(manager) => manager,
        Err(error) => {
            let _ = made.send(Err(words::fault(&error)));
            return;
        }
    };
    if made.send(Ok(())).is_err() {
        return;
    }
    let state = Arc::new(State { manager, signals, objects: Mutex::default() });
    while let Some(job) = queue.recv().await {
        tokio::spawn(job(Arc::clone(&state)));
    }
    for pump in state.objects().pumps.drain(..) {
        pump.abort();
    }
}

/// The library's objects.
pub(super) struct State {
    manager: Manager,
    signals: mpsc::Sender<Signal>,
    objects: Mutex<Objects>,
}

#[derive(Default)]
struct Objects {
    adapters: Vec<(String, Adapter)>,
    devices: BTreeMap<String, Peripheral>,
    /// The device whose attributes are known.
    open: Option<Peripheral>,
    parts: Attributes,
    listened_to: BTreeSet<String>,
    pumps: Vec<AbortHandle>,
}

impl State {
    fn objects(&self) -> MutexGuard<'_, Objects> {
        self.objects.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The radios, queried once: some systems create a new one for each query.
    pub(super) async fn adapters(&self) -> Got<Vec<(String, Adapter)>> {
        let known = self.objects().adapters.clone();
        if !known.is_empty() {
            return Ok(known);
        }
        let mut adapters = Vec::new();
        for (at, adapter) in self.manager.adapters().await?.into_iter().enumerate() {
            let key = format!("radio {at}");
            let events = adapter.events().await?;
            let signals = self.signals.clone();
            let radio = key.clone();
            self.pump(async move {
                let mut events = events;
                while let Some(event) = events.next().await {
                    let Some(signal) = signal(event, &radio) else { continue };
                    if signals.send(signal).await.is_err() {
                        return;
                    }
                }
                let _ = signals.send(Signal::Closed).await;
            });
            adapters.push((key, adapter));
        }
        self.objects().adapters.clone_from(&adapters);
        Ok(adapters)
    }

    pub(super) fn adapter(&self, key: &str) -> Got<Adapter> {
        let objects = self.objects();
        let found = objects.adapters.iter().find(|(known, _)| known == key);
        found.map(|(_, adapter)| adapter.clone()).ok_or(Error::NoAdapterAvailable)
    }

    pub(super) fn device(&self, key: &str) -> Got<Peripheral> {
        self.objects().devices.get(key).cloned().ok_or(Error::DeviceNotFound)
    }

    /// Remembers a device that was seen under this key.
    pub(super) fn seen(&self, key: &str, device: Peripheral) {
        self.objects().devices.entry(key.to_owned()).or_insert(device);
    }

    /// Passes on what this device sends for as long as the thread lives: the stream outlives connections.
    pub(super) async fn listen_to(self: &Arc<Self>, device: &Peripheral) -> Got<()> {
        let key = device.id().to_string();
        if !self.objects().listened_to.insert(key) {
            return Ok(());
        }
        let mut values = device.notifications().await?;
        // Weak: the pump must not keep the thread's objects alive forever.
        let state = Arc::downgrade(self);
        let signals = self.signals.clone();
        self.pump(async move {
            while let Some(sent) = values.next().await {
                let Some(state) = state.upgrade() else { return };
                let key = listing::key_of(
                    &state.objects().parts,
                    Uuid(*sent.service_uuid.as_bytes()),
                    Uuid(*sent.uuid.as_bytes()),
                );
                let Some(key) = key else { continue };
                if signals.send(Signal::Value { key, value: sent.value }).await.is_err() {
                    return;
                }
            }
            let _ = signals.send(Signal::Closed).await;
        });
        Ok(())
    }

    fn pump(&self, pump: impl Future<Output = ()> + Send + 'static) {
        let pump = tokio::spawn(pump).abort_handle();
        self.objects().pumps.push(pump);
    }

    /// Remembers the attributes of the open device.
    pub(super) fn known(&self, device: Peripheral, parts: Attributes) {
        let mut objects = self.objects();
        objects.open = Some(device);
        objects.parts = parts;
    }

    /// The open device and one of its attributes.
    pub(super) fn part(&self, key: &str) -> Got<(Peripheral, Attribute)> {
        let objects = self.objects();
        let device = objects.open.clone().ok_or(Error::NotConnected)?;
        let part = objects.parts.get(key).cloned().ok_or(Error::NoSuchCharacteristic)?;
        Ok((device, part))
    }
}

/// The meaning of a library event for the session.
fn signal(event: CentralEvent, radio: &str) -> Option<Signal> {
    match event {
        CentralEvent::DeviceDisconnected(id) | CentralEvent::DeviceServicesModified(id) => {
            Some(Signal::DeviceGone { key: id.to_string() })
        }
        CentralEvent::StateUpdate(CentralState::PoweredOff) => {
            Some(Signal::RadioGone { key: radio.to_owned() })
        }
        _ => None,
    }
}
