"""Views for the browser tests: a scenario of our own, one function per state. Figures are made up; nothing is measured."""

import copy

LIMITS = {"name": "capacitance", "unit": "uF", "low": 47.0, "high": 53.0, "standard_uncertainty": 0.35,
          "expanded_uncertainty": 0.7, "coverage_factor": 2.0, "guard": 0.7}
VERDICTS = {
    "pass": (50.2, "good", None),
    "conditional pass": (47.4, "good, but close to the low limit: measure again next round", None),
    "conditional fail": (46.6, "probably weak: let it cool and measure again before it is replaced", None),
    "fail": (41.3, "weak: order the same uF, the same volts or higher", None),
    "no verdict": (None, None, "leads not proved: short the leads, then open them"),
}
CAUTION = ("Every source of the unit is to be locked out, control power too. Live work is for licensed people; local codes come first.")
NAMES = ["locked out", "proved dead", "discharged", "one lead off", "leads proved"]


def holds(shown):
    rows = []
    for index, name in enumerate(NAMES):
        state = "shown" if index < shown else "asked" if index == shown else "waiting"
        rows.append({
            "name": name, "state": state, "how": "confirmed" if index < shown else None,
            "detail": "confirmed by hand" if index < shown else "", "by_stream": index in (1, 4),
            "ask": "Lock and tag the disconnect of this unit, then try to start it." if index == 0 else f"Show that this holds: {name}.",
            "caution": CAUTION if index == 0 else "Bleed through a resistor of some 20 kohm, 5 W, never with a screwdriver.",
            "lapses_in_s": 14000 if index < shown else None,
        })
    return rows


def base(number=3):
    return {
        "seq": 1, "now_ms": 1000, "site": "Mill Yard", "rules": {"count": 6, "hash": "ab12cd34", "refused": None},
        "check": {
            "number": number, "unit": "RTU-07", "component": "condenser fan 1 run capacitor", "rule": "run-capacitor",
            "title": "Run capacitor", "about": "Is it within its tolerance?", "phase": "measuring", "cautions": [],
            "hold_points": holds(5),
            "points": [{"name": "capacitance", "label": "Capacitance", "unit": "uF", "state": "asked", "shown": None, "typed": False}],
            "plate": [{"name": "capacitance", "value": "50", "unit": "uF", "source": ""}],
            "prompt": "Clip on: capacitance, terminals of the part", "question": None, "question_number": None, "ruler": {**LIMITS, "value": None},
        },
        "live": {"device": "meter", "shown": "50.20 uF", "state": "live", "flags": [], "settling": "approaching the end value", "age_ms": 120},
        "route": {"rev": 1, "checks": 675, "judged": 31, "unit": {"tag": "RTU-07", "visit_open": True, "lacks": None, "elsewhere": [], "can_take_over": False}},
        "verdict": None, "recent": recent(), "devices": [{"name": "meter", "state": "live", "readings": 812, "drops": 3}], "faults": [],
    }


def recent():
    rows = [("conditional pass", "good, but close to the low limit", None), ("fail", "weak: order the same uF, the same volts or higher", None),
            ("no verdict", None, "lead fault: the leads read 4.1 ohm shorted"), ("pass", "good", None), ("conditional fail", "probably weak", None)]
    return [{"check": 2 - i, "unit": f"RTU-0{6 - i}", "component": "condenser fan 1 run capacitor", "title": "Run capacitor", "verdict": word,
             "advice": advice, "reason": reason, "at_s": 331.2 - 60 * i} for i, (word, advice, reason) in enumerate(rows)]


def judged(word, live=True, number=3):
    value, advice, reason = VERDICTS[word]
    view = base(number)
    judgement = {"name": "capacitance", "verdict": word, "value": value, "unit": "uF", "low": 47.0, "high": 53.0, "standard_uncertainty": 0.35,
                 "probability_of_conformance": 0.9997 if word == "pass" else 0.61, "advice": advice, "source": "capacitance: nameplate, as entered; tolerance: common practice, 6 %",
                 "source_class": "common practice", "guard": 0.7, "meter_too_coarse": False, "expanded_uncertainty": 0.7}
    view["check"]["phase"] = "done"
    view["check"]["ruler"]["value"] = value
    view["check"]["points"][0].update(state="settled", shown=None if value is None else f"{value:.2f} uF")
    view["live"].update(shown="no value" if value is None else f"{value:.2f} uF", settling="settled", state="no value" if value is None else "live")
    view["verdict"] = {"rule": "run-capacitor", "rule_hash": "0123456789abcdef", "verdict": word, "reason": reason, "hold_points": [], "readings": [],
                       "judgements": [] if value is None else [judgement], "check": number, "unit": "RTU-07", "component": "condenser fan 1 run capacitor",
                       "title": "Run capacitor", "advice": advice, "plate": [], "decision_rule": "guarded, w = U (k = 2)", "coverage_factor": 2.0, "notes": [], "at_s": 12.3, "live": live}
    return view


def early(word="pass", figure=None, text="between 48.9 and 51.6 uF, settling", ends=(48.94, 51.57)):
    """A word whose value was not at rest: ends in its place, and then its figure."""
    view = judged(word)
    value = {"label": "capacitance", "text": text, "settled": False, "unsaved": False}
    view["check"]["ruler"].update(value=None, early=text, at_least=ends[0], at_most=ends[1])
    view["check"]["points"][0]["shown"] = text
    view["live"]["settling"] = ""
    if figure:
        value.update(text=f"{figure:.2f} ± 0.70 uF, settled", settled=True)
        view["check"]["ruler"].update(value=figure, early=None, at_least=None, at_most=None)
    view["verdict"]["values"] = [value]
    return view


def amended(live=True, said="pass", word="fail"):
    """The leads contradict the word that was given."""
    view = judged(said, live=False)
    view["live"].update(shown="41.28 uF", settling="")
    view["verdict"]["values"] = []
    view["verdict"]["amended"] = {"word": word, "said": said, "label": "capacitance", "value": "41.28 ± 0.70 uF, settled", "live": live, "unsaved": False, "at_s": 15.1}
    view["recent"][0].update(verdict=said, amended=word)
    return view


def amended_unsaved():
    view = amended()
    view["verdict"]["amended"]["unsaved"] = True
    view["faults"] = ["NOT SAVED: 1 figure(s) or amendment(s); it is tried again: the disk is full"]
    return view


def unsaved():
    view = judged("fail")
    view["verdict"]["unsaved"] = True
    view["recent"][0]["unsaved"] = True
    view["faults"] = ["NOT SAVED: 1 verdict(s): history /home/shop/history.sqlite: the disk is full; make room, it is tried again"]
    view["devices"][0].update(reasons=[{"reason": "checksum does not hold", "count": 2}], gaps=1, asked=60, unanswered=3)
    return view


def danger(live=True):
    """Carbon monoxide in the flue, typed or read while a hold point is open."""
    view = judged("fail", live=live)
    view["check"].update(rule="flue-gas", title="Flue gas", component="burner", hold_points=holds(0), phase="done")
    view["verdict"].update(danger=True, values=[])
    view["live"].update(shown="2000 ppm" if live else "3 ppm")
    view["danger"] = {"word": "DANGER", "what": "carbon monoxide in the flue, as read 2000 ± 12 ppm (at most 400 ppm)", "unsaved": False,
                      "advice": "carbon monoxide: shut the burner off, keep it off, ventilate; read the air that people breathe, and above 35 ppm everybody out",
                      "gone": "" if live else "The reading is gone. That does not say that the danger is over.",
                      "source": "limit: ANSI Z21.47, looked up second-hand; 400 ppm air free, above 100 ppm it is tuned or cleaned [standard]"}
    view["recent"][0].update(verdict="fail", danger=True)
    return view


def danger_unsaved():
    view = danger()
    view["danger"]["unsaved"] = view["verdict"]["unsaved"] = True
    return view


def saving():
    view = base()
    view["check"]["phase"] = "done"
    view["saving"] = 1
    return view


def waiting():
    """A reading that takes long, with all that is said of it."""
    view = base()
    view["live"].update(shown="71.4 °F", settling="still warming 3 °F a minute, or a slow probe; waits 2 s because this meter's conversion time is unknown; about 12 more readings")
    return view


def paused():
    view = asking_hold()
    view["paused"] = True
    view["check"]["prompt"] = "The visit is paused. Resume it to go on; every hold point is open again."
    view["owed"] = ["condenser fan 1 run capacitor: wires back on, each where it was, spades tight (one lead off)"]
    return view


def route_ended():
    view = judged("pass")
    view["route_ended"] = True
    view["check"]["prompt"] = "The route is at its end: 7 of 9 checks have a verdict."
    return view


def asking_hold(shown=0):
    view = base()
    view["check"].update(phase="hold points", hold_points=holds(shown))
    view["live"].update(shown="no value", state="no value", settling=None)
    return view


PAIRS = ["L1-L2", "L2-L3", "L3-L1", "L1-G", "L2-G", "L3-G"]


def proving(read=None, next_pair=None, freely=False, alarm=""):
    """"Proved dead" by the meter: before the source is named, or with so many pairs read."""
    view = asking_hold(1)
    shown = [{"pair": pair, "shown": "0.8 V ac" if at < (read or 0) else ""} for at, pair in enumerate(PAIRS)]
    view["check"].update(alarm=alarm, proof={"wants_source": read is None, "next_pair": next_pair, "named_freely": freely, "pairs": shown})
    asked = view["check"]["hold_points"][1]
    asked["ask"] = ("Live-dead-live: name a known live source that is not this unit and read it (V ac, 90 V at least); then name each pair and read "
                    "it dead; then the live source again. Pairs: " + ", ".join(PAIRS) + ".")
    asked["detail"] = "" if read is None else f"next pair: on {next_pair}, then both leads on it"
    return view


def proof_question():
    view = asking_hold(1)
    said = ", ".join(f"{pair} 0.8 V ac" for pair in PAIRS)
    view["check"].update(question_number=7, question_shows=True, question=f"proved dead: live source proving unit 121.3 V ac; dead: {said}; live source again "
                         "121.2 V ac. Were both leads on each of these, metal to metal? Yes: it counts as shown. No: begin anew")
    return view


def typing():
    view = base()
    view["live"] = None
    view["check"]["prompt"] = "Measure the capacitance across the terminals and type what the meter shows"
    return view


def question():
    view = base()
    view["check"].update(phase="asking", question_number=7, question="The meter shows 5.02 uF and the plate says 50 uF. Is the plate value right?")
    return view


PARTS = [("supply", "supply-voltage", "Supply voltage"), ("condenser fan 1 run capacitor", "run-capacitor", "Run capacitor"),
         ("compressor 1", "winding-resistance", "Winding resistance"), ("indoor fan", "motor-amps", "Motor amps"), ("circuit 1", "superheat", "Superheat")]
LEAD_OFF = "condenser fan 1 run capacitor: wires back on, each where it was, spades tight (one lead off)"
ELSEWHERE = '"van 2" has a visit open here since 30 Nov 2026 09:15 UTC.'


def route_list(rev=1, units=45, elsewhere=None, owed=(), text=None):
    """The list of the route: 45 units with 15 checks, the first six with words, one of them held by another machine."""
    words = list(VERDICTS)
    rows = []
    for number in range(1, units + 1):
        checks = []
        for at in range(15):
            component, rule, title = PARTS[at % 5]
            check = {"component": text or (component if at < 5 else f"{component} {at // 5 + 1}"), "rule": rule, "title": text or title}
            if number <= 6 and at < number:
                check["word"] = words[(number + at) % 5]
            checks.append(check)
        if number == 3:
            checks[4]["skipped"] = text or "no access"
        given = [words.index(c["word"]) for c in checks if "word" in c]
        order = [words.index(w) for w in ("fail", "conditional fail", "no verdict", "conditional pass", "pass")]
        worst = next((words[w] for w in order if w in given), None)
        tag = text or f"RTU-{number:02}"
        held = [text or ELSEWHERE] if elsewhere == tag or text else []
        rows.append({"tag": tag, "count": 15, "judged": sum(words[w] != "no verdict" for w in given), "worst": worst, "danger": False, "owed": list(owed) if number == 7 else [],
                     "visit_open": number == 7 and not held, "lacks": None, "elsewhere": held, "can_take_over": bool(held), "checks": checks})
    return {"rev": rev, "units": rows, "units_left_off": 0, "checks_left_off": 0, "refused": None}


def held_elsewhere():
    """The unit under work has a visit of another machine."""
    view = asking_hold()
    view["route"]["unit"].update(visit_open=False, elsewhere=[ELSEWHERE], can_take_over=True)
    return view


def in_visit():
    """Work in a visit: locked out, one lead off."""
    view = asking_hold(4)
    view["owed"] = [LEAD_OFF]
    view["route"]["unit"]["lacks"] = "it was locked out, and nothing says that it has power again"
    return view


def hostile(text):
    """Every string of a full view replaced by `text`, the words that the page switches on kept."""
    kept = {"state", "phase", "verdict", "how"}

    def walk(value, key=None):
        if isinstance(value, dict):
            return {k: walk(v, k) for k, v in value.items()}
        if isinstance(value, list):
            return [walk(v) for v in value]
        return text if isinstance(value, str) and key not in kept else value

    view = walk(copy.deepcopy(judged("fail")))
    view["check"]["hold_points"] = walk(holds(2))
    view["faults"] = [text]
    view["live"]["flags"] = [text]
    view["verdict"]["notes"] = [text]
    return view
