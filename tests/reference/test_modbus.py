"""`cliplead devices watch` asks a Modbus RTU server that cliplead did not make: pymodbus, behind a pseudo-terminal.

The registers are made by pymodbus's own conversion and by Python's struct; the values are invented. Needs CLIPLEAD_BIN.
"""

import asyncio
import json
import os
import select
import struct
import subprocess
import threading
import tty

import pytest
from cli import binary
from pymodbus import FramerType
from pymodbus.client.mixin import ModbusClientMixin
from pymodbus.server import ModbusSerialServer
from pymodbus.simulator import DataType, SimData, SimDevice

UNIT = 17
HANG_S = 60
FLOAT = ModbusClientMixin.DATATYPE.FLOAT32
INT = ModbusClientMixin.DATATYPE.INT32


class Line:
    """Two pseudo-terminals joined back to back: what is written at one end is read at the other."""

    def __init__(self):
        self.masters, self.slaves = zip(*(os.openpty() for _ in range(2)))
        for fd in (*self.masters, *self.slaves):
            tty.setraw(fd)
        self.ends = [os.ttyname(fd) for fd in self.slaves]
        self.wake, self.stop = os.pipe()
        self.thread = threading.Thread(target=self.relay, daemon=True)
        self.thread.start()

    def relay(self):
        other = dict(zip(self.masters, reversed(self.masters)))
        while True:
            ready, _, _ = select.select([*self.masters, self.wake], [], [])
            if self.wake in ready:
                return
            for fd in ready:
                os.write(other[fd], os.read(fd, 4096))

    def close(self):
        os.write(self.stop, b"x")
        self.thread.join(HANG_S)
        for fd in (*self.masters, *self.slaves, self.wake, self.stop):
            os.close(fd)


class Server:
    """pymodbus in a thread of its own, on one end of a line."""

    def __init__(self, port: str, registers: dict[int, list[int]]):
        blocks = [
            SimData(address, values=values, datatype=DataType.REGISTERS) for address, values in sorted(registers.items())
        ]
        self.device = SimDevice(UNIT, simdata=blocks)
        self.port = port
        self.loop = asyncio.new_event_loop()
        self.ready = threading.Event()
        self.thread = threading.Thread(target=self.run, daemon=True)
        self.thread.start()
        assert self.ready.wait(HANG_S), "the server does not start"

    def run(self):
        asyncio.set_event_loop(self.loop)
        self.loop.run_until_complete(self.serve())
        self.loop.run_forever()
        self.loop.run_until_complete(self.server.shutdown())

    async def serve(self):
        self.server = ModbusSerialServer(self.device, framer=FramerType.RTU, port=self.port, baudrate=115200)
        await self.server.serve_forever(background=True)
        self.ready.set()

    def close(self):
        self.loop.call_soon_threadsafe(self.loop.stop)
        self.thread.join(HANG_S)


@pytest.fixture
def served():
    """Gives a function that serves registers and returns the other end of the line."""
    opened = []

    def serve(registers: dict[int, list[int]]) -> str:
        line = Line()
        opened.append(line)
        opened.append(Server(line.ends[0], registers))
        return line.ends[1]

    yield serve
    for part in reversed(opened):
        part.close()


def words(value: float, datatype, word_order: str, byte_order: str) -> list[int]:
    """The registers of a value; the order of words is pymodbus's, that of bytes Python's."""
    registers = ModbusClientMixin.convert_to_registers(value, datatype, word_order=word_order)
    if byte_order == "little":
        registers = [struct.unpack("<H", struct.pack(">H", register))[0] for register in registers]
    return registers


def profile(channels: list[str], poll: str = "") -> str:
    head = [
        "profile = 1",
        'id = "served"',
        "[link]",
        'kind = "serial"',
        "baud = 115200",
        "[poll]",
        'kind = "modbus"',
        f"unit = {UNIT}",
        "poll_ms = 20",
        "timeout_ms = 2000",
        poll,
        "[decode]",
        'kind = "registers"',
    ]
    return "\n".join(head) + "\n" + "\n".join(f"[[decode.channel]]\n{channel}" for channel in channels) + "\n"


def watch(folder, port: str, text: str, count: int) -> tuple[dict[str, list], list[str], str]:
    """Values by channel name, drops, and what was said, of `count` readings."""
    path = folder / "profile.toml"
    path.write_text(text, encoding="utf-8")
    command = [binary(), "devices", "watch", f"serial:{port}", "--profile", str(path)]
    command += ["--count", str(count), "--format", "json"]
    done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=HANG_S, check=False)
    shown = f"{' '.join(command)}\nexit {done.returncode}\n{done.stdout[:2000]}\n{done.stderr}"
    assert done.returncode == 0, shown
    values: dict[str, list] = {}
    drops = []
    for line in done.stdout.splitlines():
        said = json.loads(line)
        if isinstance(said, dict):
            drops.append(said["dropped"])
        else:
            record = said[0]
            values.setdefault(record["n"], []).append(record.get("v", record.get("vs")))
    return values, drops, done.stderr


ORDERS = [("big", "big"), ("little", "big"), ("big", "little"), ("little", "little")]
FLOATS = [44.75, 370.25, -12.5, 0.0046875]  # exact in single precision


def test_four_orders_many_reads(served, tmp_path):
    registers, channels = {}, []
    for number, ((word, byte), value) in enumerate(zip(ORDERS, FLOATS)):
        registers[10 + 2 * number] = words(value, FLOAT, word, byte)
        channels.append(
            f'number = {number}\nentity = "holding"\naddress = {10 + 2 * number}\ntype = "f32"\nword_order = "{word}"\n'
            f'byte_order = "{byte}"\nunit = "V dc"\nexponent = -7'
        )
    registers[18] = words(-123456, INT, "big", "big")
    channels.append('number = 4\nentity = "input"\naddress = 18\ntype = "i32"\nunit = "V dc"\nexponent = -3')
    values, drops, said = watch(tmp_path, served(registers), profile(channels), 250)
    assert drops == [], said
    found = {name: set(seen) for name, seen in values.items()}
    assert sorted(v for seen in found.values() for v in seen) == sorted([*FLOATS, -123.456]), said
    assert all(len(seen) >= 45 for seen in values.values()), said
    assert " 0 faults" in said, said


def test_an_address_that_is_not_there_is_refused_and_harms_nothing(served, tmp_path):
    channels = [
        'number = 0\nentity = "holding"\naddress = 10\ntype = "u16"\nunit = "V dc"\nexponent = -1',
        'number = 1\nentity = "holding"\naddress = 400\ntype = "u16"\nunit = "V dc"\nexponent = -1',
    ]
    values, drops, said = watch(tmp_path, served({10: [1234]}), profile(channels), 30)
    assert [set(seen) for seen in values.values()] == [{123.4}], said
    assert set(drops) == {"the device refused the request"} and len(drops) >= 25, said
    assert "times: the device refused the request" in said, said


def test_without_marker(served, tmp_path):
    channels = [
        'number = 0\nentity = "holding"\naddress = 10\ntype = "u16"\nunit = "V dc"\nexponent = -1',
        'number = 1\nentity = "holding"\naddress = 20\ntype = "u32"\nword_order = "little"\nunit = "V dc"\nexponent = 0',
    ]
    registers = {10: [1234], 20: [0x5678, 0x0001]}
    values, drops, said = watch(tmp_path, served(registers), profile(channels, 'marker = "none"'), 60)
    assert drops == [] and "(0 markers)" in said, said
    assert sorted(v for seen in values.values() for v in set(seen)) == [123.4, 0x15678], said
