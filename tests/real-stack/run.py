"""Boots a small virtual machine with a real kernel and runs cliplead against real stacks in it: `run.py SCENE...`.

Scenes: serial (USB adapter and USB gadget). Not part of the default test run; README.md tells what it needs and shows.
Exit 0: all steps of all scenes held; 1: one did not; 2: it could not run here, and why.
"""

import argparse
import json
import pathlib
import socket
import subprocess
import sys
import threading
import time

sys.path.insert(0, str(pathlib.Path(__file__).parent))
import setup  # noqa: E402

SCENES = ["serial", "ble"]
SCENE_S = 900
ADAPTER = "usb-serial,id=us0,chardev=meter,bus=xhci.0,port=1,serial=BENCH01"


class Qmp:
    """The machine's control socket."""

    def __init__(self, path):
        self.socket = connect(path)
        self.lines = self.socket.makefile("r")
        self.lines.readline()
        self.order("qmp_capabilities")

    def order(self, command, **arguments):
        self.socket.sendall(json.dumps({"execute": command, "arguments": arguments}).encode() + b"\n")
        while True:
            answer = json.loads(self.lines.readline())
            if "return" in answer or "error" in answer:
                if "error" in answer:
                    raise RuntimeError(f"{command}: {answer['error']}")
                return answer["return"]


def connect(path):
    end = time.monotonic() + 30
    while True:
        try:
            sock = socket.socket(socket.AF_UNIX)
            sock.connect(str(path))
            return sock
        except OSError:
            if time.monotonic() > end:
                raise
            time.sleep(0.1)  # tidy: allow-sleep the machine has not made its socket yet


def play_meter(path):
    """The meter behind the USB adapter: ten lines a second of the generic line meter.

    It takes what comes back too: a port that is open and not yet raw echoes, and QEMU stands still on a full socket.
    """
    sock, count = connect(path), 0
    threading.Thread(target=drain, args=(sock,), daemon=True).start()
    try:
        while True:
            value = 12.45 + (count % 3) / 100
            sock.sendall(f"CAP {value:>7.2f} {'uF':<5} {'A':<4}\r\n".encode())
            count += 1
            time.sleep(0.1)  # tidy: allow-sleep a real meter sends ten lines a second
    except OSError:
        return


def drain(sock):
    try:
        while sock.recv(4096):
            pass
    except OSError:
        return


def machine(scene, kernel, image):
    work = setup.WORK
    command = ["qemu-system-x86_64", "-accel", "tcg,thread=multi", "-smp", "2", "-m", "1024", "-nographic", "-no-reboot",
               "-kernel", kernel, "-initrd", image, "-append", "console=ttyS0 quiet panic=-1",
               "-virtfs", "local,path=/,mount_tag=host,security_model=none,readonly=on,multidevs=remap",
               "-monitor", "none", "-serial", "stdio", "-qmp", f"unix:{work}/qmp.sock,server=on,wait=off"]
    if scene == "serial":
        command += ["-device", "qemu-xhci,id=xhci", "-chardev", f"socket,id=meter,path={work}/meter.sock,server=on,wait=off",
                    "-device", ADAPTER]
    return subprocess.Popen([str(part) for part in command], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                            stderr=subprocess.STDOUT, text=True, errors="replace")


def ask(qmp, word):
    if word == "unplug":
        qmp.order("device_del", id="us0")
    elif word == "plug":
        options = dict(part.split("=") for part in ADAPTER.split(",")[1:])
        qmp.order("device_add", driver="usb-serial", **options)
    else:
        raise RuntimeError(f"the guest asks for {word!r}, which nobody knows")


def play(scene):
    kernel, image = setup.prepare(scene)
    began = time.monotonic()
    vm = machine(scene, kernel, image)
    watchdog = threading.Timer(SCENE_S, vm.kill)
    watchdog.start()
    done = False
    log = (setup.WORK / f"{scene}.log").open("w", buffering=1)
    try:
        qmp = Qmp(setup.WORK / "qmp.sock")
        if scene == "serial":
            threading.Thread(target=play_meter, args=(setup.WORK / "meter.sock",), daemon=True).start()
        for line in vm.stdout:
            log.write(line)
            _, mark, words = line.partition("REAL-STACK ")
            if not mark:
                continue
            words = words.strip()
            print(f"{scene} {time.monotonic() - began:6.1f} s  {words}", flush=True)
            if words.startswith("ask "):
                ask(qmp, words.removeprefix("ask "))
            done = done or words == "done"
    finally:
        watchdog.cancel()
        vm.kill()
        vm.wait()
        log.close()
    if not done:
        print(f"{scene}: did not come to its end; the console is in target/real-stack/{scene}.log", flush=True)
    return done


def main():
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("scenes", nargs="*", default=SCENES, metavar="SCENE", help=f"of {', '.join(SCENES)}")
    options.add_argument("--binary", type=pathlib.Path, help="the cliplead to run; built by cargo when left out")
    given = options.parse_args()
    unknown = [scene for scene in given.scenes if scene not in SCENES]
    if unknown:
        options.error(f"no such scene: {', '.join(unknown)}")
    try:
        setup.need_tools()
        setup.WORK.mkdir(parents=True, exist_ok=True)
        if not given.binary:
            subprocess.run(["cargo", "build", "--locked"], cwd=setup.ROOT, check=True)
        binary = given.binary or setup.ROOT / "target" / "debug" / "cliplead"
        (setup.WORK / "cliplead").write_text(str(binary.resolve()))
        held = [play(scene) for scene in given.scenes]
    except (setup.Missing, subprocess.CalledProcessError, OSError, RuntimeError) as why:
        print(f"real-stack: could not run: {why}", file=sys.stderr)
        return 2
    print(f"{sum(held)} passed, {len(held) - sum(held)} failed")
    return 0 if all(held) else 1


if __name__ == "__main__":
    sys.exit(main())
