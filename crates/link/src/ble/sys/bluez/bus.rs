//! The system bus and the Bluetooth service on it (BlueZ, `org.bluez`): one connection, calls that always return, and
//! the objects of the service. Knows no selectors and no links.

use std::collections::{BTreeMap, HashMap};

use tokio::time::timeout;
use zbus::{Connection, DynamicType, Message, MessageStream, OwnedObjectPath, OwnedVariant, connection};

use crate::ble::central::{CALL_TIME_MAX, CallFault};
use crate::error::Unavailable;

/// The most messages that wait in the library before it stops reading the socket.
const MESSAGES_MAX: usize = 256;

pub(super) const ADAPTER: &str = "org.bluez.Adapter1";
pub(super) const DEVICE: &str = "org.bluez.Device1";
pub(super) const SERVICE: &str = "org.bluez.GattService1";
pub(super) const CHARACTERISTIC: &str = "org.bluez.GattCharacteristic1";
pub(super) const DESCRIPTOR: &str = "org.bluez.GattDescriptor1";
const PROPERTIES: &str = "org.freedesktop.DBus.Properties";
const MANAGER: &str = "org.freedesktop.DBus.ObjectManager";
const BUS: &str = "org.freedesktop.DBus";
const BLUEZ: &str = "org.bluez";

/// Properties of one interface of one object.
pub(super) type Properties = BTreeMap<String, OwnedVariant>;
/// All objects of the service, by path: interfaces and their properties.
pub(super) type Objects = BTreeMap<String, BTreeMap<String, Properties>>;

/// A connection to the system bus. Cheap to clone; dropping the last clone closes it.
#[derive(Clone, Debug)]
pub(in crate::ble) struct Bus(Connection);

impl Bus {
    /// Connects to the bus at `address`, or to the system's own, and returns the stream of its signals.
    pub(super) async fn connect_to(address: Option<&str>) -> Result<(Self, MessageStream), Unavailable> {
        let builder = match address {
            Some(address) => connection::Builder::address(address),
            None => connection::Builder::system(),
        };
        let queue = std::num::NonZeroUsize::new(MESSAGES_MAX).unwrap_or(std::num::NonZeroUsize::MIN);
        let attempt = timeout(CALL_TIME_MAX, builder.max_queued(queue).build());
        let connection = match attempt.await {
            Ok(Ok(connection)) => connection,
            Ok(Err(error)) => return Err(CallFault::Refused(error.to_string()).service()),
            Err(_elapsed) => return Err(CallFault::Stalled(CALL_TIME_MAX).service()),
        };
        let stream = MessageStream::from(&connection);
        let bus = Self(connection);
        for rule in [
            "type='signal',sender='org.freedesktop.DBus',member='NameOwnerChanged',arg0='org.bluez'",
            "type='signal',sender='org.bluez',interface='org.freedesktop.DBus.ObjectManager',member='InterfacesRemoved'",
        ] {
            bus.watch(rule).await.map_err(CallFault::service)?;
        }
        Ok((bus, stream))
    }

    /// Subscribes to the signals of a match rule.
    pub(super) async fn watch(&self, rule: &str) -> Result<(), CallFault> {
        self.call_at(BUS, "/org/freedesktop/DBus", BUS, "AddMatch", &rule).await.map(|_| ())
    }

    /// Subscribes to changes of an object and of those below it.
    pub(super) async fn watch_below(&self, path: &str) -> Result<(), CallFault> {
        let rule = format!(
            "type='signal',sender='org.bluez',interface='{PROPERTIES}',member='PropertiesChanged',path_namespace='{path}'"
        );
        self.watch(&rule).await
    }

    /// Calls a method of the Bluetooth service.
    pub(super) async fn call<B>(
        &self,
        path: &str,
        interface: &str,
        method: &str,
        body: &B,
    ) -> Result<Message, CallFault>
    where
        B: serde::Serialize + DynamicType + Sync,
    {
        self.call_at(BLUEZ, path, interface, method, body).await
    }

    async fn call_at<B>(
        &self,
        to: &str,
        path: &str,
        interface: &str,
        method: &str,
        body: &B,
    ) -> Result<Message, CallFault>
    where
        B: serde::Serialize + DynamicType + Sync,
    {
        match timeout(CALL_TIME_MAX, self.0.call_method(Some(to), path, Some(interface), method, body)).await
        {
            Ok(Ok(answer)) => Ok(answer),
            Ok(Err(error)) => Err(CallFault::Refused(error.to_string())),
            Err(_elapsed) => Err(CallFault::Stalled(CALL_TIME_MAX)),
        }
    }

    /// All objects of the service.
    pub(super) async fn objects(&self) -> Result<Objects, CallFault> {
        let answer = self.call("/", MANAGER, "GetManagedObjects", &()).await?;
        let objects: HashMap<OwnedObjectPath, BTreeMap<String, Properties>> =
            answer.body().deserialize().map_err(|error| CallFault::Refused(error.to_string()))?;
        Ok(objects.into_iter().map(|(path, interfaces)| (path.to_string(), interfaces)).collect())
    }

    /// Reads the value of a characteristic or descriptor.
    pub(super) async fn read_value(&self, path: &str, interface: &str) -> Result<Vec<u8>, CallFault> {
        let answer = self.call(path, interface, "ReadValue", &Properties::new()).await?;
        answer.body().deserialize().map_err(|error| CallFault::Refused(error.to_string()))
    }
}

/// A property, if it exists and has this type.
pub(super) fn property<T: TryFrom<OwnedVariant>>(properties: &Properties, name: &str) -> Option<T> {
    properties.get(name).and_then(|value| value.try_clone().ok()).and_then(|value| T::try_from(value).ok())
}
