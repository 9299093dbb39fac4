//! Keeps one Bluetooth meter open forever. A session is one connection to the system's Bluetooth and one to the
//! meter; any failure ends it, and the next session starts from scratch. Decodes no values.
//!
//! # Silence
//! Nothing reports that the Bluetooth service was restarted or that notifications ended by themselves: the values
//! just stop. A meter that was heard and then stays silent for the silence time is reported as lost. The link
//! subscribes again; if that does not help, it disconnects and opens the meter over a new connection to the system's
//! Bluetooth. Each step is reported. If one characteristic falls silent while others send, the link subscribes to it
//! again on its own, once per silence.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tokio::sync::Notify;
use tokio::time::{Instant, MissedTickBehavior, interval, sleep, sleep_until};

use super::central::{CallFault, Central, DiscoveredDevice, Signal};
use super::find::find;
use super::place::BlePlace;
use super::table::{self, Discovered, Table};
use super::teardown::{Cleanup, Teardown};
use crate::backoff::Backoff;
use crate::catch_panic::{Panicked, catch_panic};
use crate::error::{Remedy, Unavailable};
use crate::event::{Disconnect, LinkState};
use crate::queue::Sender;
use crate::shutdown::{ShutdownGuard, shutdown_requested};

/// The longest wait for the services of a connected meter.
const SERVICES_TIME_MAX: Duration = Duration::from_secs(15);
/// The same for a connection that existed before: either its services are there, or it is a left-over to be
/// disconnected.
const HELD_SERVICES_TIME_MAX: Duration = Duration::from_secs(5);
const LOOK_EVERY: Duration = Duration::from_millis(200);
/// How often the link reads a measurement that does not send by itself, unless the silence time is short.
const ASK_EVERY: Duration = Duration::from_secs(1);
/// A meter that was never heard is reopened after this many silence times.
const QUIET_TIMES: u32 = 10;
/// The most messages of one link about what it does not read.
const TOLD_MAX: usize = 128;

/// One meter, for the life of its link.
#[derive(Debug)]
pub(super) struct Source<C: Central> {
    scheme: &'static str,
    place: BlePlace,
    central: C::Place,
    sender: Sender,
    silence: Option<Duration>,
    backoff: Backoff,
    /// Signals the end of the link, and makes whoever asked for it wait for the disconnect.
    hold: ShutdownGuard,
    /// What the meter has and the link cannot read, once reported.
    told: BTreeSet<String>,
    /// The device open before: another device of the same name does not replace it.
    before: Option<DiscoveredDevice>,
    heard_ever: bool,
    /// Lets tests make the code that receives signals fail.
    #[cfg(test)]
    pub(super) trip: std::sync::Arc<std::sync::atomic::AtomicBool>,
}

impl<C: Central> Source<C> {
    pub(super) fn new(
        (scheme, place): (&'static str, BlePlace),
        central: C::Place,
        sender: Sender,
        silence: Option<Duration>,
        backoff: Backoff,
        hold: ShutdownGuard,
    ) -> Self {
        Self {
            scheme,
            place,
            central,
            sender,
            silence,
            backoff,
            hold,
            told: BTreeSet::new(),
            before: None,
            heard_ever: false,
            #[cfg(test)]
            trip: std::sync::Arc::default(),
        }
    }
}

/// How a session ended.
#[derive(Debug)]
enum End {
    Absent(Unavailable),
    Lost(Disconnect),
}

/// Shared by the two halves of a session: one follows the signals, the other opens and watches.
#[derive(Debug)]
struct Live<C: Central> {
    /// The meter, once it is chosen.
    seen: Option<DiscoveredDevice>,
    /// Its characteristics, while values are passed on.
    table: Option<Table>,
    /// When each sending characteristic was last heard, by key. One that is being resubscribed is absent.
    heard: BTreeMap<String, Instant>,
    /// `Syncing` was reported.
    open: bool,
    /// Disconnects the meter when the session ends, also when the link is dropped.
    held: Option<Teardown<C>>,
}

impl<C: Central> Default for Live<C> {
    fn default() -> Self {
        Self { seen: None, table: None, heard: BTreeMap::new(), open: false, held: None }
    }
}

#[derive(Debug)]
struct Shared<'s, C: Central> {
    live: Mutex<Live<C>>,
    heard: Notify,
    sender: &'s Sender,
    #[cfg(test)]
    trip: &'s std::sync::atomic::AtomicBool,
}

impl<C: Central> Shared<'_, C> {
    fn live(&self) -> MutexGuard<'_, Live<C>> {
        self.live.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Passes a value on, if it is from this meter and values are passed on now. Never waits.
    fn value(&self, key: &str, value: &[u8], sent: bool) {
        let mut live = self.live();
        let known = live.table.as_ref().and_then(|table| table.get(key)).filter(|c| c.sends == sent);
        let Some(characteristic) = known else { return };
        match characteristic.packet(value) {
            Some(packet) => self.sender.bytes(&packet),
            None => self.sender.unusable(value.len()),
        }
        // What is asked for says nothing of whether the others still send.
        let sends = |table: &Table| table.values().any(|characteristic| characteristic.sends);
        if sent || !live.table.as_ref().is_some_and(sends) {
            self.heard.notify_one();
        }
        if sent {
            live.heard.insert(key.to_owned(), Instant::now());
        }
    }

    /// Characteristics that sent and have been silent for this long. Each is returned once per silence.
    fn fell_silent(&self, silence: Duration) -> Vec<String> {
        let now = Instant::now();
        let mut live = self.live();
        let silent: Vec<String> =
            live.heard.iter().filter(|(_, at)| now - **at >= silence).map(|(key, _)| key.clone()).collect();
        live.heard.retain(|key, _| !silent.contains(key));
        silent
    }

    /// How a loss ends the session: as that of an open meter, or of an attempt.
    fn lost(&self, loss: Disconnect) -> End {
        let live = self.live();
        if live.open {
            return End::Lost(loss);
        }
        End::Absent(match &live.seen {
            Some(seen) => {
                let mend = if loss == Disconnect::HungUp { Remedy::Approach } else { Remedy::Service };
                not_connected(seen, (loss.to_string(), mend))
            }
            None => Unavailable::NoBluetooth { detail: loss.to_string() },
        })
    }
}

fn not_connected(seen: &DiscoveredDevice, (detail, mend): Trouble) -> Unavailable {
    Unavailable::NotConnected { device: seen.address.clone(), detail, mend }
}

/// Runs until aborted or asked to end. A panic below is counted and reported as a loss, and the source is restarted.
pub(super) async fn supervise<C: Central>(mut source: Source<C>) {
    let mut hold = source.hold.clone();
    tokio::select! {
        biased;
        () = shutdown_requested(&mut hold) => {}
        never = for_ever(&mut source) => match never {},
    }
    // The session is dropped by now, and with it went the word to let the meter go.
    source.sender.end();
}

async fn for_ever<C: Central>(source: &mut Source<C>) -> std::convert::Infallible {
    loop {
        let Err(Panicked) = catch_panic(sessions(source)).await;
        source.sender.lost(Disconnect::Panicked);
        sleep(source.backoff.step()).await;
    }
}

async fn sessions<C: Central>(source: &mut Source<C>) -> std::convert::Infallible {
    loop {
        source.sender.state(LinkState::Opening);
        match session(source).await {
            End::Absent(absence) => source.sender.state(LinkState::Absent(absence)),
            End::Lost(loss) => source.sender.lost(loss),
        }
        sleep(source.backoff.step()).await;
    }
}

async fn session<C: Central>(source: &mut Source<C>) -> End {
    let (central, mut signals) = match C::open(&source.central).await {
        Ok(opened) => opened,
        Err(absence) => return End::Absent(absence),
    };
    let sender = source.sender.clone();
    #[cfg(test)]
    let trip = std::sync::Arc::clone(&source.trip);
    let shared = Shared {
        live: Mutex::default(),
        heard: Notify::new(),
        sender: &sender,
        #[cfg(test)]
        trip: &trip,
    };
    // Both run side by side, so that signals are taken while a call waits for its answer.
    tokio::select! {
        loss = follow::<C>(&mut signals, &shared) => {
            // It went away by itself; a late disconnect would hit the next session.
            if let Some(held) = shared.live().held.take() {
                held.disarm();
            }
            shared.lost(loss)
        }
        end = serve(&central, source, &shared) => {
            let held = shared.live().held.take();
            if let Some(held) = held {
                held.run().await;
            }
            end
        }
    }
}

/// Receives every signal; ends with the meter, its radio, the service or the connection to it.
async fn follow<C: Central>(signals: &mut C::Signals, shared: &Shared<'_, C>) -> Disconnect {
    loop {
        if let Some(loss) = take(C::next(signals).await, shared) {
            return loss;
        }
    }
}

fn take<C: Central>(signal: Signal, shared: &Shared<'_, C>) -> Option<Disconnect> {
    #[cfg(test)]
    assert!(!shared.trip.swap(false, std::sync::atomic::Ordering::Relaxed), "a defect, made up by a test");
    let gone = match signal {
        Signal::Value { key, value } => {
            shared.value(&key, &value, true);
            false
        }
        Signal::DeviceGone { key } => shared.live().seen.as_ref().is_some_and(|seen| seen.key == key),
        Signal::RadioGone { key } => shared.live().seen.as_ref().is_some_and(|seen| seen.radio == key),
        Signal::PartGone { key } => {
            shared.live().table.as_ref().is_some_and(|table| table.contains_key(&key))
        }
        Signal::Closed => return Some(Disconnect::Closed),
        Signal::Panicked { words } => {
            tracing::warn!("Bluetooth: {words}");
            shared.sender.panicked();
            false
        }
    };
    gone.then_some(Disconnect::HungUp)
}

async fn serve<C: Central>(central: &C, source: &mut Source<C>, shared: &Shared<'_, C>) -> End {
    let seen = match find(central, source.scheme, &source.place, source.before.as_ref(), &source.hold).await {
        Ok(seen) => seen,
        Err(absence) => return End::Absent(absence),
    };
    {
        let mut live = shared.live();
        live.seen = Some(seen.clone());
        let mut held = Teardown::new(central, &source.hold);
        held.add(Cleanup::Disconnect(seen.key.clone()));
        live.held = Some(held);
    }
    let Discovered { table, left_out, .. } = match open(central, &seen).await {
        Ok(loaded) => loaded,
        Err(trouble) => return End::Absent(not_connected(&seen, trouble)),
    };
    tell(source, &seen, left_out);
    source.before = Some(seen);
    {
        let mut live = shared.live();
        live.table = Some(table.clone());
        live.open = true;
        source.sender.state(LinkState::Syncing);
    }
    match subscribe(central, &table).await {
        Ok(()) => End::Lost(watch(central, source, shared, &table).await),
        Err(loss) => End::Lost(loss),
    }
}

/// Connects, waits for the services, and reads the descriptors. It sends the connect request even if the device is
/// connected: a connection from before the service started has no services until then. In that case a refusal means
/// nothing.
async fn open<C: Central>(central: &C, seen: &DiscoveredDevice) -> Result<Discovered, Trouble> {
    let connected = central.connect(seen).await;
    if !seen.connected {
        connected.map_err(|fault| match fault {
            CallFault::Refused(why) if table::wants_pairing(&why) => (why, Remedy::Pair),
            CallFault::Refused(why) => (why, Remedy::Release),
            stalled @ CallFault::Stalled(_) => service(stalled),
        })?;
    }
    let most = if seen.connected { HELD_SERVICES_TIME_MAX } else { SERVICES_TIME_MAX };
    let end = Instant::now() + most;
    let characteristics = loop {
        match central.characteristics(seen).await {
            Ok(Some(characteristics)) => break characteristics,
            Ok(None) => {}
            Err(None) => return Err(("it is gone".to_owned(), Remedy::Approach)),
            Err(Some(fault)) => return Err(service(fault)),
        }
        if Instant::now() >= end {
            return Err((format!("its services were not found in {} s", most.as_secs()), Remedy::Forget));
        }
        sleep(LOOK_EVERY).await;
    };
    let loaded = table::load(central, characteristics).await.map_err(service)?;
    if loaded.table.values().any(|characteristic| characteristic.sends || characteristic.is_asked()) {
        return Ok(loaded);
    }
    let why = loaded.left_out.first().map_or_else(String::new, |first| format!(": {first}"));
    let mend = if loaded.wants_pairing { Remedy::Pair } else { Remedy::Choose };
    Err((format!("it has nothing that sends values or can be asked for one{why}"), mend))
}

/// Why a meter could not be opened, and what may help.
type Trouble = (String, Remedy);

fn service(fault: CallFault) -> Trouble {
    (fault.words(), Remedy::Service)
}

/// Reports once per link what is not read of a meter.
fn tell<C: Central>(source: &mut Source<C>, seen: &DiscoveredDevice, left_out: Vec<String>) {
    for words in left_out {
        if source.told.len() < TOLD_MAX && !source.told.contains(&words) {
            tracing::warn!("{}:{}: {words}", source.scheme, seen.address);
            source.told.insert(words);
        }
    }
}

/// Subscribes to everything that can send. If one refuses, perhaps for lack of pairing, the others still subscribe.
async fn subscribe<C: Central>(central: &C, table: &Table) -> Result<(), Disconnect> {
    let mut any = table.values().any(table::Characteristic::is_asked);
    for characteristic in table.values().filter(|characteristic| characteristic.sends) {
        match central.subscribe(&characteristic.key).await {
            Ok(_) => any = true,
            Err(CallFault::Refused(_)) => {}
            // A service that does not answer would cost as long for each of them.
            Err(CallFault::Stalled(_)) => return Err(Disconnect::Io(std::io::ErrorKind::TimedOut)),
        }
    }
    if any { Ok(()) } else { Err(Disconnect::Refused) }
}

/// Watches for silence and reads what does not send by itself; returns the loss that ends the session.
async fn watch<C: Central>(
    central: &C,
    source: &mut Source<C>,
    shared: &Shared<'_, C>,
    table: &Table,
) -> Disconnect {
    let far = Duration::from_secs(365 * 24 * 3600);
    let silence = source.silence.unwrap_or(far);
    let mut limit = if source.heard_ever { silence } else { silence.saturating_mul(QUIET_TIMES) };
    let mut last = Instant::now();
    let mut subscribed_again = false;
    let mut ask = interval(ASK_EVERY.min(silence / 3).max(Duration::from_millis(20)));
    ask.set_missed_tick_behavior(MissedTickBehavior::Delay);
    let mut look = interval((silence / 3).max(Duration::from_millis(20)));
    look.set_missed_tick_behavior(MissedTickBehavior::Delay);
    let asked: Vec<&str> = table.values().filter(|c| c.is_asked()).map(|c| c.key.as_str()).collect();
    loop {
        tokio::select! {
            () = shared.heard.notified() => {
                (last, limit, subscribed_again) = (Instant::now(), silence, false);
                source.heard_ever = true;
                source.backoff.reset();
            }
            _ = ask.tick(), if !asked.is_empty() => {
                for key in &asked {
                    // One that refuses now is asked again; silence finds a meter that always does.
                    if let Ok(value) = central.read(key).await {
                        shared.value(key, &value, false);
                    }
                }
            }
            _ = look.tick() => {
                // When the whole meter is silent, the arm below sees to it.
                let others_send = last.elapsed() < silence / 2;
                let silent = if others_send { shared.fell_silent(silence) } else { Vec::new() };
                for key in silent {
                    // If it cannot be mended, its age shows it.
                    let _ = central.unsubscribe(&key).await;
                    let _ = central.subscribe(&key).await;
                }
            }
            () = sleep_until(last + limit) => {
                let loss = Disconnect::Silent { after_ms: u64::try_from(limit.as_millis()).unwrap_or(u64::MAX) };
                if subscribed_again || !source.heard_ever {
                    return loss;
                }
                subscribed_again = true;
                if let Err(loss) = subscribe_again(central, shared, table, loss).await {
                    return loss;
                }
                last = Instant::now();
            }
        }
    }
}

/// The first step against silence. No value is passed on between the loss and `Syncing`.
async fn subscribe_again<C: Central>(
    central: &C,
    shared: &Shared<'_, C>,
    table: &Table,
    loss: Disconnect,
) -> Result<(), Disconnect> {
    {
        let mut live = shared.live();
        live.table = None;
        live.heard.clear();
        live.open = false;
        shared.sender.lost(loss);
        shared.sender.state(LinkState::Opening);
    }
    for characteristic in table.values().filter(|characteristic| characteristic.sends) {
        // What was not subscribed to any more says so; that is what is to be mended.
        if let Err(CallFault::Stalled(_)) = central.unsubscribe(&characteristic.key).await {
            break;
        }
    }
    {
        let mut live = shared.live();
        live.table = Some(table.clone());
        live.open = true;
        shared.sender.state(LinkState::Syncing);
    }
    subscribe(central, table).await
}
