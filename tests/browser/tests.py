"""What the page promises, one function per promise. `bench` has the browser and starts fixture servers.

Does not start anything by itself; `run.py` does. No test waits for a fixed time: each waits for its condition.
"""

import http.server
import json
import signal
import threading
import time
import urllib.request

import picture
import views
from webdriver import wait

# A name that leads to this machine, as in a DNS rebinding attack.
EXTRA_FLAGS = ["--host-resolver-rules=MAP rebound.example 127.0.0.1"]
SIZES = {"phone": (360, 740, True), "tall-phone": (412, 915, True), "laptop": (1280, 800, False), "sideways": (740, 360, True)}
STATES = {
    **{word.replace(" ", "-"): (lambda word=word: views.judged(word)) for word in views.VERDICTS},
    "hold-point": views.asking_hold,
    "hold-by-meter": lambda: views.asking_hold(1),
    "measuring": views.base,
    "typing": views.typing,
    "question": views.question,
    "proof-source": views.proving,
    "proof-pair": lambda: views.proving(2, "L3-L1"),
    "proof-question": views.proof_question,
    "proof-live": lambda: views.proving(alarm="L1-G reads 120.4 V ac: LIVE. Hands off, leads off. Find what feeds it, lock it out, and begin anew"),
    "past": lambda: views.judged("pass", live=False),
    "unsaved": views.unsaved,
    "waiting": views.waiting,
    "early-pass": views.early,
    "early-fail": lambda: views.early("fail", text="at most 42.3 uF, settling", ends=(39.1, 42.24)),
    "early-conditional-pass": lambda: views.early("conditional pass", text="between 47.1 and 48.9 uF, settling", ends=(47.13, 48.87)),
    "figure": lambda: views.early(figure=50.02),
    "figure-fail": lambda: views.early("fail", figure=41.28),
    "amended": views.amended,
    "amended-to-pass": lambda: views.amended(said="fail", word="pass"),
    "amended-conditional": lambda: views.amended(word="conditional fail"),
    "amended-past": lambda: views.amended(live=False),
    "amended-unsaved": views.amended_unsaved,
    "danger": views.danger,
    "danger-gone": lambda: views.danger(live=False),
    "danger-unsaved": views.danger_unsaved,
    "saving": views.saving,
    "paused": views.paused,
    "route-ended": views.route_ended,
    "in-visit": views.in_visit,
    "held-elsewhere": views.held_elsewhere,
}
TESTS = []
WATCH = """window.violations = []; window.shapesSeen = []; window.greys = 0; window.inertSeen = 0;
new MutationObserver(list => list.forEach(m => { if (m.target.inert) inertSeen += 1; })).observe(document, {subtree: true, attributes: true, attributeFilter: ['inert']});
new MutationObserver(list => list.forEach(m => { if (document.body && m.target === document.body && document.body.classList.contains('nolink')
  && !/nolink/.test(m.oldValue)) greys += 1; })).observe(document, {subtree: true, attributes: true, attributeFilter: ['class'], attributeOldValue: true});
addEventListener('securitypolicyviolation', e => violations.push(e.violatedDirective + ' ' + e.blockedURI));
new MutationObserver(() => document.querySelectorAll('#verdict svg[data-shape]').forEach(n => {
  if (!document.getElementById('verdict').hidden) shapesSeen.push(n.dataset.shape); })).observe(document, {subtree: true, childList: true, attributes: true});"""


def test(function):
    TESTS.append(function)
    return function


def open_page(bench, view, size="phone", address="127.0.0.1:0"):
    """Starts a fixture with a view and opens the page on it."""
    fixture = bench.start(address)
    fixture.show(view)
    browser = bench.browser
    browser.size(*SIZES[size])
    if not getattr(browser, "watched", False):
        browser.cdp("Page.addScriptToEvaluateOnNewDocument", source=WATCH)
        browser.watched = True
    browser.go("about:blank")
    browser.log()
    browser.go(fixture.url)
    wait("the page is linked", lambda: browser.run("return !document.body.classList.contains('nolink')"))
    wait("the view is drawn", lambda: browser.text("#unit") == (view["check"] or {}).get("unit", "No check armed"))
    return fixture


def greyed(browser):
    return browser.run("return document.body.classList.contains('nolink')") and browser.shown("#link") and not browser.shown("#glyph svg")


def ready(browser):
    """Waits until the last action is answered and the panel takes presses."""
    wait("the panel takes presses", lambda: browser.run("return !document.getElementById('panel').inert && !document.body.classList.contains('busy')"))


def live_shape(browser):
    """The shape that stands as a live verdict, or None."""
    return browser.run("const n = document.querySelector('#verdict svg[data-shape]'); const b = document.getElementById('verdict');"
                       "return n && !b.hidden && !document.body.classList.contains('nolink') && n.getClientRects().length ? n.dataset.shape : null")


@test
def five_verdicts_differ_in_word_shape_and_place(bench):
    browser = bench.browser
    fixture = open_page(bench, views.base())
    assert live_shape(browser) is None
    seen = {}
    for word in views.VERDICTS:
        fixture.show(views.judged(word))
        wait(f"shape of {word}", lambda: live_shape(browser) == word.replace(" ", "-"))
        assert " ".join(browser.text("#word").lower().split()) == word
        shape = browser.run("const s = document.querySelector('#glyph svg'); return [s.innerHTML, s.getBoundingClientRect().left,"
                            "[...document.querySelectorAll('#rail i')].findIndex(i => i.className === 'on')]")
        advice = views.VERDICTS[word][1] or views.VERDICTS[word][2]
        assert advice in browser.text("#verdict")
        covered = browser.run("const a = [...document.querySelectorAll('#advice, #reason')].filter(n => n.getClientRects().length).pop();"
                              "return a.getBoundingClientRect().bottom - document.getElementById('act').getBoundingClientRect().top")
        assert covered <= 0, f"{word}: the buttons cover {covered:.0f} px of what to do"
        seen[word] = shape
    for column in range(3):
        assert len({json.dumps(shape[column]) for shape in seen.values()}) == 5, (column, seen)
    area = browser.run("const r = document.getElementById('verdict').getBoundingClientRect(); return r.width * r.height / innerWidth / innerHeight")
    assert area > 0.3, f"shape and word take {area:.2f} of the phone's screen"


@test
def every_state_fits_both_sizes_and_is_pictured(bench):
    browser = bench.browser
    for size, (width, _, mobile) in SIZES.items():
        fixture = open_page(bench, views.base(), size)
        for number, (name, make) in enumerate(STATES.items()):
            view = make()
            view["check"]["number"] = 100 + number
            fixture.show(view)
            wait(f"{name} is drawn", lambda: f"check {100 + number}" in browser.text("#site"))
            wide = browser.run("return [document.documentElement.scrollWidth, innerWidth]")
            assert wide[0] <= width and wide[1] == width, f"{name} at {size}: {wide}"
            out = browser.run("return [...document.querySelectorAll('main *')].filter(n => { const r = n.getBoundingClientRect();"
                              "const c = (n.closest('.col') || n).getBoundingClientRect(); const right = c.width ? c.right : innerWidth;"
                              "return r.width && (r.right > right + 1 || r.left < Math.min(0, c.left) - 1) && !n.closest('svg'); }).map(n => n.tagName + n.id + n.className)")
            assert out == [], f"{name} at {size} runs over: {out}"
            small = browser.run("return [...document.querySelectorAll('button:not(#open-top), input, summary')].filter(n => n.getClientRects().length)"
                                ".map(n => [n.innerText, n.getBoundingClientRect().height]).filter(([, h]) => h < 96)")
            assert small == [], f"{name} at {size}: too small for a glove: {small}"
            browser.screenshot(bench.shots / f"{size}-{name}.png")
            if name in ("fail", "hold-point"):
                browser.screenshot(bench.shots / f"{size}-{name}-whole.png", whole=True)
        main = browser.run("return [...document.querySelectorAll('#act .main')].map(n => n.getBoundingClientRect()).map(r => [r.top, r.height, innerHeight])")
        assert all(height >= 120 for _, height, _ in main), main
    assert browser.run("return violations") == []


@test
def the_picture_in_the_readme_shows_this_page(bench):
    """Draws it anew, beside the other screenshots; `--renew-picture` puts it where the README shows it."""
    browser = bench.browser
    open_page(bench, views.judged("conditional pass"))
    wait("the ruler is drawn", lambda: browser.shown(".ruler"))
    drawn = picture.digest(browser, SIZES["phone"])
    made = bench.shots / "page.png"
    browser.screenshot(made)
    made.write_bytes(picture.signed(made.read_bytes(), drawn))
    kept = bench.root / picture.PATH
    if bench.renew_picture:
        kept.write_bytes(made.read_bytes())
    renew = "look at the page, then: python3 tests/browser/run.py --renew-picture"
    data = kept.read_bytes()
    assert picture.shown_by(data) == drawn, f"{picture.PATH} shows another page than the one drawn now; {renew}"
    assert len(data) <= picture.BYTES_MAX, f"{picture.PATH} has {len(data)} bytes, {picture.BYTES_MAX} is the most"


@test
def the_main_button_is_in_the_lower_half_of_a_phone(bench):
    browser = bench.browser
    fixture = open_page(bench, views.base())
    for number, name in enumerate(["pass", "fail", "no-verdict", "hold-point", "question", "typing"]):
        view = STATES[name]()
        view["check"]["number"] = 200 + number
        fixture.show(view)
        wait("drawn", lambda: f"check {200 + number}" in browser.text("#site"))
        top, bottom, height = browser.run("const r = document.querySelector('#act .main').getBoundingClientRect(); return [r.top, r.bottom, innerHeight]")
        assert top >= height / 2 - 1 and bottom <= height + 1, (name, top, bottom, height)
        if name == "hold-point":
            caution = browser.run("const r = document.querySelector('#panel .caution').getBoundingClientRect(); return [r.top, r.bottom]")
            assert caution[0] > 0 and caution[1] <= top, f"the caution stands above its button, on the screen: {caution}, {top}"


@test
def the_ruler_shows_value_limits_guard_and_uncertainty(bench):
    browser = bench.browser
    fixture = open_page(bench, views.judged("conditional pass"))
    label = browser.run("return document.querySelector('.ruler').getAttribute('aria-label')")
    assert label == "capacitance: 47.4 uF, limits 47 to 53, expanded uncertainty 0.7, guard band 0.7", label
    x = browser.run("const box = c => [...document.querySelectorAll(c)].map(n => n.getBBox()).map(b => [b.x, b.x + b.width]);"
                    "return {sure: box('.sure'), guard: box('.guard'), post: box('.post'), needle: box('.needle'), whisker: box('.whisker')}")
    low, high = x["post"][0][0], x["post"][1][0]
    per_unit = (high - low) / 6.0
    near = lambda a, b: abs(a - b) < 0.6
    assert near(x["sure"][0][0], low + 0.7 * per_unit) and near(x["sure"][0][1], high - 0.7 * per_unit), x
    assert len(x["guard"]) == 4 and near(sum(x["needle"][0]) / 2, low + 0.4 * per_unit), x
    assert near(x["whisker"][0][1] - x["whisker"][0][0], 1.4 * per_unit), x
    for change, posts in [({"high": None}, 1), ({"low": None}, 1), ({"value": 400.0}, 2), ({"guard": 9.0}, 2), ({"value": None}, 2)]:
        view = views.judged("pass")
        view["check"]["ruler"].update(change)
        fixture.show(view)
        wait(f"{change}", lambda: browser.run("return document.querySelectorAll('.post').length") == posts
             and browser.run("return document.querySelectorAll('.needle').length") == (0 if "value" in change and change["value"] is None else 1))
        inside = browser.run("const w = 328; return [...document.querySelectorAll('.ruler > rect, .ruler > path, .ruler > text')].map(n => n.getBBox())"
                             ".every(b => b.x >= -1 && b.x + b.width <= w + 1)")
        assert inside, f"{change}: something is drawn beyond the ruler"


@test
def holding_the_button_confirms_and_a_short_press_does_not(bench):
    browser = bench.browser
    fixture = open_page(bench, views.asking_hold())
    ready(browser)
    for pointer in ("touch", "mouse"):
        browser.press("#panel .hold", 150, pointer)
        wait("the button is let go", lambda: not browser.shown("#panel .held") and "press and hold" in browser.text("#panel .hint"))
        assert fixture.none_arrived()
        browser.press("#panel .hold", 1300, pointer)
        assert fixture.action() == {"check": 3, "action": {"do": "confirm", "hold_point": "locked out"}}
        wait("taken", lambda: browser.text("#panel .hint") == "taken")
    assert fixture.none_arrived(), "one hold is one action"


@test
def the_keyboard_confirms_by_holding_or_by_a_second_press(bench):
    browser = bench.browser
    fixture = open_page(bench, views.asking_hold(), "laptop")
    ready(browser)
    browser.run("document.querySelector('#panel .hold').focus()")
    browser.key("\ue007", 1300)
    assert fixture.action()["action"]["do"] == "confirm"
    wait("taken", lambda: browser.text("#panel .hint") == "taken")
    browser.key("\ue007")
    wait("asked again", lambda: "press again" in browser.text("#panel .hint"))
    assert fixture.none_arrived()
    browser.key("\ue007")
    assert fixture.action()["action"] == {"do": "confirm", "hold_point": "locked out"}


@test
def a_hold_point_that_the_meter_can_show_can_also_be_confirmed(bench):
    """A meter without a link is typed in; its reader must be able to confirm what no stream shows."""
    browser = bench.browser
    fixture = open_page(bench, views.asking_hold(1))
    assert "proved dead" in browser.text("#panel") and "The meter can show this one" in browser.text("#panel")
    ready(browser)
    browser.press("#panel .hold", 1300)
    assert fixture.action()["action"] == {"do": "confirm", "hold_point": "proved dead"}


@test
def a_proof_names_its_source_and_each_pair_and_its_question_is_held(bench):
    """A source from the list or in words of one's own, the next pair by a button; a yes that shows a hold point is no tap."""
    browser = bench.browser
    fixture = open_page(bench, views.proving())
    ready(browser)
    browser.click("#panel .two .main")
    assert fixture.action() == {"check": 3, "action": {"do": "source", "what": "proving unit"}}
    ready(browser)
    browser.type("#typed", "receptacle beside RTU-12")
    browser.click("#entry button[type=submit]")
    assert fixture.action()["action"] == {"do": "source", "what": "receptacle beside RTU-12"}
    browser.type("#typed", "half a na")
    fixture.show(views.proving(0, "L1-L2", freely=True))
    wait("the first pair", lambda: "On L1 to L2" in browser.text("#panel"))
    ready(browser)
    assert browser.run("return document.getElementById('typed').value") == "", "what was half a source is no pair"
    browser.click("#panel .main")
    assert fixture.action()["action"] == {"do": "on", "pair": "L1-L2"}
    browser.type("#typed", "L1-L3\ue007")
    assert fixture.action()["action"] == {"do": "on", "pair": "L1-L3"}
    fixture.show(views.proving(2, "L3-L1"))
    wait("two are read", lambda: "L2-L3 0.8 V ac" in browser.text("#panel") and not browser.shown("#entry form"))
    fixture.show(STATES["proof-live"]())
    wait("the alarm", lambda: "LIVE" in browser.text("#panel .alarm"))
    fixture.show(views.proof_question())
    wait("the question", lambda: browser.text("#panel").startswith("Question"))
    ready(browser)
    browser.press("#panel .hold", 150)
    browser.press("#panel .hold", 1300)
    assert fixture.action()["action"] == {"do": "answer", "question": 7, "yes": True}
    assert fixture.none_arrived(), "a short press is no yes"


@test
def a_typed_value_is_sent_and_a_refusal_is_shown(bench):
    browser = bench.browser
    fixture = open_page(bench, views.typing())
    assert browser.run("return document.getElementById('typed').inputMode") == "decimal"
    ready(browser)
    fixture.order("refuse 390 uF is far from the plate's 50 uF; look at the decimal point")
    browser.type("#typed", "390")
    # The feed goes on under the typing hand; what was typed stays.
    later = views.typing()
    later["seq"], later["site"] = 2, "Mill Yard, east"
    fixture.show(later)
    wait("the later view", lambda: "east" in browser.text("#site"))
    assert browser.run("return document.getElementById('typed').value") == "390"
    browser.click("#entry button[type=submit]")
    assert fixture.action() == {"check": 3, "action": {"do": "typed", "point": "capacitance", "value": "390 uF"}}
    wait("the refusal", lambda: "look at the decimal point" in browser.text("#refusal"))
    browser.screenshot(bench.shots / "phone-refused.png")
    fixture.order("accept")
    browser.run("document.getElementById('typed').value = ''")
    browser.type("#typed", "49.8\ue007")
    assert fixture.action()["action"]["value"] == "49.8 uF"
    wait("the refusal is gone", lambda: not browser.shown("#refusal"))


@test
def question_next_again_withdraw_energised_and_finish_are_sent(bench):
    browser = bench.browser
    fixture = open_page(bench, views.question())
    assert browser.run("return inertSeen") > 0, "a press meant for what stood there before is not taken"
    ready(browser)
    browser.click("#panel .two button:nth-child(2)")
    assert fixture.action() == {"check": 3, "action": {"do": "answer", "question": 7, "yes": False}}
    ready(browser)
    browser.click("#panel .two button:nth-child(1)")
    assert fixture.action()["action"] == {"do": "answer", "question": 7, "yes": True}
    fixture.show(views.judged("pass"))
    wait("done", lambda: live_shape(browser) == "pass" and browser.text("#panel").startswith("Again"))
    ready(browser)
    browser.click("#panel .two button:nth-child(1)")
    assert fixture.action()["action"] == {"do": "again"}
    ready(browser)
    browser.click("#panel .two button:nth-child(2)")
    assert fixture.action()["action"] == {"do": "next"}
    ready(browser)
    browser.run("document.querySelector('#holds details').open = true")
    browser.press("#holds .side", 50, "mouse")
    assert fixture.action()["action"] == {"do": "withdraw", "hold_point": "locked out"}
    ready(browser)
    fixture.show(views.paused())
    wait("paused", lambda: browser.text("#panel").startswith("Paused"))
    ready(browser)
    browser.click("#panel .main")
    assert fixture.action() == {"check": 3, "action": {"do": "resume"}}
    ready(browser)
    assert "spades tight" in browser.text("#owed"), browser.text("#owed")
    browser.press("#owed .hold", 50)
    browser.press("#owed .hold", 1300)
    assert fixture.action() == {"check": None, "action": {"do": "restored", "what": views.paused()["owed"][0]}}
    fixture.show(views.route_ended())
    wait("the end of the route", lambda: "7 of 9" in browser.text("#panel") and not browser.shown("#owed"))
    ready(browser)
    browser.click("#panel .two button:nth-child(1)")
    assert fixture.action()["action"] == {"do": "back"}
    ready(browser)
    browser.click("#panel .main:not(.second)")
    assert fixture.action()["action"] == {"do": "close"}
    fixture.show({"check": None})
    wait("idle", lambda: "No check is armed" in browser.text("#panel"))
    ready(browser)
    browser.click("#panel .main:not(.second)")
    assert fixture.action() == {"check": None, "action": {"do": "next"}}


def greys_in_time(bench, lose, what):
    browser = bench.browser
    fixture = open_page(bench, views.judged("pass"))
    wait("a live verdict", lambda: live_shape(browser) == "pass")
    lost = time.monotonic()
    lose(fixture)
    wait(f"greyed after {what}", lambda: greyed(browser), 8)
    took = time.monotonic() - lost
    assert took <= 5.0, f"greyed {took:.1f} s after {what}"
    wait("the seconds are counted", lambda: "NO LINK 5 s" in browser.text("#link"), 8)
    word = browser.run("const s = getComputedStyle(document.querySelector('#word b')); return [s.textDecorationLine, parseFloat(s.fontSize),"
                       "getComputedStyle(document.querySelector('#word')).textDecorationLine]")
    assert word[2] == "line-through" and word[1] <= 30, word
    return fixture


@test
def a_killed_server_greys_the_page_and_its_return_heals_it(bench):
    browser = bench.browser
    fixture = greys_in_time(bench, lambda f: f.kill(), "the kill")
    browser.screenshot(bench.shots / "phone-no-link.png")
    back = bench.start(fixture.address)
    back.show(views.judged("fail", number=9))
    wait("healed by itself with the new verdict", lambda: live_shape(browser) == "fail" and not browser.shown("#link"), 15)


@test
def a_server_that_hangs_greys_the_page(bench):
    browser = bench.browser
    fixture = greys_in_time(bench, lambda f: f.signal(signal.SIGSTOP), "the stop")
    # What was pressed meanwhile goes nowhere.
    browser.run("document.querySelector('#panel .main').click()")
    fixture.signal(signal.SIGCONT)
    wait("healed", lambda: live_shape(browser) == "pass", 15)
    assert fixture.none_arrived()


@test
def a_daemon_that_hangs_behind_a_live_server_greys_the_page(bench):
    browser = bench.browser
    fixture = greys_in_time(bench, lambda f: f.order("pause"), "the pause")
    # A page that is opened now does not take the old view for a live one either.
    browser.go("about:blank")
    browser.run("return 0")
    browser.go(fixture.url)
    wait("the old view is there, greyed", lambda: browser.text("#unit") == "RTU-07" and greyed(browser))
    assert live_shape(browser) is None
    fixture.order("resume")
    wait("healed", lambda: live_shape(browser) == "pass", 15)


@test
def a_danger_stands_first_and_largest_until_the_mechanic_goes_on(bench):
    browser = bench.browser
    for size in ("phone", "tall-phone", "laptop"):
        fixture = open_page(bench, views.judged("pass"), size)
        assert not browser.shown("#danger")
        fixture.show(views.danger())
        wait("the danger", lambda: browser.shown("#danger-word"))
        assert browser.text("#danger-word") == "DANGER" and browser.text("#danger-advice") == views.danger()["danger"]["advice"]
        assert "400 ppm" in browser.text("#danger-what") and "ANSI Z21.47" in browser.text("#danger-source")
        assert not browser.shown("#verdict"), "no shape beside it"
        first = browser.run("return ['#armed', '#live', '#act'].every(n => document.querySelector(n).getBoundingClientRect().top >= "
                            "document.getElementById('danger-advice').getBoundingClientRect().bottom) || innerWidth >= 640")
        assert first, f"at {size} something stands above what to do, or over it"
        larger = browser.run("const px = n => parseFloat(getComputedStyle(document.querySelector(n)).fontSize);"
                             "return ['#component', '#danger-what', '#plate', '#act .main', '#recent-list li'].every(n => px(n) < px('#danger-advice'))")
        assert larger, f"at {size} something is as large as what to do"
        main = browser.run("return [...document.querySelectorAll('#act .main:not(.second)')].map(n => n.innerText)")
        assert main == [], f"no press is urged: {main}"
        assert browser.text("#recent-list li").startswith("DANGER"), browser.text("#recent-list li")
        # The leads show something else, or the meter has gone quiet: it stays.
        quiet = views.danger(live=False)
        quiet["live"].update(state="stale", age_ms=9000)
        for gone in (views.danger(live=False), quiet):
            fixture.show(gone)
            wait("the reading is gone", lambda: browser.shown("#danger-gone"))
            assert browser.text("#danger-word") == "DANGER" and browser.shown("#danger-advice") and not browser.shown("#last")
        fixture.show(views.danger_unsaved())
        wait("marked", lambda: browser.text("#danger-unsaved") == "UNSAVED" and browser.text("#danger-word") == "DANGER")
        # The next check is armed.
        fixture.show(views.base(4))
        wait("gone on", lambda: not browser.shown("#danger"))


@test
def a_hidden_tab_comes_back_grey_until_the_server_speaks(bench):
    browser = bench.browser
    fixture = open_page(bench, views.judged("pass"))
    wait("a live verdict", lambda: live_shape(browser) == "pass")
    hide = ("Object.defineProperty(document, 'hidden', {value: arguments[0], configurable: true});"
            "document.dispatchEvent(new Event('visibilitychange')); return document.body.classList.contains('nolink')")
    assert browser.run(hide, True), "greys at once when hidden"
    fixture.signal(signal.SIGSTOP)
    assert browser.run(hide, False), "still grey when shown again, as nobody has spoken"
    assert greyed(browser)
    fixture.signal(signal.SIGCONT)
    wait("healed", lambda: live_shape(browser) == "pass", 15)
    # A phone that slept: its monotonic clock stood still, the wall clock did not.
    greys = browser.run("const real = Date.now.bind(Date); Date.now = () => real() + 60000; return greys")
    wait("greyed by the jump", lambda: browser.run("return greys") == greys + 1)
    wait("healed after the jump", lambda: live_shape(browser) == "pass", 15)


@test
def a_verdict_that_is_not_live_is_never_drawn_as_one(bench):
    browser = bench.browser
    held, stale = views.judged("pass"), views.judged("pass")
    held["live"]["state"] = "held"
    stale["live"].update(state="stale", age_ms=9000)
    for view in (views.judged("pass", live=False), held, stale):
        open_page(bench, view)
        wait("the past line", lambda: browser.text("#last").startswith("last: pass"))
        assert live_shape(browser) is None and not browser.shown("#word")
        assert browser.run("return shapesSeen") == [], "not even for a moment"
    missing = views.judged("pass")
    del missing["verdict"]["live"]
    open_page(bench, missing)
    wait("the past line", lambda: browser.shown("#last"))
    assert live_shape(browser) is None


def to_do_is_seen(browser):
    """Nothing of what to do is under the buttons."""
    covered = browser.run("const a = [...document.querySelectorAll('#advice, #reason, #beside, #figures')].filter(n => n.getClientRects().length).pop();"
                          "return a.getBoundingClientRect().bottom - document.getElementById('act').getBoundingClientRect().top")
    return covered <= 0 or browser.run("return getComputedStyle(document.getElementById('act')).position") == "static"


@test
def what_a_reading_waits_for_is_said_beside_it(bench):
    browser = bench.browser
    for size in ("phone", "tall-phone", "laptop"):
        fixture = open_page(bench, views.base(), size)
        view = views.waiting()
        fixture.show(view)
        wait("the reason", lambda: browser.text("#state") == view["live"]["settling"] + " · meter")
        over = browser.run("const s = document.getElementById('state').getBoundingClientRect(), a = document.getElementById('act').getBoundingClientRect();"
                           "return getComputedStyle(document.getElementById('act')).position === 'static' ? 0 : s.bottom - a.top")
        assert over <= 0, f"{size}: the panel covers {over} px of the reason"


def area(browser):
    return browser.run("const r = document.getElementById('verdict').getBoundingClientRect(); return r.width * r.height")


@test
def an_early_word_has_the_ends_of_its_interval_in_the_place_of_its_value_and_then_the_figure(bench):
    browser = bench.browser
    for size in ("phone", "tall-phone", "laptop"):
        fixture = open_page(bench, views.base(), size)
        for word, text in (("pass", "between 48.9 and 51.6 uF, settling"), ("fail", "at most 42.3 uF, settling"), ("conditional pass", "between 47.1 and 48.9 uF, settling")):
            fixture.show(views.early(word, text=text))
            wait(f"the ends of {word}", lambda: browser.text("#figures") == f"capacitance {text}")
            assert live_shape(browser) == word.replace(" ", "-")
            assert browser.run("return document.querySelectorAll('.ruler .needle').length") == 0, "a pointer is a value"
            assert browser.text(".ruler .now") == text.removesuffix(", settling")
            browser.run("document.querySelector('#why details').open = true")
            why = browser.text("#why-list")
            assert text in why and f"{views.VERDICTS[word][0]} uF" not in why, why
            browser.run("document.querySelector('#why details').open = false")
            assert to_do_is_seen(browser), f"{word} at {size}: the buttons cover what to do"
            place = browser.run("const r = document.getElementById('figures').getBoundingClientRect(); return [r.left, r.top]")
            fixture.show(views.early(word, figure=50.02))
            wait(f"the figure of {word}", lambda: browser.text("#figures") == "capacitance 50.02 ± 0.70 uF, settled")
            assert browser.run("const r = document.getElementById('figures').getBoundingClientRect(); return [r.left, r.top]") == place, "the same place"
            assert browser.run("return document.querySelectorAll('.ruler .needle').length") == 1
    # A figure that is shown though it is not stored says so.
    view = views.early(figure=50.02)
    view["verdict"]["values"][0]["unsaved"] = True
    fixture.show(view)
    wait("the mark", lambda: browser.text("#figures").startswith("UNSAVED capacitance"))
    # A verdict whose value was at rest has its value where it always stood.
    fixture.show(views.judged("pass"))
    wait("no line of its own", lambda: not browser.shown("#figures"))


@test
def an_amendment_is_as_large_as_a_verdict_and_the_old_word_never_looks_live(bench):
    browser = bench.browser
    for size in ("phone", "tall-phone", "laptop"):
        fixture, areas = open_page(bench, views.base(), size), {}
        for word in views.VERDICTS:
            fixture.show(views.judged(word))
            wait(f"the verdict {word}", lambda: live_shape(browser) == word.replace(" ", "-"))
            areas[word] = area(browser)
        for said, word in (("pass", "fail"), ("fail", "pass"), ("pass", "conditional fail"), ("fail", "conditional pass")):
            fixture.show(views.amended(said=said, word=word))
            wait(f"{said} amended to {word}", lambda: live_shape(browser) == word.replace(" ", "-"))
            assert " ".join(browser.text("#amended").split()) == f"AMENDED check 3 said {said.upper()}"
            assert " ".join(browser.text("#word").lower().split()) == word
            beside = " ".join(browser.text("#beside").split())
            assert beside == "The leads now show capacitance 41.28 ± 0.70 uF. Measure again before you act.", beside
            assert not browser.shown(".ruler"), "the pointer of the old word"
            assert not browser.shown("#last") and not browser.shown("#advice")
            assert browser.run("return document.querySelectorAll('#verdict svg[data-shape]').length") == 1
            large = area(browser)
            assert large >= 0.9 * areas[word], f"{word} at {size}: {large:.0f} px beside {areas[word]:.0f} px of the verdict"
            assert to_do_is_seen(browser), f"{word} at {size}: the buttons cover what to do"
            main = browser.run("return [...document.querySelectorAll('#act .main:not(.second)')].map(n => n.innerText)")
            assert main == ["Again"], main
            row = browser.run("const r = document.querySelector('#recent-list li'); return [r.innerText, r.querySelector('svg').dataset.shape, r.querySelector('s').innerText]")
            assert "AMENDED" in row[0].upper() and row[1] == word.replace(" ", "-") and row[2].lower() == said, row
        # A value that is not at rest has ends here too, and what to do is still seen.
        view = views.amended()
        view["verdict"]["amended"]["value"] = "between 39.2 and 40.9 uF, settling"
        fixture.show(view)
        wait("the ends", lambda: "capacitance between 39.2 and 40.9 uF, settling." in browser.text("#beside"))
        assert to_do_is_seen(browser), f"ends at {size}: the buttons cover what to do"
        # It has jumped without lifted leads; it goes back; it has changed too often to be told each time.
        told = {
            "The reading has since moved to capacitance 41.28 ± 0.70 uF, which would be FAIL. Measure again before you act.": {"moved": True},
            "The leads agree with it again: capacitance 41.28 ± 0.70 uF. Measure again before you act.": {"back": True, "word": "pass"},
            "The word has changed 23 times; now FAIL: capacitance 41.28 ± 0.70 uF. Measure again before you act.": {"changes": 23},
        }
        for text, of in told.items():
            view = views.amended()
            view["verdict"]["amended"].update(of)
            view["recent"][0].update(amended=of.get("word", "fail"))
            fixture.show(view)
            wait(text, lambda: " ".join(browser.text("#beside").split()) == text)
            assert to_do_is_seen(browser), f"{text} at {size}: the buttons cover what to do"
            back = of.get("back", False)
            assert " ".join(browser.text("#amended").split()) == f"AMENDED check 3 {'is back to' if back else 'said'} PASS"
            assert ("back to" in browser.text("#recent-list li").lower()) == back
        # The leads are off: it is still said, and no shape stands.
        quiet = views.amended()
        quiet["live"]["state"] = "stale"
        for past in (views.amended(live=False), quiet):
            fixture.show(past)
            wait("a past amendment", lambda: "The leads then showed FAIL" in browser.text("#beside"))
            assert live_shape(browser) is None and browser.text("#word") == "" and browser.shown("#amended")
            fixture.show(views.amended())
            wait("live again", lambda: live_shape(browser) == "fail")
        fixture.show(views.amended_unsaved())
        wait("the mark", lambda: browser.text("#unsaved") == "UNSAVED" and browser.shown("#unsaved"))
        assert to_do_is_seen(browser), f"unsaved at {size}: the buttons cover what to do"
        # Taken again: nothing of it is left.
        fixture.show(views.base())
        wait("gone", lambda: not browser.shown("#verdict"))


@test
def a_verdict_that_is_not_saved_is_marked_and_one_on_its_way_is_awaited(bench):
    browser = bench.browser
    open_page(bench, views.saving())
    wait("the wait for the disk", lambda: browser.text("#saving").startswith("saving the verdict"))
    assert live_shape(browser) is None and not browser.shown("#word")
    open_page(bench, views.unsaved())
    wait("the mark", lambda: browser.text("#unsaved") == "UNSAVED")
    assert browser.run("return parseFloat(getComputedStyle(document.getElementById('unsaved')).fontSize)") >= 30
    covered = browser.run("return document.getElementById('advice').getBoundingClientRect().bottom - document.getElementById('act').getBoundingClientRect().top")
    assert covered <= 0, f"the buttons cover {covered:.0f} px of what to do"
    assert "UNSAVED" in browser.text("#recent-list li:first-child")
    view = views.unsaved()
    view["verdict"]["live"] = False
    open_page(bench, view)
    wait("the mark of a past one", lambda: browser.text("#last").startswith("UNSAVED, last:"))
    open_page(bench, views.judged("pass"))
    wait("the verdict", lambda: live_shape(browser) == "pass")
    assert not browser.shown("#unsaved") and not browser.shown("#saving")


@test
def the_figures_follow_the_shops_coverage_factor(bench):
    browser = bench.browser
    view = views.judged("conditional pass")
    view["check"]["ruler"].update(expanded_uncertainty=1.05, coverage_factor=3.0, guard=1.05)
    view["verdict"].update(coverage_factor=3.0, decision_rule="guarded, w = U (k = 3)")
    view["verdict"]["judgements"][0].update(expanded_uncertainty=1.05, guard=1.05)
    open_page(bench, view)
    wait("the ruler", lambda: "± 1.1 uF" in browser.run("return document.querySelector('#scale .now').textContent"))
    assert "expanded uncertainty 1.05, guard band 1.05" in browser.run("return document.querySelector('#scale svg').getAttribute('aria-label')")
    browser.run("document.querySelector('#why details').open = true")
    why = browser.text("#why-list")
    assert "47.4 uF ± 1.1 (k = 3)" in why and "k = 2" not in why, why


def entry(browser):
    """What stands in the form for a typed reading: its label, its text, and whether the keyboard is on it; None without a form."""
    return browser.run("const n = document.getElementById('typed'); return n && n.checkVisibility()"
                       " ? [document.querySelector('label[for=typed]').textContent, n.value, document.activeElement === n] : null")


@test
def what_is_being_typed_survives_every_change_of_the_view(bench):
    browser = bench.browser
    fixture = open_page(bench, views.base())
    ready(browser)
    assert entry(browser) is None, "a meter is read: the form is folded"
    browser.click("#entry summary")
    browser.type("#typed", "7.")
    half = ["Capacitance", "7.", True]
    assert entry(browser) == half

    def moving():
        view = views.base()
        view["check"].update(prompt="Hold still: capacitance")
        view["check"]["points"][0].update(state="settling")
        return view

    def next_point():
        view = views.base()
        view["check"]["points"][0].update(state="settled", shown="7.40 uF")
        view["check"]["points"].append({"name": "fan", "label": "Fan section", "unit": "uF", "state": "asked", "shown": None, "typed": False})
        return view

    states = [moving, views.base, views.typing, views.question, views.asking_hold, next_point, lambda: views.judged("fail"), moving]
    for number, make in enumerate(states):
        view = make()
        view["site"] = f"Mill Yard, view {number}"
        fixture.show(view)
        wait(f"view {number}", lambda: f"view {number}" in browser.text("#site"))
        assert entry(browser) == half, (number, entry(browser))
    # What was begun goes on where it was, and is for the point that it was opened for.
    browser.key("4")
    browser.key("\ue007")
    assert fixture.action() == {"check": 3, "action": {"do": "typed", "point": "capacitance", "value": "7.4 uF"}}
    # Sent: the form goes on to the next point, open and with the keyboard on it.
    fixture.show(next_point())
    wait("the form of the next point", lambda: entry(browser) == ["Fan section", "", True])
    # Another check: what was begun for the last one is gone with it.
    browser.type("#typed", "5")
    view = views.base(4)
    fixture.show(view)
    wait("the next check", lambda: "check 4" in browser.text("#site"))
    assert entry(browser) is None
    browser.click("#entry summary")
    wait("an empty form", lambda: entry(browser) == ["Capacitance", "", True])
    # Nothing typed and the keyboard elsewhere: the form follows the view.
    browser.run("document.activeElement.blur()")
    fixture.show(views.judged("pass", number=4))
    wait("done", lambda: browser.text("#panel").startswith("Again"))
    assert entry(browser) is None
    assert fixture.none_arrived()


@test
def strings_with_markup_are_text(bench):
    browser = bench.browser
    text = "<img src=x onerror=\"window.hit=1\"><script>window.hit=1</script>'\"&{{7*7}}</style>"
    fixture = open_page(bench, views.hostile(text))
    wait("drawn", lambda: text in browser.text("#faults"))
    for state in (views.asking_hold, views.typing, views.question):
        view = views.hostile(text)
        other = state()
        view["check"]["phase"] = other["check"]["phase"]
        view["check"]["question"] = text if state is views.question else None
        view["check"]["hold_points"] = [{**h, "name": text, "ask": text, "caution": text} for h in other["check"]["hold_points"]]
        fixture.show(view)
        wait("drawn", lambda: "<img src=x" in browser.text("#act") or "<img src=x" in browser.text("#panel"))
    broken = views.judged("fail")
    broken["verdict"]["verdict"] = text
    broken["live"]["state"] = text
    fixture.show(broken)
    wait("drawn", lambda: "<img" in browser.text("#word").lower())
    assert browser.run("return window.hit === undefined && !document.querySelector('main img, main script')")
    assert browser.run("return violations") == []
    assert [line for line in browser.log() if "favicon" not in line] == []


@test
def a_view_that_is_no_view_greys_the_page(bench):
    browser = bench.browser
    fixture = open_page(bench, views.judged("pass"))
    fixture.show(views.judged("fail"))
    wait("drawn", lambda: live_shape(browser) == "fail")
    fixture.order('{"check": {"number": "')
    wait("greyed", lambda: greyed(browser) and "could not draw" in browser.text("#link"))
    for odd in ({}, {"check": {}}, {"check": {"points": 7, "hold_points": "x"}, "live": {}, "verdict": {}, "recent": {}, "faults": 3}):
        fixture.show(odd)
        wait(f"linked with {odd}", lambda: not browser.shown("#link"))
        assert live_shape(browser) is None


@test
def the_policy_is_strict_and_not_violated(bench):
    browser = bench.browser
    fixture = open_page(bench, views.judged("pass"))
    with urllib.request.urlopen(fixture.url) as answer:
        policy, html = answer.headers["Content-Security-Policy"], answer.read()
        cors = [name for name in answer.headers if name.lower().startswith("access-control")]
    assert "default-src 'none'" in policy and "unsafe" not in policy and "*" not in policy and cors == []
    assert len(html) <= 80 * 1024, len(html)
    assert browser.run("return violations") == []
    assert browser.log() == []
    # The policy bites: a script that is put in does not run.
    browser.run("const s = document.createElement('script'); try { s.textContent = 'window.hit = 1'; } catch {} document.head.append(s)")
    assert browser.run("return window.hit === undefined")
    print(f"       page: {len(html)} bytes")


class Attacker(http.server.BaseHTTPRequestHandler):
    """A page from another place."""

    def do_GET(self):
        self.send_response(200)
        self.send_header("Content-Type", "text/html")
        self.end_headers()
        self.wfile.write(b"<!doctype html><title>other</title><form method=post></form>")

    def log_message(self, *_):
        pass


ATTACK = """const [base, done] = arguments;
const body = JSON.stringify({do: 'confirm', hold_point: 'locked out', check: 3});
const tries = [];
for (const method of ['POST', 'GET', 'PUT'])
  for (const mode of ['cors', 'no-cors', 'same-origin'])
    for (const type of ['application/json', 'text/plain', 'application/x-www-form-urlencoded', 'multipart/form-data'])
      for (const own of [true, false]) for (const credentials of ['include', 'omit']) {
        const headers = {'Content-Type': type}; if (own) headers['X-Cliplead'] = '1';
        const init = {method, mode, headers, credentials}; if (method !== 'GET') init.body = body;
        tries.push(async () => (await fetch(base + 'act', init)).text());
      }
tries.push(async () => (await fetch(base + 'view')).text());
tries.push(async () => (await fetch(base + 'view', {mode: 'no-cors'})).text());
tries.push(() => new Promise((ok, no) => { const s = new EventSource(base + 'events'); s.onerror = () => { s.close(); no(); }; s.addEventListener('view', e => ok(e.data)); }));
tries.push(async () => { navigator.sendBeacon(base + 'act', new Blob([body], {type: 'text/plain'})); throw 0; });
tries.push(() => new Promise((ok, no) => { const i = new Image(); i.onload = () => ok('image'); i.onerror = no; i.src = base + 'act?do=next'; }));
tries.push(() => new Promise((ok, no) => { const f = document.createElement('iframe'); f.name = 'f'; document.body.append(f);
  const form = document.querySelector('form'); form.action = base + 'act'; form.enctype = 'text/plain'; form.target = 'f'; f.onload = () => no(); form.submit(); setTimeout(no, 1000); }));
(async () => { let read = []; for (const one of tries) try { const got = await one(); if (got) read.push(got); } catch {} done([tries.length, read]); })();"""


@test
def another_page_can_neither_act_nor_read(bench):
    browser = bench.browser
    fixture = open_page(bench, views.asking_hold(), "laptop")
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Attacker)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        for host in ("127.0.0.1", "localhost"):
            browser.go(f"http://{host}:{server.server_port}/")
            count, read = browser.run_async(ATTACK, fixture.url)
            assert count > 140 and read == [], read
            assert fixture.none_arrived(), fixture.action()
        # The right page's own request is taken: the bench can see an action.
        browser.go(fixture.url)
        wait("linked", lambda: browser.run("return !document.body.classList.contains('nolink')"))
        ready(browser)
        browser.press("#panel .hold", 1300)
        assert fixture.action()["action"]["do"] == "confirm"
        assert fixture.none_arrived()
    finally:
        server.shutdown()
    # A name that was made to lead here (DNS rebinding): a page that says which names are good, and no view.
    browser.go(f"http://rebound.example:{fixture.port}/")
    said = browser.text("body")
    assert f"http://127.0.0.1:{fixture.port}/" in said and "RTU-07" not in said, said
    answer = browser.run_async("const done = arguments[0]; fetch('/view').then(async a => done([a.status, await a.text()]), e => done(String(e)))")
    assert answer[0] == 421 and "RTU-07" not in answer[1], answer
