#!/usr/bin/python3
"""A Bluetooth service written by others: python-dbusmock's template `bluez5`, on the bus of DBUS_SYSTEM_BUS_ADDRESS.

Runs with Debian's Python, since python-dbusmock and its D-Bus library are Debian's packages. What the template has does the
work; what it lacks is added here by python-dbusmock's own methods (README.md lists it). Decides nothing: commands come as lines
of JSON on stdin, each gets one answer on stdout, and in between stand the calls that arrive from the bus, each with its
sender. Ends with its stdin or with the bus.

    /usr/bin/python3 bluetooth_peer.py MOCK.log
"""

import json
import os
import sys
import traceback

import dbus
import dbus.lowlevel
import dbus.mainloop.glib
from dbusmock import OBJECT_MANAGER_IFACE, mockobject
from dbusmock.templates import bluez5
from gi.repository import GLib

ADAPTER, DEVICE = bluez5.ADAPTER_IFACE, bluez5.DEVICE_IFACE
SERVICE, CHARACTERISTIC, DESCRIPTOR = (f"org.bluez.Gatt{part}1" for part in ("Service", "Characteristic", "Descriptor"))
RADIO = "hci0"
RADIO_PATH = f"/org/bluez/{RADIO}"
OBJECTS = mockobject.objects


def say(what: dict):
    os.write(1, (json.dumps(what) + "\n").encode())


def full(uuid: str) -> str:
    """A UUID as the service writes it."""
    return f"0000{uuid.lower()}-0000-1000-8000-00805f9b34fb" if len(uuid) == 4 else uuid


def octets(hexadecimal: str) -> dbus.Array:
    return dbus.Array([dbus.Byte(octet) for octet in bytes.fromhex(hexadecimal)], signature="y")


def device_at(address: str):
    return OBJECTS[f"{RADIO_PATH}/dev_{address.replace(':', '_').upper()}"]


def below(device) -> list:
    return [(path, each) for path, each in list(OBJECTS.items()) if path.startswith(f"{device.path}/")]


def refusal(name: str, words: str) -> dbus.DBusException:
    return dbus.DBusException(words, name=f"org.bluez.Error.{name}")


# What the template lacks: a radio that is off, the properties that follow a connection, and GATT.


def start_discovery(adapter):
    if not adapter.props[ADAPTER]["Powered"]:
        raise refusal("NotReady", "Resource Not Ready")
    bluez5.StartDiscovery(adapter)


def connect(device):
    bluez5.Connect(device)
    device.props[DEVICE]["Connected"] = dbus.Boolean(True, variant_level=1)
    # Later, as over the air: the answer to the call comes first.
    GLib.idle_add(lambda: resolve(device))


def resolve(device):
    """The services are found: an object for each part, then the word that all are there."""
    if not device.props[DEVICE]["Connected"]:
        return
    for service in device.table:
        at = f"{device.path}/{service['at']}"
        if at not in OBJECTS:
            owner = {"UUID": full(service["uuid"]), "Device": dbus.ObjectPath(device.path), "Primary": dbus.Boolean(True)}
            # python-dbusmock's Introspect puts an interface without methods behind the child nodes, where the DTD has none.
            add(at, SERVICE, owner, [("NeverCalled", "", "", "")])
            for characteristic in service["has"]:
                add_characteristic(device, at, characteristic)
    device.UpdateProperties(DEVICE, {"ServicesResolved": dbus.Boolean(True)})


def disconnect(device):
    bluez5.Disconnect(device)
    unresolve(device)


def unresolve(device):
    """The link is gone, whoever ended it."""
    device.connected = False
    device.props[DEVICE]["Connected"] = dbus.Boolean(False, variant_level=1)
    for _, each in below(device):
        if each.interface == CHARACTERISTIC and each.props[CHARACTERISTIC]["Notifying"]:
            each.UpdateProperties(CHARACTERISTIC, {"Notifying": dbus.Boolean(False)})
    device.UpdateProperties(DEVICE, {"ServicesResolved": dbus.Boolean(False)})


def add(path: str, interface: str, properties: dict, methods: list):
    root = OBJECTS[bluez5.MAIN_OBJ]
    root.AddObject(path, interface, properties, methods)
    root.object_manager_emit_added(path)


def add_characteristic(device, service: str, what: dict):
    at = f"{service}/{what['at']}"

    def needs(characteristic, flag: str):
        if not device.props[DEVICE]["Connected"]:
            raise refusal("Failed", "Not connected")
        if flag not in what["flags"]:
            raise refusal("NotSupported", "Operation is not supported")
        return characteristic.props[CHARACTERISTIC]

    def read(characteristic, _options):
        value = needs(characteristic, "read")["Value"]
        # BlueZ does so too: what was read becomes the property (src/gatt-client.c, chrc_read_cb).
        characteristic.UpdateProperties(CHARACTERISTIC, {"Value": value})
        return value

    def notifying(characteristic, on: bool):
        if needs(characteristic, "notify")["Notifying"] == on:
            raise refusal("InProgress" if on else "Failed", "No notify session started" if not on else "In Progress")
        characteristic.UpdateProperties(CHARACTERISTIC, {"Notifying": dbus.Boolean(on)})

    properties = {
        "UUID": full(what["uuid"]),
        "Service": dbus.ObjectPath(service),
        "Flags": dbus.Array(what["flags"], signature="s"),
        "Notifying": dbus.Boolean(False),
        "Value": octets(what.get("value", "")),
    }
    methods = [
        ("ReadValue", "a{sv}", "ay", read),
        ("WriteValue", "aya{sv}", "", ""),
        ("StartNotify", "", "", lambda characteristic: notifying(characteristic, True)),
        ("StopNotify", "", "", lambda characteristic: notifying(characteristic, False)),
    ]
    add(at, CHARACTERISTIC, properties, methods)
    for descriptor in what.get("described", []):
        properties = {
            "UUID": full(descriptor["uuid"]),
            "Characteristic": dbus.ObjectPath(at),
            "Value": octets(descriptor["value"]),
        }
        methods = [
            ("ReadValue", "a{sv}", "ay", lambda each, _options: each.props[DESCRIPTOR]["Value"]),
            ("WriteValue", "aya{sv}", "", ""),
        ]
        add(f"{at}/{descriptor['at']}", DESCRIPTOR, properties, methods)


class Commands:
    """What the test says; each method is a command."""

    def __init__(self, root):
        self.root = root

    def radio(self, powered: bool):
        """There is a radio, and it is on or off."""
        if RADIO_PATH not in OBJECTS:
            self.root.AddAdapter(RADIO, "bench")
            OBJECTS[RADIO_PATH].AddMethod(ADAPTER, "StartDiscovery", "", "", start_discovery)
        OBJECTS[RADIO_PATH].UpdateProperties(ADAPTER, {"Powered": dbus.Boolean(powered)})

    def device(self, address: str, name: str, services: list, table: list):
        """A device in range: what it advertises, and what it has once it is connected (see `resolve`)."""
        self.root.AddDevice(RADIO, address, name)
        device = device_at(address)
        device.table = table
        device.AddMethods(DEVICE, [("Connect", "", "", connect), ("Disconnect", "", "", disconnect)])
        uuids = dbus.Array([full(uuid) for uuid in services], signature="s", variant_level=1)
        device.UpdateProperties(DEVICE, {"UUIDs": uuids})

    def forget_signal(self, address: str):
        """It does not advertise any more: it is remembered, and its signal has no strength."""
        device = device_at(address)
        del device.props[DEVICE]["RSSI"]
        device.EmitSignal(dbus.PROPERTIES_IFACE, "PropertiesChanged", "sa{sv}as", [DEVICE, {}, ["RSSI"]])

    def hold(self, address: str):
        """Another program on this computer has it connected."""
        self.root.ConnectDevice(RADIO, address)
        device_at(address).connected = True
        resolve(device_at(address))

    def lose(self, address: str):
        """The radio link is lost."""
        self.root.DisconnectDevice(RADIO, address)
        unresolve(device_at(address))

    def notify(self, address: str, at: str, value: str):
        """A characteristic sends, if anybody is subscribed; that is the answer."""
        characteristic = OBJECTS[f"{device_at(address).path}/{at}"]
        subscribed = bool(characteristic.props[CHARACTERISTIC]["Notifying"])
        if subscribed:
            characteristic.UpdateProperties(CHARACTERISTIC, {"Value": octets(value)})
        return subscribed

    def state(self):
        """Paths of what is on, begun and not ended."""

        def those(interface: str, name: str) -> list:
            return sorted(path for path, each in OBJECTS.items() if each.props.get(interface, {}).get(name))

        return {
            "powered": those(ADAPTER, "Powered"),
            "discovering": those(ADAPTER, "Discovering"),
            "connected": those(DEVICE, "Connected"),
            "notifying": those(CHARACTERISTIC, "Notifying"),
        }


def tell_call(_connection, message):
    """Tells each call before it is answered, also one that no object answers."""
    if isinstance(message, dbus.lowlevel.MethodCallMessage):
        call = {"sender": message.get_sender(), "path": message.get_path()}
        call |= {"interface": message.get_interface(), "method": message.get_member()}
        if call["method"] == "Set":
            interface, name, value = message.get_args_list()
            was = OBJECTS[call["path"]].props.get(interface, {}).get(name)
            call["set"] = [str(interface), str(name), str(value), str(was)]
        say({"call": call})
    return dbus.lowlevel.HANDLER_RESULT_NOT_YET_HANDLED


def main(log: str):
    dbus.mainloop.glib.DBusGMainLoop(set_as_default=True)
    bus = dbus.SystemBus()
    bus.set_exit_on_disconnect(False)
    bus.add_message_filter(tell_call)
    loop = GLib.MainLoop()
    local = {"dbus_interface": "org.freedesktop.DBus.Local", "path": "/org/freedesktop/DBus/Local"}
    bus.add_signal_receiver(loop.quit, "Disconnected", **local)
    name = dbus.service.BusName(bluez5.BUS_NAME, bus, do_not_queue=True)
    root = mockobject.DBusMockObject(name, bluez5.MAIN_OBJ, OBJECT_MANAGER_IFACE, {}, log, True)
    OBJECTS[bluez5.MAIN_OBJ] = root
    root.AddTemplate("bluez5", {})
    commands = Commands(root)
    rest = b""

    def commanded(fd, _condition):
        nonlocal rest
        read = os.read(fd, 65536)
        if not read:
            loop.quit()
            return False
        *lines, rest = (rest + read).split(b"\n")
        for line in lines:
            command, arguments = json.loads(line)
            try:
                say({"answer": getattr(commands, command)(**arguments)})
            except Exception:  # whatever it is, the test shows it
                say({"failed": traceback.format_exc()})
        return True

    GLib.unix_fd_add_full(GLib.PRIORITY_DEFAULT, 0, GLib.IOCondition.IN | GLib.IOCondition.HUP, commanded)
    say({"answer": "ready"})
    loop.run()


if __name__ == "__main__":
    main(sys.argv[1])
