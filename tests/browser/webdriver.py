"""A WebDriver client of a few calls (W3C WebDriver, plus chromedriver's CDP and log endpoints), standard library only.

Holds: starting and ending chromedriver and a headless Chromium with a fresh profile; waiting by condition.
Does not hold: anything about the dashboard.
"""

import base64
import json
import shutil
import subprocess
import tempfile
import threading
import time
import urllib.error
import urllib.request

ELEMENT = "element-6066-11e4-a52e-4f735466cecf"
FLAGS = """--headless --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking
--disable-component-update --disable-sync --disable-default-apps --hide-scrollbars --lang=en""".split()


def wait(what, condition, seconds=10.0):
    """Polls `condition` until it gives something true; fails with `what` after the deadline."""
    deadline = time.monotonic() + seconds
    pause = threading.Event()
    last = None
    while True:
        try:
            found = condition()
            if found:
                return found
        except DriverError as error:
            last = error
        if time.monotonic() > deadline:
            raise AssertionError(f"not within {seconds} s: {what}" + (f" ({last})" if last else ""))
        pause.wait(0.03)


class DriverError(Exception):
    """What chromedriver answered instead of a value."""


class Browser:
    """One Chromium under one chromedriver."""

    def __init__(self, chromedriver, chromium, extra_flags=()):
        self.profile = tempfile.mkdtemp(prefix="cliplead-browser-")
        self.driver = subprocess.Popen([chromedriver, "--port=0"], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        port = None
        for line in self.driver.stdout:
            if "started successfully on port" in line:
                port = line.strip().rstrip(".").rsplit(" ", 1)[1]
                break
        if port is None:
            raise DriverError("chromedriver ended before it was ready")
        threading.Thread(target=lambda: [None for _ in self.driver.stdout], daemon=True).start()
        self.base = f"http://127.0.0.1:{port}"
        wanted = {
            "browserName": "chrome",
            "goog:loggingPrefs": {"browser": "ALL"},
            "goog:chromeOptions": {"binary": chromium, "args": [*FLAGS, f"--user-data-dir={self.profile}", *extra_flags]},
        }
        session = self._send("POST", "/session", {"capabilities": {"alwaysMatch": wanted}})
        self.version = session["capabilities"]["browserVersion"]
        self.base += f"/session/{session['sessionId']}"

    def _send(self, method, path, body=None):
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(self.base + path, data, {"Content-Type": "application/json"}, method=method)
        try:
            with urllib.request.urlopen(request, timeout=60) as answer:
                return json.load(answer)["value"]
        except urllib.error.HTTPError as error:
            value = json.load(error)["value"]
            raise DriverError(f"{value['error']}: {value['message'].splitlines()[0]}") from None

    def close(self):
        """Ends browser and driver and removes the profile."""
        try:
            self._send("DELETE", "")
        except (DriverError, OSError):
            pass
        self.driver.terminate()
        self.driver.wait(10)
        shutil.rmtree(self.profile, ignore_errors=True)

    def cdp(self, command, **params):
        """One command of the Chrome DevTools protocol."""
        return self._send("POST", "/goog/cdp/execute", {"cmd": command, "params": params})

    def go(self, url):
        """Opens an address."""
        self._send("POST", "/url", {"url": url})

    def run(self, script, *args):
        """Runs a script in the page and gives its value."""
        return self._send("POST", "/execute/sync", {"script": script, "args": list(args)})

    def run_async(self, script, *args):
        """Runs a script that ends by calling its last argument."""
        return self._send("POST", "/execute/async", {"script": script, "args": list(args)})

    def find(self, css):
        """The one element for a selector, as an id."""
        return self._send("POST", "/element", {"using": "css selector", "value": css})[ELEMENT]

    def text(self, css):
        """Rendered text of an element."""
        return self._send("GET", f"/element/{self.find(css)}/text")

    def shown(self, css):
        """Whether an element is rendered at all."""
        return self.run("const n = document.querySelector(arguments[0]); return !!n && n.getClientRects().length > 0 && "
                        "getComputedStyle(n).visibility !== 'hidden'", css)

    def click(self, css):
        """A click where the element is."""
        self._send("POST", f"/element/{self.find(css)}/click", {})

    def type(self, css, text):
        """Keys into an element."""
        self._send("POST", f"/element/{self.find(css)}/value", {"text": text})

    def press(self, css, hold_ms, pointer="touch"):
        """Finger (or mouse) down on the element, held, and up."""
        self.run("document.querySelector(arguments[0]).scrollIntoView({block: 'center'})", css)
        at = {"type": "pointerMove", "duration": 0, "origin": {ELEMENT: self.find(css)}, "x": 0, "y": 0}
        steps = [at, {"type": "pointerDown", "button": 0}, {"type": "pause", "duration": hold_ms}, {"type": "pointerUp", "button": 0}]
        self._actions("pointer", steps, {"parameters": {"pointerType": pointer}})

    def key(self, key, hold_ms=0):
        """A key down, held, and up, for the element that has the focus."""
        self._actions("key", [{"type": "keyDown", "value": key}, {"type": "pause", "duration": hold_ms}, {"type": "keyUp", "value": key}])

    def _actions(self, kind, steps, more=None):
        source = {"type": kind, "id": kind, "actions": steps, **(more or {})}
        self._send("POST", "/actions", {"actions": [source]})
        self._send("DELETE", "/actions")

    def size(self, width, height, mobile):
        """Viewport in CSS pixels, as a phone or as a laptop."""
        self.cdp("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=2 if mobile else 1, mobile=mobile)
        self.cdp("Emulation.setTouchEmulationEnabled", enabled=mobile)

    def screenshot(self, path, whole=False):
        """PNG of the viewport, or of the whole page."""
        shot = self.cdp("Page.captureScreenshot", format="png", captureBeyondViewport=whole)
        path.write_bytes(base64.b64decode(shot["data"]))

    def log(self):
        """Console lines since the last call."""
        return [entry["message"] for entry in self._send("POST", "/se/log", {"type": "browser"})]
