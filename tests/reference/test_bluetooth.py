"""cliplead before a Bluetooth service that others wrote: python-dbusmock's BlueZ template, on a bus of its own.

Values are read a second time by `bluetooth-sig`, which knows the tables of the Bluetooth SIG. Holds what cliplead must do;
the bus stands in `bluetooth_bench.py`, the service in `bluetooth_peer.py`. Needs CLIPLEAD_BIN, and CLIPLEAD_PORTABLE_BIN for
the portable backend.
"""

import itertools
import json
import logging
import os
import select
import signal
from decimal import Decimal
from pathlib import Path

import pytest
from bluetooth_bench import HANG_S, Bench
from bluetooth_sig.gatt.characteristics import HumidityCharacteristic, TemperatureCharacteristic
from bluetooth_sig.gatt.exceptions import CharacteristicParseError, SpecialValueDetectedError
from cli import PRINTED

SCHEMES = ["ble", *(["ble+portable"] if "CLIPLEAD_PORTABLE_BIN" in os.environ else [])]
ROOT = Path(__file__).parents[2]
PROBE, CLAMP, LATE, OLD = (f"C0:11:22:33:44:{number:02X}" for number in range(1, 5))
NAME = "Air probe"
SUPPLY, TWIN, HUMIDITY, BATTERY, APART = (
    "service0010/char0011",
    "service0010/char0015",
    "service0010/char001a",
    "service0020/char0021",
    "service0030/char0031",
)
# A service of the maker's own.
OWN = "9f3c1d2f-5b7e-4c1a-9d55-0a6b2e4f8c31"
# 51.07 %, as a device sends it.
HUMIDITY_SENT = "f313"
RANGE = -4000, 8500


def little(raw: int) -> str:
    return (raw & 0xFFFF).to_bytes(2, "little").hex()


def part(path: str, uuid: str, **more) -> dict:
    return {"at": path.rsplit("/", 1)[-1], "uuid": uuid, **more}


def text(words: str) -> dict:
    return {"uuid": "2901", "value": words.encode().hex()}


def table(scheme: str) -> list:
    """The probe of hardware-notes/generic-gatt-meter: two temperatures told apart by label and place, a humidity that has to be
    asked for, a battery that no channel names. The portable backend cannot tell two of one UUID in one service apart, so its
    second one is in another service."""
    supply = part(SUPPLY, "2A6E", flags=["read", "notify"], described=[{"at": "desc0013", **text("supply air")}])
    back = part(return_at(scheme), "2A6E", flags=["notify"], described=[
        {"at": "desc0017", **text("return air")},
        {"at": "desc0018", "uuid": "2906", "value": "".join(map(little, RANGE))},
    ])  # fmt: skip
    humidity = part(HUMIDITY, "2A6F", flags=["read"], value=HUMIDITY_SENT)
    battery = part("service0020", "180F", has=[part(BATTERY, "2A19", flags=["read", "notify"], value="50")])
    if return_at(scheme) == TWIN:
        return [part("service0010", "181A", has=[supply, back, humidity]), battery]
    return [part("service0010", "181A", has=[supply, humidity]), battery, part("service0030", OWN, has=[back])]


def return_at(scheme: str) -> str:
    return TWIN if scheme == "ble" else APART


def profile(scheme: str, folder: Path) -> str:
    """The shipped profile; for the portable backend with the second temperature where that one has it."""
    if scheme == "ble":
        return "generic-gatt-meter"
    shipped = (ROOT / "hardware-notes/generic-gatt-meter/profile.toml").read_text(encoding="utf-8")
    twin = 'service = "0x181A"\ncharacteristic = "0x2A6E"\ninstance = 2\n'
    assert shipped.count(twin) == 1
    at = folder / "apart.toml"
    at.write_text(shipped.replace(twin, f'service = "{OWN}"\ncharacteristic = "0x2A6E"\n'), encoding="utf-8")
    return str(at)


@pytest.fixture
def bench(tmp_path, scheme):
    """A bus, a service, a radio that is on, and the probe in range."""
    bench = Bench(tmp_path)
    bench.scheme, bench.table, bench.back = scheme, table(scheme), return_at(scheme)
    try:
        bench.serve()
        probe_in_range(bench)
        yield bench
    finally:
        bench.close()


def probe_in_range(bench: Bench):
    bench.peer.do("radio", powered=True)
    bench.peer.do("device", address=PROBE, name=NAME, services=["181A", "180F"], table=bench.table)


def watch(bench: Bench, scheme: str, place: str = PROBE, *more: str, **how):
    command = ["devices", "watch", f"{scheme}:{place}", "--profile", profile(scheme, bench.folder), "--format", "json", *more]
    return bench.cliplead(scheme, *command, **how)


def subscribed(bench: Bench):
    """Waits until everything that sends is subscribed to at the service that is there now."""
    paths = {f"/org/bluez/hci0/dev_{PROBE.replace(':', '_')}/{at}" for at in (SUPPLY, bench.back, BATTERY)}
    called = lambda: {call["path"] for call in bench.peer.calls() if call["method"] == "StartNotify"}  # noqa: E731
    bench.wait("the subscriptions", lambda: called() == paths)


def send(bench: Bench, at: str, raw: int) -> bool:
    return bench.peer.do("notify", address=PROBE, at=at, value=little(raw))


def sent_by_itself(watching) -> list:
    """What was shown of the two temperatures: readings and drops."""
    lines = [json.loads(line, parse_float=Decimal, parse_int=Decimal) for line in watching.out]
    return [line for line in lines if not (isinstance(line, list) and line[0].get("channel") == 2)]


def humidities(watching) -> list:
    lines = [json.loads(line) for line in watching.out]
    return [line[0]["v"] for line in lines if isinstance(line, list) and line[0].get("channel") == 2]


def one(bench: Bench, watching, at: str, raw: int) -> list | dict:
    """Sends a value and gives what is shown of it."""
    before = len(sent_by_itself(watching))
    assert send(bench, at, raw), f"nobody is subscribed\n{bench}"
    shown = bench.wait("the value", lambda: sent_by_itself(watching)[before:])
    assert len(shown) == 1, f"{raw}: {shown}\n{bench}"
    return shown[0]


def value(line: list | dict) -> Decimal:
    assert isinstance(line, list) and "v" in line[0], line
    return line[0]["v"]


def read_only(bench: Bench, scheme: str):
    """Every call that came is one that changes nothing at a device, and no radio is switched."""
    known = {
        "org.freedesktop.DBus.ObjectManager": {"GetManagedObjects"},
        "org.bluez.Adapter1": {"SetDiscoveryFilter", "StartDiscovery", "StopDiscovery"},
        "org.bluez.Device1": {"Connect", "Disconnect"},
        "org.bluez.GattCharacteristic1": {"ReadValue", "StartNotify", "StopNotify"},
        "org.bluez.GattDescriptor1": {"ReadValue"},
    }
    if scheme == "ble+portable":
        known["org.freedesktop.DBus.Introspectable"] = {"Introspect"}
        known["org.freedesktop.DBus.Properties"] = {"Get", "GetAll", "Set"}
    for call in bench.calls():
        assert call["method"] in known.get(call["interface"], ()), f"{call}\n{bench}"
        # What its library does before each scan: it switches on what is on.
        assert call["method"] != "Set" or call["set"] == ["org.bluez.Adapter1", "Powered", "1", "1"], f"{call}\n{bench}"


def nothing_left(bench: Bench, scheme: str):
    """What was begun is ended, at the service and by cliplead's own word. All calls are on record from here on."""
    state = bench.peer.do("state")
    assert (state["discovering"], state["connected"], state["notifying"]) == ([], [], []), f"{state}\n{bench}"
    read_only(bench, scheme)
    scans = [call for call in bench.calls() if call["method"] in ("StartDiscovery", "StopDiscovery")]
    for sender, path in {(call["sender"], call["path"]) for call in scans}:
        methods = [call["method"] for call in scans if (call["sender"], call["path"]) == (sender, path)]
        assert methods[-1] == "StopDiscovery", f"{methods}\n{bench}"


def listed(listing, scheme: str) -> dict:
    found = [json.loads(line) for line in listing.out]
    of_scheme = [each for each in found if (each["selector"] or "").startswith(f"{scheme}:")]
    return {each["selector"].removeprefix(f"{scheme}:"): each["description"] for each in of_scheme}


@pytest.mark.parametrize("scheme", SCHEMES)
def test_a_scan_lists_what_is_in_range_and_stops(bench, scheme):
    bench.peer.do("device", address=CLAMP, name="Clamp", services=[], table=[])
    bench.peer.do("device", address=OLD, name="Old probe", services=["181A"], table=bench.table)
    bench.peer.do("forget_signal", address=OLD)
    listing = bench.cliplead(scheme, "devices", "list", f"--scan={scheme}", "--format", "json")
    bench.wait("a scan", lambda: bench.calls("StartDiscovery"))
    bench.peer.do("device", address=LATE, name="Late probe", services=["181A"], table=bench.table)
    assert listing.ended() == 0, bench
    nothing_left(bench, scheme)
    found = listed(listing, scheme)
    assert set(found) == {PROBE, CLAMP, LATE}, bench
    assert all(words in found[PROBE] for words in (NAME, "0x181A", "0x180F")), found
    assert "Clamp" in found[CLAMP] and "0x" not in found[CLAMP], found
    assert "Late probe" in found[LATE] and "0x181A" in found[LATE], found
    assert bench.calls("StopDiscovery") and not bench.calls("Connect"), bench


@pytest.mark.parametrize("scheme", SCHEMES)
def test_a_radio_that_is_off_is_told_and_stays_off(bench, scheme):
    bench.peer.do("radio", powered=False)
    listing = bench.cliplead(scheme, "devices", "list", f"--scan={scheme}", "--format", "json")
    assert listing.ended() == 0 and listed(listing, scheme) == {}, bench
    watching = watch(bench, scheme)
    bench.wait("word of the radio", lambda: watching.said("radio is off") >= 2)
    assert listing.said("radio is off") == 1, bench
    assert bench.peer.do("state")["powered"] == [], bench
    assert not bench.calls("StartDiscovery") and not bench.calls("Set"), bench
    # Somebody else switches it on.
    bench.peer.do("radio", powered=True)
    subscribed(bench)
    assert value(one(bench, watching, SUPPLY, 1284)) == Decimal("12.84")
    watching.process.send_signal(signal.SIGINT)
    assert watching.ended() == 0, bench
    nothing_left(bench, scheme)


def by_the_tables(raw: int, bounds: tuple | None) -> Decimal | str:
    """What `bluetooth-sig` reads: the value, "not known" or "refused"; the device's own range narrows the SIG's."""
    decimal = Decimal(raw).scaleb(-2)
    try:
        read = TemperatureCharacteristic().parse_value(raw.to_bytes(2, "little", signed=True))
    except SpecialValueDetectedError:
        return "not known"
    except CharacteristicParseError:
        return "refused"
    assert read == pytest.approx(float(decimal), rel=PRINTED)
    return decimal if bounds is None or bounds[0] <= raw <= bounds[1] else "refused"


def as_shown(line: list | dict) -> Decimal | str:
    if isinstance(line, dict):
        return "refused" if line["dropped"] == "value not understood" else line["dropped"]
    return line[0]["v"] if "v" in line[0] else {"---": "not known"}[line[0]["vs"]]


@pytest.mark.parametrize("scheme", SCHEMES)
def test_values_are_those_of_the_tables(bench, scheme, caplog):
    """Ends of the range, the value that stands for "not known", and a walk through all of 16 bits, for both twins."""
    caplog.set_level(logging.CRITICAL)  # bluetooth-sig logs what it refuses
    edges = [0, 1, -1, 1284, -307, 32767, -32768, -32767, -27315, -27316, *RANGE, RANGE[0] - 1, RANGE[1] + 1]
    raws = [*edges, *range(-32768, 32768, 331)]
    watching = watch(bench, scheme)
    subscribed(bench)
    for supply, back in zip(raws, reversed(raws)):
        for at, raw, bounds, label in ((SUPPLY, supply, None, "supply air"), (bench.back, back, RANGE, "return air")):
            line = one(bench, watching, at, raw)
            assert as_shown(line) == by_the_tables(raw, bounds), f"{label} {raw}: {line}\n{bench}"
            if isinstance(line, list):
                shown = (line[0]["label"], line[0]["n"], line[0]["u"], line[0].get("channel", 0))
                assert shown == (label, "temperature", "Cel", int(at == bench.back)), line
        # Named by no channel: nothing comes of it.
        assert bench.peer.do("notify", address=PROBE, at=BATTERY, value="4f"), bench
    bench.wait("a humidity", lambda: len(humidities(watching)) >= 2)
    percent = HumidityCharacteristic().parse_value(bytes.fromhex(HUMIDITY_SENT))
    assert set(humidities(watching)) == {51.07} and percent == pytest.approx(51.07, rel=PRINTED)
    watching.process.send_signal(signal.SIGINT)
    assert watching.ended() == 0, bench
    nothing_left(bench, scheme)
    asked = [call for call in bench.calls("ReadValue") if call["path"].endswith(HUMIDITY)]
    # Each answer once, though the service tells a value that was read as if it had been sent, too.
    assert len(asked) - 1 <= len(humidities(watching)) <= len(asked), bench


@pytest.mark.parametrize("place", [f"name={NAME}", "service=0x181A"])
@pytest.mark.parametrize("scheme", SCHEMES)
def test_it_is_found_by_name_and_by_service(bench, scheme, place):
    bench.peer.do("device", address=CLAMP, name="Clamp", services=["180F"], table=[])
    watching = watch(bench, scheme, place, "--count", "12")
    subscribed(bench)
    sent = []
    for raw in itertools.count(2000):
        if not send(bench, SUPPLY, raw):
            break
        sent.append(Decimal(raw).scaleb(-2))
        bench.wait("the value", lambda: len(sent_by_itself(watching)) >= len(sent) or not watching.open)
        if not watching.open:
            break
    assert watching.ended() == 0, bench
    nothing_left(bench, scheme)
    shown = [value(line) for line in sent_by_itself(watching)]
    assert shown == sent[: len(shown)] and len(shown) + len(humidities(watching)) == 12, bench
    assert {call["path"][-17:] for call in bench.calls("Connect")} == {PROBE.replace(":", "_")}, bench


@pytest.mark.parametrize("scheme", SCHEMES)
def test_of_two_of_one_name_neither_is_opened(bench, scheme):
    bench.peer.do("device", address=LATE, name=NAME, services=["181A"], table=bench.table)
    watching = watch(bench, scheme, f"name={NAME}")
    bench.wait("word of both", lambda: any(PROBE in line and LATE in line for line in watching.err))
    watching.process.send_signal(signal.SIGTERM)
    assert watching.ended() == 0, bench
    nothing_left(bench, scheme)
    assert not bench.calls("Connect"), bench


@pytest.mark.parametrize("scheme", SCHEMES)
def test_a_device_that_is_connected_already_is_read(bench, scheme):
    """The service refuses to connect it once more, and a connected device does not advertise."""
    bench.peer.do("hold", address=PROBE)
    bench.peer.do("forget_signal", address=PROBE)
    watching = watch(bench, scheme)
    subscribed(bench)
    assert value(one(bench, watching, bench.back, 2431)) == Decimal("24.31")
    watching.process.send_signal(signal.SIGINT)
    assert watching.ended() == 0, bench
    nothing_left(bench, scheme)


@pytest.mark.parametrize("scheme", SCHEMES)
def test_a_lost_link_is_told_and_opened_again(bench, scheme):
    watching = watch(bench, scheme)
    for time in range(1, 4):
        bench.wait("the subscriptions", lambda: len(bench.calls("StartNotify")) >= 3 * time)
        assert value(one(bench, watching, SUPPLY, 100 * time)) == time, bench
        assert value(one(bench, watching, bench.back, -100 * time)) == -time, bench
        if time < 3:
            bench.peer.do("lose", address=PROBE)
            bench.wait("word of it", lambda: watching.said("gap: ") >= time)
    assert watching.said("gap: ") == 2 and not watching.said("nothing received for"), bench
    watching.process.send_signal(signal.SIGINT)
    assert watching.ended() == 0, bench
    nothing_left(bench, scheme)


@pytest.mark.parametrize("scheme", SCHEMES)
def test_a_service_that_goes_and_comes_back_is_told_and_healed(bench, scheme):
    watching = watch(bench, scheme)
    subscribed(bench)
    assert value(one(bench, watching, SUPPLY, 1284)) == Decimal("12.84")
    bench.peer.kill()
    bench.wait("word of it", lambda: watching.said("gap: ") >= 1)
    bench.wait("word that it is not there", lambda: watching.said("Bluetooth service") >= 1)
    bench.serve()
    probe_in_range(bench)
    subscribed(bench)
    assert value(one(bench, watching, SUPPLY, 1285)) == Decimal("12.85")
    if scheme == "ble":
        # By the bus's word, not found out by silence.
        assert watching.said("gap: ") == 1 and not watching.said("nothing received for"), bench
    else:
        # Its library does not hear that word; two steps against silence are needed.
        assert watching.said("gap: ") == 2 and watching.said("nothing received for"), bench
    watching.process.send_signal(signal.SIGTERM)
    assert watching.ended() == 0, bench
    nothing_left(bench, scheme)


@pytest.mark.parametrize("asked", [signal.SIGINT, signal.SIGTERM])
@pytest.mark.parametrize("scheme", SCHEMES)
def test_a_signal_ends_it_and_nothing_is_left(bench, scheme, asked):
    watching = watch(bench, scheme)
    subscribed(bench)
    one(bench, watching, SUPPLY, 1284)
    watching.process.send_signal(asked)
    assert watching.ended() == 0, bench
    nothing_left(bench, scheme)
    assert [call["method"] for call in bench.calls() if call["interface"] == "org.bluez.Device1"] == ["Connect", "Disconnect"]


@pytest.mark.parametrize("command", ["watch", "list"])
@pytest.mark.parametrize("scheme", SCHEMES)
def test_a_signal_ends_a_scan(bench, scheme, command):
    scanning = (
        watch(bench, scheme, "name=nobody") if command == "watch" else bench.cliplead(scheme, "devices", "list", f"--scan={scheme}")
    )
    bench.wait("a scan", lambda: bench.calls("StartDiscovery"))
    scanning.process.send_signal(signal.SIGINT)
    assert scanning.ended() >= 0, bench
    nothing_left(bench, scheme)


@pytest.mark.parametrize("scheme", SCHEMES)
def test_a_reader_that_goes_away_ends_it_and_nothing_is_left(bench, scheme):
    reading, writing = os.pipe()
    try:
        watching = watch(bench, scheme, stdout=writing)
        os.close(writing)
        subscribed(bench)
        assert send(bench, SUPPLY, 1284)
        ready, _, _ = select.select([reading], [], [], HANG_S)
        assert ready and b'"v":' in os.read(reading, 65536), bench
    finally:
        os.close(reading)
    # Whatever comes next finds nobody.
    send(bench, SUPPLY, 1285)
    assert watching.ended() >= 0, bench
    nothing_left(bench, scheme)


@pytest.mark.parametrize("scheme", SCHEMES[1:])
def test_twins_that_cannot_be_told_apart_are_withheld_and_said(bench, scheme):
    """Two temperatures in one service: the library of this backend shows one, and nobody knows which."""
    bench.peer.do("device", address=CLAMP, name="Twins", services=["181A"], table=table("ble"))
    watching = bench.cliplead(
        scheme, "devices", "watch", f"{scheme}:{CLAMP}", "--profile", "generic-gatt-meter", "--format", "json"
    )
    bench.wait("humidities", lambda: len(humidities(watching)) >= 3)
    assert sent_by_itself(watching) == [], bench
    assert watching.said("characteristic 0x2A6E of service 0x181A is not read: it has 2 of them") == 1, bench
    assert watching.said("`ble:` in place of `ble+portable:` reads it") == 1, bench
    assert not [call for call in bench.calls("StartNotify") if not call["path"].endswith(BATTERY)], bench
    watching.process.send_signal(signal.SIGINT)
    assert watching.ended() == 0, bench
    nothing_left(bench, scheme)
