//! A bus and a Bluetooth service of our own on a socket of this test: both at once, no root, nothing installed.
//! Replies to the requests of a BlueZ client (D-Bus specification; BlueZ doc/org.bluez.*.rst) and simulates the
//! faults of a radio.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::os::unix::net::UnixListener as StdListener;
use std::sync::{Arc, Mutex};

use futures_util::StreamExt as _;
use tokio::net::UnixListener;
use tokio::sync::Notify;
use tokio::task::AbortHandle;
use zbus::{Connection, Guid, Message, OwnedObjectPath, Variant, connection};

const ADAPTER: &str = "org.bluez.Adapter1";
const DEVICE: &str = "org.bluez.Device1";
const SERVICE: &str = "org.bluez.GattService1";
const CHARACTERISTIC: &str = "org.bluez.GattCharacteristic1";
const DESCRIPTOR: &str = "org.bluez.GattDescriptor1";
/// Bounds a hang only.
const HANG: std::time::Duration = std::time::Duration::from_secs(120);

/// The folder of the bus, in a process whose client takes its bus from the environment.
pub(super) const BUS: &str = "CLIPLEAD_TEST_BUS";

pub(super) const RADIO: &str = "/org/bluez/hci0";

#[derive(Clone, Debug)]
pub(super) struct Attribute {
    pub(super) uuid: String,
    pub(super) flags: Vec<&'static str>,
    pub(super) value: Vec<u8>,
    pub(super) descriptors: Vec<(u16, Vec<u8>)>,
}

#[derive(Clone, Debug)]
pub(super) struct Device {
    pub(super) address: &'static str,
    pub(super) name: &'static str,
    /// `None`: remembered, not in range.
    pub(super) rssi: Option<i16>,
    pub(super) random: bool,
    pub(super) connected: bool,
    /// Characteristics of one service.
    pub(super) service: u16,
    pub(super) parts: Vec<Attribute>,
}

pub(super) fn full(short: u16) -> String {
    format!("{short:08x}-0000-1000-8000-00805f9b34fb")
}

impl Device {
    pub(super) fn path(&self) -> String {
        format!("{RADIO}/dev_{}", self.address.replace(':', "_"))
    }

    pub(super) fn part_path(&self, part: usize) -> String {
        format!("{}/service0010/char{:04x}", self.path(), 0x11 + 0x10 * part)
    }

    pub(super) fn descriptor_path(&self, part: usize, nth: usize) -> String {
        format!("{}/desc{:04x}", self.part_path(part), 0x12 + 0x10 * part + nth)
    }
}

#[derive(Debug, Default)]
pub(super) struct World {
    pub(super) radio: bool,
    pub(super) powered: bool,
    pub(super) devices: Vec<Device>,
    /// Methods that get no answer.
    pub(super) muted: BTreeSet<&'static str>,
    /// Methods that are refused so many times.
    pub(super) refused: BTreeMap<&'static str, u32>,
    /// How often each method was called.
    pub(super) calls: BTreeMap<String, u32>,
    /// Every call to the service, in order: method and object.
    pub(super) log: Vec<(String, String)>,
    /// Somebody switched the radio on.
    pub(super) switched_on: bool,
    /// Who has a scan running. The service ends it when its client goes; a connection it keeps.
    pub(super) discovering: BTreeSet<usize>,
    /// The services of a connected device are never found.
    pub(super) unresolved: bool,
    /// Objects that cannot be read, and with which error each refuses.
    pub(super) unreadable: BTreeMap<String, &'static str>,
    /// Who subscribed to what.
    pub(super) notifying: BTreeSet<(usize, String)>,
    peers: BTreeMap<usize, Connection>,
    next_peer: usize,
}

impl World {
    pub(super) fn called(&self, method: &str) -> u32 {
        self.calls.get(method).copied().unwrap_or(0)
    }

    /// How many devices are connected, and how many clients have a scan running.
    pub(super) fn left(&self) -> (usize, usize) {
        (self.devices.iter().filter(|device| device.connected).count(), self.discovering.len())
    }

    /// Where this method first stands in the log.
    pub(super) fn first(&self, method: &str) -> Option<usize> {
        self.log.iter().position(|(called, _)| called == method)
    }

    pub(super) fn subscribed(&self, path: &str) -> bool {
        self.notifying.iter().any(|(_, known)| known == path)
    }
}

#[derive(Default)]
struct Shared {
    world: Mutex<World>,
    changed: Notify,
}

pub(super) struct Fake {
    dir: std::path::PathBuf,
    shared: Arc<Shared>,
    tasks: Arc<Mutex<Vec<AbortHandle>>>,
}

impl Fake {
    pub(super) fn new(devices: Vec<Device>) -> Self {
        let fake = Self { dir: folder(), shared: Arc::default(), tasks: Arc::default() };
        fake.change(|world| (world.radio, world.powered, world.devices) = (true, true, devices));
        fake.bus_up();
        fake
    }

    /// A socket that takes connections and never answers.
    pub(super) fn that_says_nothing() -> Self {
        let fake = Self { dir: folder(), shared: Arc::default(), tasks: Arc::default() };
        let listener = StdListener::bind(fake.dir.join("bus")).unwrap();
        let held = tokio::spawn(async move {
            let _listener = listener;
            std::future::pending::<()>().await;
        });
        fake.tasks.lock().unwrap().push(held.abort_handle());
        fake
    }

    pub(super) fn address(&self) -> String {
        format!("unix:path={}", self.dir.join("bus").display())
    }

    pub(super) fn change<T>(&self, change: impl FnOnce(&mut World) -> T) -> T {
        let changed = change(&mut self.shared.world.lock().unwrap());
        self.shared.changed.notify_waiters();
        changed
    }

    /// Waits for a condition; the limit bounds a hang only.
    pub(super) async fn until(&self, condition: impl Fn(&World) -> bool) {
        let wait = async {
            loop {
                let changed = self.shared.changed.notified();
                tokio::pin!(changed);
                changed.as_mut().enable();
                if condition(&self.shared.world.lock().unwrap()) {
                    return;
                }
                changed.await;
            }
        };
        tokio::time::timeout(HANG, wait).await.expect("the condition comes");
    }

    pub(super) fn bus_up(&self) {
        let path = self.dir.join("bus");
        let _ = std::fs::remove_file(&path);
        let listener = StdListener::bind(&path).unwrap();
        listener.set_nonblocking(true).unwrap();
        let listener = UnixListener::from_std(listener).unwrap();
        let (shared, tasks) = (Arc::clone(&self.shared), Arc::clone(&self.tasks));
        let accept = tokio::spawn(async move {
            while let Ok((stream, _)) = listener.accept().await {
                let peer = tokio::spawn(serve(stream.into_std().unwrap(), Arc::clone(&shared)));
                tasks.lock().unwrap().push(peer.abort_handle());
            }
        });
        self.tasks.lock().unwrap().push(accept.abort_handle());
    }

    /// The bus dies: every connection is closed.
    pub(super) fn bus_down(&self) {
        let _ = std::fs::remove_file(self.dir.join("bus"));
        for task in self.tasks.lock().unwrap().drain(..) {
            task.abort();
        }
        self.change(|world| {
            world.peers.clear();
            world.discovering.clear();
            world.notifying.clear();
            world.devices.iter_mut().for_each(|device| device.connected = false);
        });
    }

    async fn signal<B: serde::Serialize + zbus::DynamicType>(
        &self,
        path: &str,
        interface: &str,
        member: &str,
        body: &B,
    ) {
        let peers: Vec<Connection> = self.shared.world.lock().unwrap().peers.values().cloned().collect();
        let sender = if member == "NameOwnerChanged" { "org.freedesktop.DBus" } else { ":1.1" };
        for peer in peers {
            let message = Message::signal(path, interface, member).sender(sender).build(body).unwrap();
            // A peer that just went does not matter.
            let _ = peer.send(&message).await;
        }
    }

    pub(super) async fn changed(&self, path: &str, interface: &str, name: &str, value: Variant<'_>) {
        let body = (interface, HashMap::from([(name, value)]), Vec::<String>::new());
        self.signal(path, "org.freedesktop.DBus.Properties", "PropertiesChanged", &body).await;
    }

    /// Sends a value if somebody subscribed to it.
    pub(super) async fn notify(&self, path: &str, value: Vec<u8>) -> bool {
        if !self.change(|world| world.subscribed(path)) {
            return false;
        }
        self.changed(path, CHARACTERISTIC, "Value", Variant::from(value)).await;
        true
    }

    /// The link to a device breaks.
    pub(super) async fn disconnect(&self, at: usize) {
        let path = self.change(|world| {
            world.devices[at].connected = false;
            world.notifying.clear();
            world.devices[at].path()
        });
        self.changed(&path, DEVICE, "Connected", Variant::from(false)).await;
    }

    pub(super) async fn power(&self, on: bool) {
        self.change(|world| {
            world.powered = on;
            world.notifying.clear();
            world.discovering.clear();
            world.devices.iter_mut().for_each(|device| device.connected = false);
        });
        self.changed(RADIO, ADAPTER, "Powered", Variant::from(on)).await;
    }

    pub(super) async fn remove(&self, at: usize) -> Device {
        let device = self.change(|world| {
            world.notifying.clear();
            world.devices.remove(at)
        });
        let path = OwnedObjectPath::try_from(device.path()).unwrap();
        self.signal("/", "org.freedesktop.DBus.ObjectManager", "InterfacesRemoved", &(path, vec![DEVICE]))
            .await;
        device
    }

    /// The Bluetooth service is started anew; the bus stays. `told`: the bus says so, as a bus does.
    pub(super) async fn restart(&self, told: bool) {
        self.change(|world| {
            world.notifying.clear();
            world.discovering.clear();
            world.devices.iter_mut().for_each(|device| device.connected = false);
        });
        if told {
            let body = ("org.bluez", ":1.1", ":1.2");
            self.signal("/org/freedesktop/DBus", "org.freedesktop.DBus", "NameOwnerChanged", &body).await;
        }
    }
}

impl Drop for Fake {
    fn drop(&mut self) {
        self.tasks.lock().unwrap().drain(..).for_each(|task| task.abort());
        let _ = std::fs::remove_dir_all(&self.dir);
    }
}

/// A folder of one fake.
fn folder() -> std::path::PathBuf {
    if let Some(folder) = std::env::var_os(BUS).map(std::path::PathBuf::from) {
        std::fs::create_dir_all(&folder).unwrap();
        return folder;
    }
    static NEXT: std::sync::atomic::AtomicU32 = std::sync::atomic::AtomicU32::new(0);
    let nth = NEXT.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
    let path = std::env::temp_dir().join(format!("cliplead-bus-{}-{nth}", std::process::id()));
    std::fs::create_dir_all(&path).unwrap();
    path
}

async fn serve(stream: std::os::unix::net::UnixStream, shared: Arc<Shared>) {
    let builder = connection::Builder::unix_stream(stream).server(Guid::generate()).p2p();
    let Ok(mut stream) = builder.build_message_stream().await else { return };
    let connection = Connection::from(&stream);
    let peer = {
        let mut world = shared.world.lock().unwrap();
        world.next_peer += 1;
        let peer = world.next_peer;
        world.peers.insert(peer, connection.clone());
        peer
    };
    while let Some(Ok(message)) = stream.next().await {
        answer(&connection, &message, peer, &shared).await;
        shared.changed.notify_waiters();
    }
    let mut world = shared.world.lock().unwrap();
    world.peers.remove(&peer);
    // The service ends what a client began when the client goes.
    world.notifying.retain(|(of, _)| *of != peer);
    world.discovering.remove(&peer);
    drop(world);
    shared.changed.notify_waiters();
}

/// What a call does, beside its answer.
enum Answer {
    Nothing,
    Text(String),
    Bytes(Vec<u8>, Option<String>),
    Objects,
    Connected(String, bool),
    Refused(&'static str),
    Silence,
    /// Names of the objects below.
    Below(String),
    /// All properties of an interface of an object, or one of them.
    Properties(String),
}

fn decide(world: &mut World, path: &str, member: &str, peer: usize) -> Answer {
    *world.calls.entry(member.to_owned()).or_insert(0) += 1;
    world.log.push((member.to_owned(), path.to_owned()));
    if world.muted.contains(member) {
        return Answer::Silence;
    }
    if let Some(left) = world.refused.get_mut(member).filter(|left| **left > 0) {
        *left -= 1;
        return Answer::Refused("org.bluez.Error.Failed");
    }
    let device = world.devices.iter_mut().find(|device| path.starts_with(&device.path()));
    match member {
        "Hello" => Answer::Text(format!(":1.{}", 100 + peer)),
        "AddMatch" | "RemoveMatch" | "SetDiscoveryFilter" => Answer::Nothing,
        "Introspect" => Answer::Below(path.to_owned()),
        "GetAll" | "Get" => Answer::Properties(path.to_owned()),
        // The one property that a client sets here: Powered, of the radio, to true.
        "Set" => {
            world.switched_on |= !world.powered;
            world.powered = true;
            Answer::Nothing
        }
        "StartDiscovery" if world.powered => {
            if world.discovering.insert(peer) {
                Answer::Nothing
            } else {
                Answer::Refused("org.bluez.Error.InProgress")
            }
        }
        "StopDiscovery" if world.discovering.remove(&peer) => Answer::Nothing,
        "StopDiscovery" => Answer::Refused("org.bluez.Error.Failed"),
        "StartDiscovery" => Answer::Refused("org.bluez.Error.NotReady"),
        "GetManagedObjects" => Answer::Objects,
        "Connect" | "Disconnect" => match device {
            Some(device) if world.powered => {
                device.connected = member == "Connect";
                Answer::Connected(device.path(), device.connected)
            }
            _ => Answer::Refused("org.bluez.Error.Failed"),
        },
        "StartNotify" if device.as_ref().is_some_and(|device| device.connected) => {
            world.notifying.insert((peer, path.to_owned()));
            Answer::Nothing
        }
        "StopNotify" if world.notifying.remove(&(peer, path.to_owned())) => Answer::Nothing,
        "ReadValue" => match world.unreadable.get(path) {
            Some(error) => Answer::Refused(error),
            None => read(device.as_deref(), path),
        },
        _ => Answer::Refused("org.freedesktop.DBus.Error.UnknownMethod"),
    }
}

fn read(device: Option<&Device>, path: &str) -> Answer {
    let Some(device) = device.filter(|device| device.connected) else {
        return Answer::Refused("org.bluez.Error.Failed");
    };
    for (at, part) in device.parts.iter().enumerate() {
        let own = device.part_path(at);
        if path == own {
            return Answer::Bytes(part.value.clone(), Some(own));
        }
        for (nth, (_, value)) in part.descriptors.iter().enumerate() {
            if path == device.descriptor_path(at, nth) {
                return Answer::Bytes(value.clone(), None);
            }
        }
    }
    Answer::Refused("org.bluez.Error.Failed")
}

async fn answer(connection: &Connection, message: &Message, peer: usize, shared: &Shared) {
    let header = message.header();
    let (Some(path), Some(member)) = (header.path(), header.member()) else { return };
    let answer = decide(&mut shared.world.lock().unwrap(), path.as_str(), member.as_str(), peer);
    let changed = async |path: &str, interface: &str, name: &str, value: Variant<'_>| {
        let body = (interface, HashMap::from([(name, value)]), Vec::<String>::new());
        let signal = Message::signal(path, "org.freedesktop.DBus.Properties", "PropertiesChanged");
        let _ = connection.send(&signal.sender(":1.1").build(&body).unwrap()).await;
    };
    let sent = match answer {
        Answer::Silence => Ok(()),
        Answer::Nothing => connection.reply(&header, &()).await,
        Answer::Text(text) => connection.reply(&header, &text).await,
        Answer::Objects => {
            let objects = objects(&shared.world.lock().unwrap());
            connection.reply(&header, &objects).await
        }
        Answer::Below(path) => {
            let below = below(&shared.world.lock().unwrap(), &path);
            connection.reply(&header, &below).await
        }
        Answer::Properties(path) => properties(connection, message, shared, &path).await,
        Answer::Refused(name) => connection.reply_error(&header, name, &"refused by the test").await,
        Answer::Bytes(value, of) => {
            if let Some(path) = of {
                changed(&path, CHARACTERISTIC, "Value", Variant::from(value.clone())).await;
            }
            connection.reply(&header, &value).await
        }
        Answer::Connected(path, on) => {
            changed(&path, DEVICE, "Connected", Variant::from(on)).await;
            connection.reply(&header, &()).await
        }
    };
    // A peer that just went does not matter.
    let _ = sent;
}

/// The objects right below this one, as an introspection says it.
fn below(world: &World, path: &str) -> String {
    let above = format!("{}/", path.trim_end_matches('/'));
    let names: BTreeSet<String> = objects(world)
        .keys()
        .filter_map(|known| known.as_str().strip_prefix(&above)?.split('/').next().map(str::to_owned))
        .collect();
    let nodes: String = names.iter().map(|name| format!("<node name=\"{name}\"/>")).collect();
    format!("<node>{nodes}</node>")
}

async fn properties(
    connection: &Connection,
    message: &Message,
    shared: &Shared,
    path: &str,
) -> zbus::Result<()> {
    let header = message.header();
    let body = message.body();
    let one: Option<(String, String)> = body.deserialize().ok();
    let interface =
        one.as_ref().map_or_else(|| body.deserialize().unwrap(), |(interface, _)| interface.clone());
    let all = objects(&shared.world.lock().unwrap());
    let found = all.iter().find(|(known, _)| known.as_str() == path);
    let found = found.and_then(|(_, interfaces)| interfaces.get(interface.as_str()));
    match (found, one) {
        (Some(properties), None) => connection.reply(&header, properties).await,
        (Some(properties), Some((_, name))) => connection.reply(&header, &properties[name.as_str()]).await,
        (None, _) => {
            connection.reply_error(&header, "org.freedesktop.DBus.Error.UnknownObject", &"not there").await
        }
    }
}

type Interfaces = HashMap<&'static str, HashMap<&'static str, Variant<'static>>>;

fn objects(world: &World) -> HashMap<OwnedObjectPath, Interfaces> {
    let mut all = HashMap::new();
    let mut put = |path: String, interface, properties: Vec<(&'static str, Variant<'static>)>| {
        let interfaces = HashMap::from([(interface, properties.into_iter().collect())]);
        all.insert(OwnedObjectPath::try_from(path).unwrap(), interfaces);
    };
    if world.radio {
        let properties = vec![
            ("Powered", Variant::from(world.powered)),
            ("Discovering", Variant::from(!world.discovering.is_empty())),
            ("Address", Variant::from("C0:00:00:00:00:01")),
            ("AddressType", Variant::from("public")),
            ("Name", Variant::from("test")),
            ("Alias", Variant::from("test")),
            ("Modalias", Variant::from("usb:v1D6Bp0246d0542")),
        ];
        put(RADIO.to_owned(), ADAPTER, properties);
    }
    for device in &world.devices {
        let mut properties = vec![
            ("Address", Variant::from(device.address)),
            ("AddressType", Variant::from(if device.random { "random" } else { "public" })),
            ("Name", Variant::from(device.name)),
            ("Alias", Variant::from(device.name)),
            ("Paired", Variant::from(false)),
            ("Trusted", Variant::from(false)),
            ("Blocked", Variant::from(false)),
            ("LegacyPairing", Variant::from(false)),
            ("Connected", Variant::from(device.connected)),
            ("ServicesResolved", Variant::from(device.connected && !world.unresolved)),
            ("UUIDs", Variant::from(vec![full(device.service)])),
        ];
        properties.extend(device.rssi.map(|rssi| ("RSSI", Variant::from(rssi))));
        put(device.path(), DEVICE, properties);
        if !device.connected || world.unresolved {
            continue;
        }
        put(
            format!("{}/service0010", device.path()),
            SERVICE,
            vec![("UUID", Variant::from(full(device.service))), ("Primary", Variant::from(true))],
        );
        for (at, part) in device.parts.iter().enumerate() {
            let own = device.part_path(at);
            let flags: Vec<String> = part.flags.iter().map(|flag| (*flag).to_owned()).collect();
            let properties =
                vec![("UUID", Variant::from(part.uuid.clone())), ("Flags", Variant::from(flags))];
            for (nth, (uuid, _)) in part.descriptors.iter().enumerate() {
                put(device.descriptor_path(at, nth), DESCRIPTOR, vec![("UUID", Variant::from(full(*uuid)))]);
            }
            put(own, CHARACTERISTIC, properties);
        }
    }
    all
}
