"""The scenes, played inside the virtual machine: starts the system's daemons and cliplead, breaks things, and looks.

Every step prints one line `REAL-STACK ...` on the console, which run.py on the host reads. What only the host can do
(pulling a USB plug) is asked for with `REAL-STACK ask WORD`. Waits are for events; the limits only bound a hang.
"""

import os
import pathlib
import re
import subprocess
import sys
import threading
import time
import traceback
import tty

HANG_S = 120
METER = "run-capacitor"
SITE = """site = "Virtual yard"
history = "history.sqlite"
{devices}
[[device]]
name = "typed"
selector = "stdin:"
typed = true
{checks}"""
CHECK = """
[[check]]
unit = "RTU-0{number}"
component = "condenser fan run capacitor"
rule = "run-capacitor"
plate = {{ capacitance = "12.5 uF" }}
bind = {{ capacitance = "{device}" }}
"""


def say(*words):
    print("REAL-STACK", *words, flush=True)


def fail(why):
    say("failed", why)
    power_off()


def power_off():
    os.sync()
    subprocess.run(["busybox", "poweroff", "-f"])
    time.sleep(HANG_S)  # tidy: allow-sleep the machine goes off meanwhile


class Program:
    """A process whose lines are kept with their times, and waited for."""

    def __init__(self, name, command, **environment):
        self.name, self.lines, self.seen = name, [], 0
        self.news = threading.Condition()
        self.process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
                                        text=True, errors="replace", env={**os.environ, **environment})
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self):
        for line in self.process.stdout:
            with self.news:
                self.lines.append((time.monotonic(), line.rstrip()))
                self.news.notify_all()

    def mark(self):
        """From here on only later lines count."""
        self.seen = len(self.lines)

    def wait(self, pattern, what):
        """The first line behind the mark that matches; its time."""
        end = time.monotonic() + HANG_S
        with self.news:
            while True:
                for place in range(self.seen, len(self.lines)):
                    at, line = self.lines[place]
                    if re.search(pattern, line):
                        self.seen = place + 1
                        return at, line
                left = end - time.monotonic()
                if left <= 0 or not self.news.wait(left):
                    tail = " | ".join(line for _, line in self.lines[-30:])
                    fail(f"{what}: {self.name} did not say {pattern!r}; last: {tail}")

    def tell(self, *lines):
        for line in lines:
            self.process.stdin.write(line + "\n")
        self.process.stdin.flush()

    def resident_kib(self):
        status = pathlib.Path(f"/proc/{self.process.pid}/status").read_text()
        return int(re.search(r"VmRSS:\s+(\d+)", status).group(1))


def wait_for(what, question, poll_s=0.05):
    end = time.monotonic() + HANG_S
    while time.monotonic() < end:
        answer = question()
        if answer:
            return answer
        time.sleep(poll_s)  # tidy: allow-sleep a real system is asked again; only a hang is bounded
    fail(f"{what}: not within {HANG_S} s")


def insmod(*names):
    for name in names:
        done = subprocess.run(["busybox", "insmod", f"/guest-modules/{name.split()[0]}.ko", *name.split()[1:]],
                              capture_output=True, text=True)
        if done.returncode and "File exists" not in done.stderr:
            fail(f"module {name}: {done.stderr.strip()}")


def unpacked(work):
    """The unpacked packages: their folder and the search path for their libraries."""
    root = work / "root"
    return root, ":".join(str(root / place) for place in ("lib/x86_64-linux-gnu", "usr/lib/x86_64-linux-gnu"))


def start_udev(work):
    root, libraries = unpacked(work)
    os.makedirs("/run/udev", exist_ok=True)
    environment = {**os.environ, "LD_LIBRARY_PATH": libraries}
    rules = pathlib.Path("/lib/udev/rules.d")
    if not (rules / "60-serial.rules").exists():
        os.makedirs("/run/udev/rules.d", exist_ok=True)
        for rule in (root / "lib/udev/rules.d").glob("*.rules"):
            os.symlink(rule, f"/run/udev/rules.d/{rule.name}")
    for helper in (root / "lib/udev").iterdir():
        place = pathlib.Path("/lib/udev") / helper.name
        if not place.exists():
            os.makedirs("/lib/udev", exist_ok=True)
            os.symlink(helper, place)
    # One program under two names; the package's link to it leads out of the folder.
    subprocess.run(["systemd-udevd", "--daemon"], executable=root / "bin/udevadm", env=environment, check=True)
    for words in (["trigger", "--action=add"], ["settle", "--timeout=60"]):
        subprocess.run([root / "bin/udevadm", *words], env=environment, check=False)


def site(devices, checks):
    """Writes the site's file in a fresh folder; its path."""
    folder = pathlib.Path("/run/site")
    folder.mkdir(exist_ok=True)
    blocks = [f'[[device]]\nname = "{name}"\nselector = "{selector}"\nprofile = "{profile}"\n' for name, selector, profile in devices]
    text = SITE.format(devices="\n".join(blocks), checks="".join(CHECK.format(number=n, device=d) for n, d in enumerate(checks, 1)))
    (folder / "site.toml").write_text(text)
    return folder / "site.toml"


def daemon(path):
    return Program("cliplead", [os.environ["CLIPLEAD"], "-v", "run", str(path)])


def confirm_all(program):
    program.tell(*(f"confirm {name}" for name in ("locked out", "leads proved", "proved dead", "discharged", "one lead off")))


def verdict(program, number):
    """Waits for the verdict of a check, which must be PASS; when it came."""
    at, line = program.wait(rf"#{number}  .*: ([A-Z ]+)  ", f"verdict {number}")
    if "Run capacitor: PASS" not in line:
        fail(f"verdict {number} is not a pass: {line}")
    return at, line


def frame(value):
    """A line of the generic line meter."""
    return f"CAP {value:>7.2f} {'uF':<5} {'A':<4}".encode() + b"\r\n"


def scene_serial(work):
    """A USB adapter pulled and plugged in again, and a USB gadget; both found by their lasting names."""
    start_udev(work)
    by_id = pathlib.Path("/dev/serial/by-id")
    adapter = wait_for("the adapter's lasting name", lambda: next(iter(by_id.glob("*BENCH01*")), None) if by_id.exists() else None)
    say("ok adapter", adapter.name)
    insmod("dummy_hcd", "g_serial iSerialNumber=GADGET01")
    gadget = wait_for("the gadget's lasting name", lambda: next(iter(by_id.glob("*GADGET01*")), None))
    say("ok gadget", gadget.name)
    stop = threading.Event()
    threading.Thread(target=play_gadget, args=(stop,), daemon=True).start()
    path = site([("usb", f"serial:{adapter}", "generic-line-meter"), ("gadget", f"serial:{gadget}", "generic-line-meter")],
                ["usb", "gadget", "usb"])
    began = time.monotonic()
    program = daemon(path)
    at, _ = program.wait(r"device usb: live", "first bytes of the adapter")
    say(f"ok first live bytes {at - began:.2f} s after the start")
    confirm_all(program)
    _, line = verdict(program, 1)
    say("ok verdict", line.strip())

    program.mark()
    say("ask unplug")
    _, line = program.wait(r"device usb: lost", "the plug is pulled")
    say("ok unplugged:", line.split("cliplead:")[-1].strip())
    program.wait(r"device usb: absent", "the port is gone")
    say("ask plug")
    there = wait_for("the name is back", lambda: adapter.exists() and time.monotonic(), poll_s=0.01)
    at, _ = program.wait(r"device usb: live", "live again after the plug")
    say(f"ok live {max(0.0, at - there):.2f} s after the name was back")

    program.tell("next")
    confirm_all(program)
    _, line = verdict(program, 2)
    say("ok verdict", line.strip())
    program.mark()
    stop.set()
    wait_for("the gadget's module can go", lambda: subprocess.run(["busybox", "rmmod", "g_serial"], capture_output=True).returncode == 0, 0.2)
    program.wait(r"device gadget: lost", "the gadget is gone")
    say("ok gadget removed")
    insmod("g_serial iSerialNumber=GADGET01")
    stop.clear()
    threading.Thread(target=play_gadget, args=(stop,), daemon=True).start()
    there = wait_for("the gadget's name is back", lambda: gadget.exists() and time.monotonic(), poll_s=0.01)
    at, _ = program.wait(r"device gadget: live", "the gadget is live again")
    say(f"ok gadget live {max(0.0, at - there):.2f} s after its name was back")
    program.tell("next")
    confirm_all(program)
    _, line = verdict(program, 3)
    say("ok verdict", line.strip())
    say(f"ok resident {program.resident_kib()} KiB")


def play_gadget(stop):
    """The meter's side of the gadget."""
    count = 0
    while not stop.is_set():
        try:
            with open("/dev/ttyGS0", "r+b", buffering=0) as port:
                tty.setraw(port)
                while not stop.is_set():
                    port.write(frame(12.45 + (count % 2) / 100))
                    count += 1
                    stop.wait(0.1)
        except OSError as error:

            stop.wait(2)


BUS = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig><type>system</type><listen>unix:path=/run/dbus/system_bus_socket</listen>
<policy context="default"><allow user="*"/><allow own="*"/><allow send_type="method_call"/><allow send_type="signal"/>
<allow send_requested_reply="true" send_type="method_return"/><allow send_requested_reply="true" send_type="error"/>
<allow receive_type="method_call"/><allow receive_type="method_return"/><allow receive_type="error"/><allow receive_type="signal"/></policy>
</busconfig>
"""


class Radio:
    """Bus, bluetoothd and the virtual meter."""

    def __init__(self, work):
        self.root, libraries = unpacked(work)
        self.environment = {"LD_LIBRARY_PATH": libraries}
        os.makedirs("/run/dbus", exist_ok=True)
        pathlib.Path("/run/bus.conf").write_text(BUS)
        self.bus = Program("dbus-daemon", [self.root / "usr/bin/dbus-daemon", "--config-file=/run/bus.conf", "--nofork", "--nopidfile"],
                           **self.environment)
        wait_for("the bus", lambda: os.path.exists("/run/dbus/system_bus_socket"))
        self.service = None
        self.start_service()
        self.meter = Program("peripheral", [sys.executable, str(pathlib.Path(__file__).with_name("peripheral.py")), "/run/peripheral"])
        self.meter.wait("peripheral: up", "the virtual meter")
        wait_for("the radio", lambda: os.path.exists("/sys/class/bluetooth/hci0"))

    def start_service(self):
        self.service = Program("bluetoothd", [self.root / "usr/libexec/bluetooth/bluetoothd", "-n"], **self.environment)

    def keep_service(self):
        """Starts bluetoothd again if it ended by itself, as a service manager does; that is told."""
        code = self.service.process.poll()
        if code is not None:
            say(f"note bluetoothd ended by itself with {code}; started again. Its last line: {self.service.lines[-1][1]}")
            self.start_service()
            wait_for("bluetoothd shows the radio", lambda: "Controller" in self.control("list"), 0.5)

    def switch_on(self):
        self.keep_service()
        self.control("power", "on")
        self.keep_service()

    def order(self, word):
        self.meter.mark()
        pathlib.Path("/run/peripheral").write_text(word + "\n")
        self.meter.wait(f"peripheral: {word} done", word)

    def control(self, *words):
        """What bluetoothctl says; it switches the radio, cliplead never does. At times it does what it is told and does not end."""
        command = ["timeout", "15", self.root / "usr/bin/bluetoothctl", *words]
        done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, text=True,
                              env={**os.environ, **self.environment})
        return done.stdout + done.stderr


BLE_PROFILE = """profile = 1
id = "virtual-ble-meter"
silence_ms = 3000
[frame]
kind = "packet"
[decode]
kind = "gatt"
[[decode.channel]]
number = 0
characteristic = "6b1d0002-5c1e-4b8e-9d3a-3f2a9c1e7a10"
unit = "uF"
[[decode.channel]]
number = 1
characteristic = "0x2A6E"
label = "supply air"
unit = "°C"
[[decode.channel]]
number = 2
characteristic = "0x2A6E"
label = "return air"
unit = "°C"
"""
BLE_SELECTOR = "ble:F0:A1:B2:C3:D4:E5"


def scene_ble(work):
    """A made-up BLE meter on a virtual radio, under the real kernel and the real bluetoothd: found, subscribed to, judged, dropped, silenced,
    bluetoothd killed and started, radio off and on; two temperatures of one UUID read apart."""
    radio = Radio(work)
    wait_for("bluetoothd shows the radio", lambda: "Controller" in radio.control("list"), 0.5)
    say("ok radio and meter are up, the radio is off")
    path = site([("ble", BLE_SELECTOR, "ble.toml")], ["ble", "ble"])
    (path.parent / "ble.toml").write_text(BLE_PROFILE)
    program = daemon(path)
    program.wait(r"device ble: absent: .*radio is off", "a radio that is off is told, not switched on")
    say("ok the radio that is off is told")
    at, _ = back(program, lambda: radio.control("power", "on"), "live after the radio was switched on")
    confirm_all(program)
    _, line = verdict(program, 1)
    say("ok verdict", line.strip())
    back(program, lambda: radio.order("drop"), "live after the link dropped", lost=True)
    program.mark()
    radio.order("silent")
    program.wait(r"device ble: (lost|absent)", "silence is told")
    back(program, lambda: radio.order("sound"), "live after silence")
    program.mark()
    radio.service.process.kill()
    program.wait(r"device ble: (lost|absent)", "the end of bluetoothd is told")

    def start_again():
        radio.start_service()
        wait_for("bluetoothd shows the radio", lambda: "Controller" in radio.control("list"), 0.5)
        radio.control("power", "on")
        # The kernel keeps the old connection, this one answers "disconnected" without saying so to the radio, and a virtual meter never
        # times out: it drops the link itself, as a real one does when nobody answers it (README).
        radio.order("drop")
    back(program, start_again, "live after bluetoothd was killed and started")
    program.mark()
    radio.control("power", "off")
    program.wait(r"device ble: (lost|absent)", "a radio that goes off is told")
    radio.order("drop")
    back(program, radio.switch_on, "live after the radio was off")
    program.tell("next")
    confirm_all(program)
    _, line = verdict(program, 2)
    say("ok verdict", line.strip())
    say(f"ok resident {program.resident_kib()} KiB")
    program.process.terminate()
    program.process.wait()
    radio.order("drop")
    watch = Program("watch", [os.environ["CLIPLEAD"], "devices", "watch", BLE_SELECTOR, "--profile", str(path.parent / "ble.toml"), "--count", "30"])
    for what, pattern in (("supply air", r"reading .*13\.1\d .*C"), ("return air", r"reading .*23\.9\d .*C"), ("capacitance", r"reading .*12\.4\d uF")):
        watch.seen = 0
        _, line = watch.wait(pattern, what)
        say(f"ok {what}:", line.strip())


def back(program, cause, what, lost=False):
    """Does something, and says how long it took until the meter was live again."""
    program.mark()
    began = time.monotonic()
    cause()
    if lost:
        program.wait(r"device ble: lost", f"{what}: the loss")
    at, line = program.wait(r"device ble: live", what)
    say(f"ok {what}: {at - began:.2f} s")
    return at, line


def main():
    scene, work = sys.argv[1], pathlib.Path(sys.argv[2])
    os.environ["PATH"] = f"{work}/venv/bin:/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin"
    os.environ["CLIPLEAD"] = (work / "cliplead").read_text().strip()
    os.environ["HOME"] = "/run"
    say("ok kernel", os.uname().release)
    try:
        {"serial": scene_serial, "ble": scene_ble}[scene](work)
        say("done")
    except Exception as error:
        say("failed", repr(error), *traceback.format_exc().splitlines()[-4:])
    power_off()


if __name__ == "__main__":
    main()
