"""A bus of its own, the Bluetooth service of `bluetooth_peer.py` on it, and cliplead before it: starts them, waits, ends them.

Does not say what cliplead must do; `test_bluetooth.py` does. Waits are for what was said or called; `HANG_S` bounds a hang.
"""

import json
import os
import subprocess
import threading
import time
from pathlib import Path

from cli import binary

HANG_S = 60
PEER = Path(__file__).with_name("bluetooth_peer.py")
# python-dbusmock and its D-Bus library are packages of the distribution, for its own Python.
SYSTEM_PYTHON = "/usr/bin/python3"
BUS = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-BUS Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig>
  <type>custom</type>
  <listen>unix:path={path}</listen>
  <auth>EXTERNAL</auth>
  <policy context="default">
    <allow send_destination="*" eavesdrop="true"/>
    <allow eavesdrop="true"/>
    <allow own="*"/>
  </policy>
</busconfig>
"""


def binary_of(scheme: str) -> str:
    """The build that has this backend."""
    return binary() if scheme == "ble" else os.environ["CLIPLEAD_PORTABLE_BIN"]


class Program:
    """A program whose lines are heard as they come."""

    def __init__(self, bench, command: list, stdout=subprocess.PIPE):
        self.bench, self.command, self.out, self.err, self.open = bench, command, [], [], 0
        env = {**os.environ, "DBUS_SYSTEM_BUS_ADDRESS": bench.address, "PYTHONDONTWRITEBYTECODE": "1"}
        pipe = subprocess.PIPE
        self.process = subprocess.Popen(command, stdin=pipe, stdout=stdout, stderr=pipe, text=True, env=env)
        streams = [(self.process.stdout, self.out), (self.process.stderr, self.err)]
        self.threads = [threading.Thread(target=self.hear, args=s, daemon=True) for s in streams if s[0]]
        self.open = len(self.threads)
        for thread in self.threads:
            thread.start()

    def hear(self, stream, lines: list):
        for line in stream:
            with self.bench.news:
                lines.append(line.rstrip("\n"))
                self.bench.news.notify_all()
        with self.bench.news:
            self.open -= 1
            self.bench.news.notify_all()

    def ended(self) -> int:
        """Waits for the end, and gives its code; below 0: a signal killed it."""
        try:
            code = self.process.wait(HANG_S)
        except subprocess.TimeoutExpired:
            raise AssertionError(f"no end in {HANG_S} s: {self.command}\n{self.bench}") from None
        for thread in self.threads:
            thread.join(HANG_S)
        return code

    def kill(self):
        if self.process.poll() is None:
            self.process.kill()
        self.ended()
        for stream in (self.process.stdin, self.process.stdout, self.process.stderr):
            if stream:
                stream.close()

    def __str__(self) -> str:
        return f"$ {' '.join(map(str, self.command))}\n" + "\n".join(["stdout:", *self.out[-40:], "stderr:", *self.err[-40:]])


class Cliplead(Program):
    """The product."""

    def said(self, words: str) -> int:
        """How many lines of talk hold these words."""
        return sum(words in line for line in self.err)


class Peer(Program):
    """The service: takes commands, tells calls."""

    def __init__(self, bench, log: Path):
        self.log = log
        super().__init__(bench, [SYSTEM_PYTHON, str(PEER), str(log)])
        self.answered = 0

    def answer(self):
        def found():
            answers = [line for line in self.out if not line.startswith('{"call"')]
            return answers[self.answered :]

        line = self.bench.wait_for(self, "an answer of the peer", found)[0]
        told = json.loads(line)
        assert "failed" not in told, f"the peer does not work\n{self}"
        self.answered += 1
        return told["answer"]

    def do(self, command: str, **arguments):
        self.process.stdin.write(json.dumps([command, arguments]) + "\n")
        self.process.stdin.flush()
        return self.answer()

    def calls(self) -> list:
        return [json.loads(line)["call"] for line in self.out if line.startswith('{"call"')]


class Bench:
    """A bus, one service after the other on it, and the programs before it."""

    def __init__(self, folder: Path):
        self.folder, self.news = folder, threading.Condition()
        self.programs, self.peers, self.last = [], [], None
        socket, config = folder / "bus", folder / "bus.conf"
        self.address = f"unix:path={socket}"
        config.write_text(BUS.format(path=socket), encoding="utf-8")
        command = ["dbus-daemon", f"--config-file={config}", "--nofork", "--nopidfile", "--print-address=1"]
        self.daemon = self.start(Program(self, command))
        self.wait_for(self.daemon, "the bus", lambda: self.daemon.out)

    def start(self, program):
        self.programs.append(program)
        return program

    def serve(self):
        """The service starts, without a radio."""
        self.peers.append(self.start(Peer(self, self.folder / f"mock-{len(self.peers)}.log")))
        self.peer.answer()

    @property
    def peer(self) -> Peer:
        return self.peers[-1]

    def cliplead(self, scheme: str, *arguments: str, stdout=subprocess.PIPE) -> Cliplead:
        self.last = self.start(Cliplead(self, [binary_of(scheme), *arguments], stdout))
        return self.last

    def wait(self, what: str, found):
        """Waits until `found` gives something true, and gives it; cliplead must still run until then."""
        return self.wait_for(self.last, what, found)

    def wait_for(self, program: Program, what: str, found):
        end = time.monotonic() + HANG_S
        with self.news:
            while not (got := found()):
                assert program.open, f"{what} did not come, the program ended\n{self}"
                left = end - time.monotonic()
                assert left > 0, f"{what} did not come in {HANG_S} s\n{self}"
                self.news.wait(left)
            return got

    def calls(self, method: str | None = None) -> list:
        """All calls that came to the service, or those of one method, in their order."""
        calls = [call for peer in self.peers for call in peer.calls()]
        return [call for call in calls if method in (None, call["method"])]

    def close(self):
        for program in reversed(self.programs):
            program.kill()

    def __repr__(self) -> str:
        calls = [f"{c['sender']} {c['path']} {c['method']}" for c in self.calls()]
        return "\n".join([*map(str, self.programs[1:]), "calls:", *calls[-60:]])
