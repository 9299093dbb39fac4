"""The dashboard of a running `cliplead demo` in a real browser: phone and laptop, a verdict, a daemon that is gone.

Does not go through the states of the page one by one, nor judge its look; screenshots go to the target directory.
Needs CLIPLEAD_BIN; run by `cargo xtask test --only browser`.
"""

import os
import queue
import re
import shutil
import subprocess
import threading
import urllib.request
from pathlib import Path

import pytest
from webdriver import Browser, wait

SIZES = {"phone": (360, 780, True), "laptop": (1280, 800, False)}
START_S = 60
PAGE_BYTES_MAX = 80 * 1024
VERDICT = re.compile(r"\b(conditional pass|conditional fail|no verdict|pass|fail)\b", re.IGNORECASE)
# What the page must say when the daemon is gone, and how soon (the project's own promise).
LOST = re.compile(r"\b(lost|no link|not connected)\b", re.IGNORECASE)
LOST_WITHIN_S = 5
# How the page's main part looks, with all that it stands in: it must not look the same once the daemon is gone.
LOOK = """
    let look = '';
    for (let node = document.querySelector('main'); node; node = node.parentElement) {
        const style = getComputedStyle(node);
        look += [style.opacity, style.filter, style.color, style.backgroundColor, style.visibility].join(' ') + ';';
    }
    return look;
"""


class Demo:
    """`cliplead demo --stay` in a folder of its own."""

    def __init__(self, folder: Path):
        binary = os.environ.get("CLIPLEAD_BIN")
        assert binary, "CLIPLEAD_BIN names no binary: run `cargo xtask test --only browser`"
        self.process = subprocess.Popen(
            [binary, "demo", "--stay"],
            cwd=folder,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        self.lines: queue.Queue[str] = queue.Queue()
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self):
        for line in self.process.stdout:
            self.lines.put(line)
        self.lines.put("")

    def address(self) -> str:
        """The dashboard's address, which the demo prints."""
        said = []
        while True:
            try:
                line = self.lines.get(timeout=START_S)
            except queue.Empty:
                line = ""
            assert line, f"the demo printed no address; it said:\n{''.join(said)}"
            said.append(line)
            if found := re.search(r"http://(127\.0\.0\.1|localhost|\[::1\]):\d+[^\s\"']*", line):
                return found.group(0)

    def end(self):
        self.process.kill()
        self.process.wait()


@pytest.fixture(scope="module")
def browser():
    chromedriver, chromium = shutil.which("chromedriver"), shutil.which("chromium")
    assert chromedriver and chromium, "no chromium and chromedriver: `cargo xtask test --only browser` installs them"
    running = Browser(chromedriver, chromium)
    yield running
    running.close()


@pytest.fixture
def demo(tmp_path):
    running = Demo(tmp_path)
    yield running
    running.end()


def picture(name: str) -> Path:
    """Where a screenshot goes: `screenshots` in the target directory."""
    folder = Path(os.environ["CLIPLEAD_BIN"]).resolve().parents[1] / "screenshots"
    folder.mkdir(parents=True, exist_ok=True)
    return folder / f"demo-{name}.png"


def read(browser: Browser) -> str:
    """What a person reads on the page."""
    return browser.run("return document.body.innerText")


def wait_for(browser: Browser, words: re.Pattern, seconds: float):
    wait(f"{words.pattern} on the page", lambda: words.search(read(browser)), seconds)


@pytest.mark.parametrize("size", SIZES)
def test_a_verdict_is_shown_and_nothing_is_cut_off(size, browser, demo):
    browser.size(*SIZES[size])
    browser.go("about:blank")  # so that what a page before complained about is not laid to this one
    browser.log()
    browser.go(demo.address())
    wait_for(browser, VERDICT, START_S)
    browser.screenshot(picture(f"{size}-verdict"))
    assert browser.run("return document.title")
    assert browser.run("return document.documentElement.scrollWidth <= window.innerWidth"), "it scrolls sideways"
    assert browser.log() == []


def test_the_page_is_small_and_asks_no_one_else(browser, demo):
    address = demo.address()
    browser.go(address)
    wait("the page is there", lambda: browser.run("return document.readyState === 'complete'"))
    origin = browser.run("return location.origin")
    loaded = browser.run("return performance.getEntriesByType('resource').map(entry => entry.name)")
    assert [url for url in loaded if not url.startswith(origin)] == []
    with urllib.request.urlopen(address, timeout=10) as answer:
        page = answer.read()
    assert len(page) <= PAGE_BYTES_MAX, f"{len(page)} bytes"


@pytest.mark.parametrize("size", SIZES)
def test_a_page_that_lost_its_daemon_says_so(size, browser, demo):
    browser.size(*SIZES[size])
    browser.go(demo.address())
    wait_for(browser, VERDICT, START_S)
    assert not LOST.search(read(browser)), read(browser)
    live = browser.run(LOOK)
    demo.end()
    wait_for(browser, LOST, LOST_WITHIN_S)
    assert browser.run(LOOK) != live, "a lost page looks like a live one"
    browser.screenshot(picture(f"{size}-lost"))
