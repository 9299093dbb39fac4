"""What the page promises of "This round": choosing a unit and a check, and what is done at a unit beside the armed check.

One function per promise, like those in `tests`, which these join.
"""

import threading

import views
from tests import SIZES, live_shape, open_page, ready, test
from webdriver import wait

ENTER, TAB, ESCAPE = "\ue007", "\ue004", "\ue00c"
PLACES = """return ['#word', '#glyph svg', '#value', '#advice', '#act', '#act .main:not(.second)', '#rail'].map(n => {
    const r = document.querySelector(n).getBoundingClientRect(); return [n, r.left, r.top, r.width, r.height]; });"""


def takes_presses(browser):
    wait("presses are taken", lambda: browser.run("return !document.querySelector('.moved') && !document.getElementById('panel').inert"
                                                  " && !document.body.classList.contains('busy')"))


def open_list(bench, view=None, size="phone", route=None, by="#open-top"):
    """The page with the list of the route on it."""
    fixture = open_page(bench, view or views.base(), size)
    fixture.list_route(route or views.route_list())
    takes_presses(bench.browser)
    bench.browser.click(by)
    wait("the list", lambda: bench.browser.shown("#units [aria-expanded=true]"))
    takes_presses(bench.browser)
    return fixture


def open_work(bench, view, size="phone"):
    """The page with what can be done at the unit under work."""
    fixture = open_page(bench, view, size)
    takes_presses(bench.browser)
    bench.browser.run("document.getElementById('open-work').scrollIntoView()")
    bench.browser.click("#open-work")
    wait("the unit's acts", lambda: bench.browser.shown("#work-acts"))
    takes_presses(bench.browser)
    return fixture


def button(browser, label, within="#round"):
    """A selector of the button with this label."""
    number = browser.run("const all = [...document.querySelectorAll(arguments[0] + ' button')].filter(n => n.getClientRects().length);"
                         "document.querySelectorAll('[data-found]').forEach(n => n.removeAttribute('data-found'));"
                         "const it = all.filter(n => n.querySelector('.label') && n.querySelector('.label').textContent === arguments[1]);"
                         "if (it.length === 1) it[0].dataset.found = 1; return it.length", within, label)
    assert number == 1, f"{number} buttons {label!r}"
    return "[data-found]"


def touch(browser, label, within="#round", hold_ms=40):
    takes_presses(browser)
    browser.press(button(browser, label, within), hold_ms)


def key_of_focus(browser):
    return browser.run("return document.activeElement.dataset.key || document.activeElement.id")


@test
def two_touches_arm_any_check_of_forty_five_units(bench):
    browser = bench.browser
    fixture = open_list(bench)
    assert browser.run("return document.querySelectorAll('#units > li').length") == 45
    top = browser.run("const r = document.querySelector('#units [aria-expanded=true]').getBoundingClientRect(); return [r.top, r.bottom, innerHeight]")
    assert top[0] >= 0 and top[1] < top[2] / 2, f"the unit under work is not on the screen: {top}"
    browser.press("[data-key='RTU-31']", 40)
    wait("its checks", lambda: browser.run("return document.querySelectorAll('#units .chosen .check').length") == 15)
    assert fixture.none_arrived(), "choosing a unit leaves the armed check alone"
    wait("the unit that was touched is in sight", lambda: 0 <= browser.run("return document.querySelector('[data-key=\"RTU-31\"]').getBoundingClientRect().top") < 200)
    assert "0 of 15" in browser.text("#units .chosen .unit-row")
    takes_presses(browser)
    browser.press("#units .chosen li:nth-child(4) .check", 40)
    assert fixture.action() == {"check": 3, "action": {"do": "check", "unit": "RTU-31", "name": "indoor fan / motor-amps"}}
    wait("back at the check", lambda: not browser.shown("#round") and browser.shown("#act"))
    assert fixture.none_arrived()


@test
def what_became_of_each_check_stands_in_the_list(bench):
    browser = bench.browser
    fixture = open_list(bench)
    rows = browser.run("return Object.fromEntries([...document.querySelectorAll('.unit-row')].map(n => [n.dataset.key, [n.innerText.split('\\n').slice(1),"
                       "n.querySelector('svg') && n.querySelector('svg').dataset.shape]]))")
    for unit in views.route_list()["units"]:
        said, shape = rows[unit["tag"]]
        assert f"{unit['judged']} of 15 have a verdict" in said, (unit["tag"], said)
        assert shape == (unit["worst"] or "").replace(" ", "-") or (shape is None and not unit["worst"]), (unit["tag"], shape)
    assert "visit open" in rows["RTU-07"][0][1]
    assert "armed now" in browser.text("#units [aria-current=true]") and "condenser fan 1 run capacitor" in browser.text("#units [aria-current=true]")
    browser.press("[data-key='RTU-03']", 40)
    wait("the reason", lambda: "skipped: no access" in browser.text("#units .chosen li:nth-child(5)"))
    # A word comes: the list is asked for again, and what has the focus keeps it.
    browser.run("document.querySelector('#units .chosen li:nth-child(2) .check').focus()")
    route = views.route_list(rev=2)
    route["units"][2]["checks"][1].update(word="fail", danger=True, unsaved=True)
    fixture.list_route(route)
    view = views.base()
    view["route"]["rev"] = 2
    fixture.show(view)
    wait("the word", lambda: "DANGER UNSAVED fail" in browser.text("#units .chosen li:nth-child(2)"))
    assert key_of_focus(browser) == "condenser fan 1 run capacitor / run-capacitor"
    assert browser.run("return violations") == []


@test
def the_list_is_asked_for_when_it_is_shown_and_when_it_has_changed(bench):
    browser = bench.browser
    fixture = open_page(bench, views.base())
    fixture.list_route(views.route_list())
    asked = lambda: browser.run("return performance.getEntriesByType('resource').filter(e => e.name.endsWith('/route')).length")
    fixture.show(views.judged("pass"))
    wait("drawn", lambda: live_shape(browser) == "pass")
    assert asked() == 0, "nobody looks at it"
    takes_presses(browser)
    browser.click("#open-top")
    wait("the list", lambda: browser.shown("#units [aria-expanded=true]"))
    assert asked() == 1
    for number in range(5):
        view = views.judged("pass")
        view["site"] = f"Mill Yard {number}"
        fixture.show(view)
        wait("drawn", lambda: f"Yard {number}" in browser.run("return document.getElementById('site').textContent"))
    assert asked() == 1, "it has not changed"
    view["route"]["rev"] = 2
    fixture.list_route(views.route_list(rev=2))
    fixture.show(view)
    wait("asked again", lambda: asked() == 2)


@test
def the_keyboard_chooses_unit_and_check_and_goes_back(bench):
    browser = bench.browser
    fixture = open_page(bench, views.base(), "laptop")
    fixture.list_route(views.route_list())
    takes_presses(browser)
    browser.run("document.getElementById('open-route').focus()")
    browser.key(ENTER)
    wait("the unit under work has the focus", lambda: key_of_focus(browser) == "RTU-07")
    for _ in range(16):
        browser.key(TAB)
    assert key_of_focus(browser) == "RTU-08", "behind its fifteen checks comes the next unit"
    browser.key(ENTER)
    wait("its checks", lambda: browser.run("return document.querySelector('#units .chosen .unit-row').dataset.key") == "RTU-08")
    assert key_of_focus(browser) == "RTU-08"
    browser.key(TAB)
    assert key_of_focus(browser) == "supply / supply-voltage"
    browser.key(ENTER)
    assert fixture.action() == {"check": 3, "action": {"do": "check", "unit": "RTU-08", "name": "supply / supply-voltage"}}
    wait("back", lambda: not browser.shown("#round"))
    browser.run("document.getElementById('open-top').focus()")
    browser.key(ENTER)
    wait("open again", lambda: browser.shown("#round"))
    browser.key(ESCAPE)
    wait("left", lambda: not browser.shown("#round") and key_of_focus(browser) == "open-top")
    assert fixture.none_arrived()


@test
def a_check_is_skipped_for_a_reason_from_the_list_or_in_own_words(bench):
    browser = bench.browser
    fixture = open_work(bench, views.asking_hold())
    touch(browser, "Skip this check")
    wait("the question", lambda: browser.text("#work-ask").startswith("Why is this check skipped?"))
    touch(browser, "No access")
    assert fixture.action() == {"check": 3, "action": {"do": "skip", "why": "No access"}}
    wait("back at the check", lambda: not browser.shown("#round"))
    fixture = open_work(bench, views.asking_hold())
    touch(browser, "Skip this check")
    touch(browser, "Skip for this reason")
    wait("asked for words", lambda: "own words" in browser.text("#round-refusal"))
    assert fixture.none_arrived()
    browser.type("#words", "wasps in the ")
    later = views.asking_hold()
    later["site"] = "Mill Yard, east"
    fixture.show(later)
    wait("the later view", lambda: "east" in browser.run("return document.getElementById('site').textContent"))
    fixture.order("refuse this check has its verdict")
    browser.type("#words", "panel" + ENTER)
    assert fixture.action()["action"] == {"do": "skip", "why": "wasps in the panel"}
    wait("the refusal", lambda: "has its verdict" in browser.text("#round-refusal"))
    assert browser.run("return document.getElementById('words').value") == "wasps in the panel", "what was typed is not lost"
    touch(browser, "Not now")
    wait("the acts again", lambda: browser.shown("#work-acts") and not browser.shown("#words"))


@test
def pause_resume_and_the_ways_on_the_route_are_taps_and_power_and_the_end_are_held(bench):
    browser = bench.browser
    fixture = open_work(bench, views.in_visit())
    touch(browser, "Pause the visit")
    assert fixture.action() == {"check": 3, "action": {"do": "pause"}}
    fixture.show(views.paused())
    wait("resume in its place", lambda: "Resume the visit" in browser.text("#work-acts") and "Pause" not in browser.text("#work-acts"))
    touch(browser, "Resume the visit")
    assert fixture.action()["action"] == {"do": "resume"}
    fixture.show(views.in_visit())
    wait("pause again", lambda: "Pause the visit" in browser.text("#work-acts"))
    for label, word in (("Power is back on", "energised"), ("End this check now", "finish")):
        touch(browser, label, hold_ms=150)
        wait("let go", lambda: not browser.shown("#round .held"))
        assert fixture.none_arrived(), f"{label}: a short press is no act"
        touch(browser, label, hold_ms=1300)
        assert fixture.action()["action"] == {"do": word}
    for label, word in (("Back", "back"), ("Again", "again"), ("Next check", "next")):
        fixture = open_work(bench, views.in_visit())
        touch(browser, label)
        assert fixture.action() == {"check": 3, "action": {"do": word}}
        wait("back at the check", lambda: not browser.shown("#round"))
    fixture = open_work(bench, views.in_visit())
    touch(browser, "Again, as left")
    assert fixture.action() == {"check": 3, "action": {"do": "again", "as_left": True}}


@test
def what_is_owed_is_put_back_by_a_hold_and_a_finding_is_as_found_or_as_left(bench):
    browser = bench.browser
    fixture = open_work(bench, views.in_visit())
    assert "nothing says that it has power again" in browser.text("#work-says")
    assert browser.text("#work-owed").startswith("To put back")
    touch(browser, "It is back", "#work-owed", hold_ms=150)
    assert fixture.none_arrived()
    touch(browser, "It is back", "#work-owed", hold_ms=1300)
    assert fixture.action() == {"check": None, "action": {"do": "restored", "what": views.LEAD_OFF}}
    for label, left in (("As found", False), ("As left", True)):
        touch(browser, "Note a finding")
        browser.type("#words", "coil fouled")
        touch(browser, label)
        assert fixture.action() == {"check": 3, "action": {"do": "finding", "text": "coil fouled", "as_left": left}}
        wait("it is said, and the acts are there again", lambda: browser.text("#round-said") == f"Taken, as {'left' if left else 'found'}: coil fouled" and browser.shown("#work-acts"))


@test
def a_close_that_is_refused_says_what_is_owed_and_is_closed_with_a_reason_that_is_held(bench):
    browser = bench.browser
    refusal = f"RTU-07 stays open: it is owed {views.LEAD_OFF}; say restored WHAT for each, or close WHY"
    for begin in ("unit", "end of the route"):
        if begin == "unit":
            fixture = open_work(bench, views.in_visit())
        else:
            view = views.route_ended()
            view["owed"] = [views.LEAD_OFF]
            fixture = open_page(bench, view)
        fixture.order("refuse " + refusal)
        touch(browser, "Close the visit", "#round" if begin == "unit" else "#panel")
        assert fixture.action()["action"] == {"do": "close"}
        wait("what is owed, and the field", lambda: refusal in browser.text("#work-ask") and browser.shown("#words"))
        assert "It is back" in browser.text("#work-owed")
        fixture.order("accept")
        touch(browser, "Part on order", hold_ms=150)
        browser.type("#words", "waits for the crane" + ENTER)
        wait("it is held", lambda: "Press and hold" in browser.text("#round-refusal"))
        assert fixture.none_arrived(), "neither a short press nor Enter closes over what is owed"
        touch(browser, "Close with this reason" if begin == "unit" else "Part on order", hold_ms=1300)
        assert fixture.action()["action"] == {"do": "close", "why": "waits for the crane" if begin == "unit" else "Part on order"}
        wait("back", lambda: not browser.shown("#round"))
    # A link that breaks is no refusal: no reason is asked for.
    fixture = open_work(bench, views.in_visit())
    browser.run("window.fetch = () => Promise.reject(new Error('gone'))")
    touch(browser, "Close the visit")
    wait("it is said", lambda: "Not known to be taken" in browser.text("#round-refusal"))
    assert not browser.shown("#words")


@test
def a_visit_of_another_machine_is_told_and_taken_over_by_a_hold(bench):
    browser = bench.browser
    fixture = open_list(bench, views.held_elsewhere(), route=views.route_list(elsewhere="RTU-07"))
    assert views.ELSEWHERE in browser.text("#units .chosen")
    assert browser.run("return [...document.querySelectorAll('#round button')].filter(n => n.innerText.startsWith('Take over')).length") == 1
    label = "Take over the visit at RTU-07"
    touch(browser, label, hold_ms=150)
    assert fixture.none_arrived()
    # The visit is this machine's, and the list says so while the finger still holds: letting go on what has come up there is no press.
    taken = []

    def take():
        taken.append(fixture.action())
        fixture.list_route(views.route_list(rev=2))
        view = views.asking_hold()
        view["route"]["rev"] = 2
        fixture.show(view)

    daemon = threading.Thread(target=take)
    daemon.start()
    touch(browser, label, hold_ms=2500)
    daemon.join(10)
    assert taken == [{"check": None, "action": {"do": "take_over", "tag": "RTU-07"}}]
    wait("the list without it", lambda: views.ELSEWHERE not in browser.text("#units"))
    takes_presses(browser)
    assert fixture.none_arrived() and browser.shown("#round")
    # It is not taken over: what comes of it is known later.
    fixture = open_list(bench, views.held_elsewhere(), route=views.route_list(elsewhere="RTU-07"))
    route = views.route_list(rev=2, elsewhere="RTU-07")
    route["refused"] = "Not taken over: it was closed meanwhile"
    fixture.list_route(route)
    view = views.held_elsewhere()
    view["route"]["rev"] = 2
    fixture.show(view)
    wait("why not", lambda: browser.text("#round-said") == route["refused"])
    touch(browser, "This unit", "#round-foot")
    wait("told at the unit too", lambda: views.ELSEWHERE in browser.text("#work-says"))
    touch(browser, label, hold_ms=1300)
    assert fixture.action()["action"]["do"] == "take_over"
    # It is this machine's now: nothing is offered any more.
    fixture.show(views.in_visit())
    wait("no offer", lambda: "Take over" not in browser.text("#round"))


@test
def the_round_moves_nothing_of_a_verdict_and_stands_aside_for_a_danger(bench):
    browser = bench.browser
    for word in views.VERDICTS:
        view = views.judged(word)
        view["check"]["ruler"] = None
        view["route"] = None
        view["verdict"]["advice"] = view["verdict"]["advice"] or "measure again"
        fixture = open_page(bench, view)
        wait("the verdict", lambda: live_shape(browser) == word.replace(" ", "-"))
        without = browser.run(PLACES)
        fixture.list_route(views.route_list())
        view["route"] = views.base()["route"]
        fixture.show(view)
        wait("drawn", lambda: "31 of 675" in browser.run("return document.getElementById('route-sum').textContent"))
        assert browser.run(PLACES) == without, word
        below = browser.run("return document.getElementById('ways').getBoundingClientRect().top - document.getElementById('act').getBoundingClientRect().top")
        assert below > 0, "the ways stand behind the next act"
    takes_presses(browser)
    browser.click("#open-top")
    wait("the list", lambda: browser.shown("#units [aria-expanded=true]") and not browser.shown("#word"))
    takes_presses(browser)
    touch(browser, "Return", "#round-foot")
    wait("back", lambda: browser.shown("#word"))
    assert browser.run(PLACES) == without
    takes_presses(browser)
    browser.click("#open-top")
    wait("the list", lambda: browser.shown("#round"))
    fixture.show(views.danger())
    wait("the danger stands first", lambda: browser.shown("#danger-word") and not browser.shown("#round"))


@test
def every_place_of_the_round_fits_and_is_large_enough(bench):
    browser = bench.browser
    for size, (width, _, _) in SIZES.items():
        fixture = open_list(bench, views.held_elsewhere(), size, views.route_list(elsewhere="RTU-07"))
        for name, prepare in (("list", None), ("unit", lambda: touch(browser, "This unit", "#round-foot")), ("skip", lambda: touch(browser, "Skip this check")),
                              ("finding", lambda: (touch(browser, "Not now"), touch(browser, "Note a finding")))):
            if prepare:
                prepare()
            takes_presses(browser)
            wide = browser.run("return [document.documentElement.scrollWidth, innerWidth]")
            assert wide[0] <= width and wide[1] == width, f"{name} at {size}: {wide}"
            small = browser.run("return [...document.querySelectorAll('#round button, #round input')].filter(n => n.getClientRects().length)"
                                ".map(n => [n.innerText, n.getBoundingClientRect().height, n.matches('.unit-row, .check') ? 64 : 96]).filter(([, h, least]) => h < least)")
            assert small == [], f"{name} at {size}: too small for a glove: {small}"
            over = browser.run("const right = document.getElementById('round').getBoundingClientRect().right; return [...document.querySelectorAll('#round button *')]"
                               ".filter(n => n.getBoundingClientRect().right > right + 1 && !n.closest('svg')).map(n => n.textContent)")
            assert over == [], f"{name} at {size} runs over: {over}"
            browser.screenshot(bench.shots / f"{size}-round-{name}.png")
        foot = browser.run("const r = document.querySelector('#to-check').getBoundingClientRect(); return [r.top, r.bottom, innerHeight]")
        assert foot[1] <= foot[2] and foot[0] >= foot[2] / 2 or size in ("laptop", "sideways"), (size, foot)
        # The words of others are text.
        text = "<img src=x onerror=\"window.hit=1\"><b>RTU</b>"
        view = views.hostile(text)
        view["route"] = {"rev": 9, "checks": 30, "judged": 0, "unit": {"tag": text, "visit_open": False, "lacks": text, "elsewhere": [text], "can_take_over": True}}
        fixture.list_route(views.route_list(rev=9, units=2, text=text))
        fixture.show(view)
        touch(browser, "Not now")
        wait("told as text", lambda: text in browser.text("#work-says"))
        touch(browser, "Units and checks", "#round-foot")
        wait("listed as text", lambda: text in browser.text("#units"))
        assert browser.run("return window.hit === undefined && !document.querySelector('main img')")
        wide = browser.run("return [document.documentElement.scrollWidth, innerWidth]")
        assert wide[0] <= width, f"hostile at {size}: {wide}"
