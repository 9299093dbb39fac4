"""Drives the dashboard in a real headless Chromium: `python3 tests/browser/run.py`.

Needs chromium and chromedriver (found on PATH, or named by flags) and builds the fixture server with cargo. Standard
library only. Exit 0: every test passed; 1: one failed; 2: could not run. Screenshots go to target/screenshots.
"""

import argparse
import json
import pathlib
import queue
import re
import shutil
import signal
import subprocess
import sys
import threading
import time
import traceback

sys.path.insert(0, str(pathlib.Path(__file__).parent))
import tests as cases  # noqa: E402
import round_cases  # noqa: E402,F401  (its tests join those of `tests`)
from webdriver import Browser  # noqa: E402

ROOT = pathlib.Path(__file__).resolve().parents[2]


class Fixture:
    """The fixture server as a process: views in by stdin, actions out by stdout."""

    def __init__(self, binary, address="127.0.0.1:0"):
        self.process = subprocess.Popen([binary, address], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        ready = self.process.stdout.readline()
        found = re.match(r"ready (http://([^/]+)/)", ready)
        if not found:
            raise RuntimeError(f"the fixture said {ready!r} instead of its address")
        self.url, self.address = found.groups()
        self.port = int(self.address.rsplit(":", 1)[1])
        self.lines = queue.Queue()
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self):
        for line in self.process.stdout:
            self.lines.put(json.loads(line))

    def order(self, line):
        """One line to its stdin."""
        self.process.stdin.write(line + "\n")
        self.process.stdin.flush()

    def show(self, view):
        """The next view."""
        self.order(json.dumps(view))

    def list_route(self, route):
        """The list of the route from now on; a view with another `rev` has the page ask for it."""
        self.order("route " + json.dumps(route))

    def action(self, seconds=10):
        """The next action that arrived."""
        return self.lines.get(timeout=seconds)

    def none_arrived(self):
        """True when no action is waiting to be read."""
        return self.lines.empty()

    def signal(self, number):
        """A signal to the process: STOP and CONT make a server that hangs and comes back."""
        self.process.send_signal(number)

    def kill(self):
        """Ends it the hard way."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGCONT)
            self.process.kill()
        self.process.wait(10)


class Bench:
    """What a test gets: the browser, a fresh fixture, and a place for screenshots."""

    def __init__(self, binary, browser, shots, renew_picture=False):
        self.binary, self.browser, self.shots, self.root = binary, browser, shots, ROOT
        self.renew_picture = renew_picture
        self.fixture = None

    def start(self, address="127.0.0.1:0"):
        """A fresh fixture."""
        self.stop()
        self.fixture = Fixture(self.binary, address)
        return self.fixture

    def stop(self):
        """Ends the fixture, if one runs."""
        if self.fixture:
            self.fixture.kill()
            self.fixture = None


def build_fixture():
    command = ["cargo", "build", "--quiet", "--package", "dashboard", "--example", "fixture", "--message-format=json"]
    done = subprocess.run(command, cwd=ROOT, stdout=subprocess.PIPE, text=True, check=True)
    made = [json.loads(line).get("executable") for line in done.stdout.splitlines() if line.startswith("{")]
    return [path for path in made if path][-1]


def main():
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--fixture", help="the built example `fixture`; built by cargo when left out")
    options.add_argument("--chromium", default=shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome"))
    options.add_argument("--chromedriver", default=shutil.which("chromedriver"))
    options.add_argument("--shots", type=pathlib.Path, default=ROOT / "target" / "screenshots")
    options.add_argument("--renew-picture", action="store_true", help="write the README's picture of the page anew; runs that test alone")
    options.add_argument("names", nargs="*", help="only tests whose name holds one of these")
    given = options.parse_args()
    if not given.chromium or not given.chromedriver:
        print("browser tests: no chromium or no chromedriver; install both (Debian: apt-get install chromium chromium-driver)", file=sys.stderr)
        return 2
    try:
        binary = given.fixture or build_fixture()
    except (subprocess.CalledProcessError, OSError, IndexError) as error:
        print(f"browser tests: the fixture was not built: {error}", file=sys.stderr)
        return 2
    given.shots.mkdir(parents=True, exist_ok=True)
    try:
        browser = Browser(given.chromedriver, given.chromium, cases.EXTRA_FLAGS)
    except Exception as error:  # whatever kept it from starting is the message
        print(f"browser tests: Chromium did not start: {error}", file=sys.stderr)
        return 2
    print(f"Chromium {browser.version}, fixture {binary}")
    bench = Bench(binary, browser, given.shots, given.renew_picture)
    if given.renew_picture:
        given.names = ["the_picture_in_the_readme"]
    chosen = [t for t in cases.TESTS if not given.names or any(n in t.__name__ for n in given.names)]
    failed = 0
    try:
        for test in chosen:
            began = time.monotonic()
            try:
                test(bench)
                print(f"ok     {test.__name__} ({time.monotonic() - began:.1f} s)", flush=True)
            except Exception:
                failed += 1
                print(f"FAILED {test.__name__}\n{traceback.format_exc()}", flush=True)
            finally:
                bench.stop()
    finally:
        browser.close()
    print(f"{len(chosen) - failed} passed, {failed} failed, {len(cases.TESTS) - len(chosen)} not chosen")
    return 1 if failed or not chosen else 0


if __name__ == "__main__":
    sys.exit(main())
