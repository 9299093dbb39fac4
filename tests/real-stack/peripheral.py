"""A made-up Bluetooth LE meter on a virtual radio, in the guest: bumble opens /dev/vhci, which becomes the kernel's hci0, and
plays the meter on a second controller of the same link. Orders come as lines through a FIFO: drop, silent, sound, hide, show.

The services: one of our own with a capacitance that describes itself (0x2904), Environmental Sensing with two temperatures of
one UUID, Battery. Figures are made up.
"""

import asyncio
import os
import sys

from bumble.controller import Controller
from bumble.core import UUID, AdvertisingData, PhysicalTransport
from bumble.device import Device
from bumble.gatt import Characteristic, CharacteristicValue, Descriptor, Service
from bumble.hci import Address
from bumble.host import Host
from bumble.link import LocalLink
from bumble.transport import open_transport
from bumble.transport.common import AsyncPipeSink

ADDRESS = "F0:A1:B2:C3:D4:E5"
NAME = "Virtual meter"
SERVICE = "6b1d0001-5c1e-4b8e-9d3a-3f2a9c1e7a10"
CAPACITANCE = "6b1d0002-5c1e-4b8e-9d3a-3f2a9c1e7a10"
PERIOD_S = 0.1


class Link(LocalLink):
    """Data of an LE connection comes from the address that the connection was made with, not always from the random one."""

    def send_acl_data(self, sender_controller, destination_address, transport, data):
        if transport != PhysicalTransport.LE:
            return super().send_acl_data(sender_controller, destination_address, transport, data)
        receiver = self.find_le_controller(destination_address)
        own = [c.self_address for c in sender_controller.le_connections.values() if c.peer_address == destination_address]
        source = own[0] if own else sender_controller.random_address
        if receiver is not None:
            asyncio.get_running_loop().call_soon(receiver.on_link_acl_data, source, transport, data)


def described(uuid, value, label, presentation=None):
    properties = Characteristic.Properties.READ | Characteristic.Properties.NOTIFY
    descriptors = [Descriptor(UUID.from_16_bits(0x2901), Descriptor.READABLE, label.encode())]
    if presentation:
        descriptors.append(Descriptor(UUID.from_16_bits(0x2904), Descriptor.READABLE, presentation))
    return Characteristic(uuid, properties, Characteristic.READABLE, CharacteristicValue(read=lambda _: value()), descriptors)


class Meter:
    def __init__(self, device):
        self.device, self.count, self.sounds = device, 0, True
        # sint16, 10^-8 farad: hundredths of a microfarad; namespace 1, no description.
        farad = bytes([0x0E, 0xF8, 0x29, 0x27, 0x01, 0x00, 0x00])
        temperature = UUID.from_16_bits(0x2A6E)
        self.values = {
            described(UUID(CAPACITANCE), lambda: self.number(1245), "capacitance", farad): lambda: self.number(1245),
            described(temperature, lambda: self.number(1310), "supply air"): lambda: self.number(1310),
            described(temperature, lambda: self.number(2390), "return air"): lambda: self.number(2390),
        }
        capacitance, supply, returned = self.values
        battery = Characteristic(UUID.from_16_bits(0x2A19), Characteristic.Properties.READ, Characteristic.READABLE, bytes([81]))
        for service in (Service(UUID(SERVICE), [capacitance]), Service(UUID.from_16_bits(0x181A), [supply, returned]),
                        Service(UUID.from_16_bits(0x180F), [battery])):
            device.add_service(service)

    def number(self, around):
        """A value with noise in its last digit."""
        return (around + self.count % 2).to_bytes(2, "little", signed=True)

    async def send(self):
        while True:
            await asyncio.sleep(PERIOD_S)
            self.count += 1
            if self.sounds and self.device.connections:
                for characteristic, value in self.values.items():
                    try:
                        await self.device.notify_subscribers(characteristic, value())
                    except Exception as error:  # the link went while it was sending
                        print("peripheral: not sent:", error, flush=True)

    async def show(self):
        fields = [(AdvertisingData.COMPLETE_LOCAL_NAME, NAME.encode()), (AdvertisingData.FLAGS, bytes([0x06])),
                  (AdvertisingData.INCOMPLETE_LIST_OF_16_BIT_SERVICE_CLASS_UUIDS, bytes([0x1A, 0x18]))]
        await self.device.start_advertising(auto_restart=True, advertising_data=bytes(AdvertisingData(fields)))

    async def obey(self, order):
        if order == "drop":
            for connection in list(self.device.connections.values()):
                await connection.disconnect()
        elif order in ("silent", "sound"):
            self.sounds = order == "sound"
        elif order == "hide":
            await self.device.stop_advertising()
        elif order == "show":
            await self.show()
        print(f"peripheral: {order} done", flush=True)


async def main(fifo):
    link = Link()
    radio = await open_transport("vhci")
    Controller("radio", host_source=radio.source, host_sink=radio.sink, link=link, public_address="C0:FF:EE:00:00:01")
    host = Host()
    controller = Controller("meter", host_source=None, host_sink=None, link=link)
    host.controller = controller
    controller.host = AsyncPipeSink(host)
    device = Device(name=NAME, address=Address(ADDRESS), host=host)
    meter = Meter(device)
    await device.power_on()
    await meter.show()
    print("peripheral: up", flush=True)
    sender = asyncio.create_task(meter.send())
    loop = asyncio.get_running_loop()
    while True:
        # Blocks in a thread until somebody writes.
        lines = await loop.run_in_executor(None, lambda: open(fifo).read())
        for order in lines.split():
            await meter.obey(order)
        if sender.done():
            sender.result()


if __name__ == "__main__":
    os.mkfifo(sys.argv[1])
    asyncio.run(main(sys.argv[1]))
