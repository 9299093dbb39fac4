"""Rows of check_values.csv against what `cliplead judge` prints.

Does not test the formulas of crate `trade` one by one: its own tests carry those rows. Needs CLIPLEAD_BIN.
"""

import pytest
from cli import PRINTED, Reading, judge, judge_expression, one_judgement
from table import agrees, row, rows

# Rows that no verdict shows: id and the reason. Every other row is compared below.
NOT_SHOWN = {
    "CAP-06": "a correction that no rule of today applies",
    "CAP-07": "compared in calc.csv",
    "UNC-03": "compared in calc.csv",
    "UNC-04": "a list, which no command takes: compared in crates/trade/src/trend/tests.rs",
    "UNC-05": "a list, which no command takes: compared in crates/trade/src/peers.rs",
    "UNC-06": "a proposal for settling that this project's settler does not follow",
    "UNC-07": "a hint for settling, never a verdict",
}
COMPARED = {
    *("CAP-01", "CAP-02", "CAP-03", "CAP-05", "CAP-08", "CAP-10", "CAP-11", "CAP-15"),
    *("UNC-01", "UNC-02", "UNC-08"),
}

UNDER_LOAD = "capacitance_under_load_uF(m.amps, m.volts, m.frequency)"
# Figures of the formulas that a rule may call: row, the call, its unit, the inputs of the row.
CREST = "crest_volts(m.v)"
CALLS = [
    ("CAP-01-60", "constant", UNDER_LOAD, "uF", {"amps": "1 A", "volts": "1 V", "frequency": "60 Hz"}),
    ("CAP-02", "uF", UNDER_LOAD, "uF", {"amps": "6.1 A", "volts": "371 V", "frequency": "60 Hz"}),
    ("CAP-03", "uF_exact", UNDER_LOAD, "uF", {"amps": "8.3 A", "volts": "240 V", "frequency": "60 Hz"}),
    ("CAP-08", "V0_V", CREST, "V", {"v": "440 V"}),
    ("CAP-08", "tau_s", "time_constant_s(m.c, m.r)", "s", {"c": "45 uF", "r": "20000 ohm"}),
    (
        *("CAP-08", "t_to_50V_s", f"discharge_time_s({CREST}, 50.0, m.c, m.r)", "s"),
        {"v": "440 V", "c": "45 uF", "r": "20000 ohm"},
    ),
    (
        *("CAP-08", "V_after_5_tau", f"discharge_volts({CREST}, m.c, m.r, 5.0 * time_constant_s(m.c, m.r))", "V"),
        {"v": "440 V", "c": "45 uF", "r": "20000 ohm"},
    ),
    ("CAP-08", "peak_W", f"{CREST} * {CREST} / m.r", "W", {"v": "440 V", "r": "20000 ohm"}),
    ("CAP-08", "energy_J", f"stored_energy_J(m.c, {CREST})", "J", {"v": "440 V", "c": "45 uF"}),
    ("CAP-11", "series_uF", "series_uF(m.a, m.b)", "uF", {"a": "45 uF", "b": "5 uF"}),
    ("CAP-15", "I_A", "capacitor_current_A(m.c, m.v, m.f)", "A", {"c": "45 uF", "v": "370 V", "f": "60 Hz"}),
]


def sheet(spec: str, unit: str) -> str:
    """`2%+5x0.01` of the table as cliplead's accuracy text."""
    percent, counts = spec.split("%+")
    number, size = counts.split("x")
    return f"{percent}% + {number} x {size}{unit}"


def test_every_row_is_compared_or_named():
    assert {r.group for r in rows()} == COMPARED | set(NOT_SHOWN)
    assert not COMPARED & set(NOT_SHOWN)


@pytest.mark.parametrize("id", ["UNC-01", "UNC-02-45", "UNC-02-42", "UNC-02-46.9", "UNC-02-49.5"])
def test_word_uncertainty_and_probability(id, tmp_path):
    word, chance = ("verdict_guarded", "P") if id == "UNC-01" else ("verdict", "P_conform")
    inputs = row(id, "u").inputs
    reading = Reading(f"{inputs['y']:.1f}", "uF", sheet(inputs["spec"], "uF"))
    answer, judgement = judge_expression(tmp_path, {"c": reading}, "m.c", inputs["TL"], inputs["TU"], "uF")
    agrees(row(id, word), answer["verdict"])
    agrees(row(id, word), judgement["verdict"])
    agrees(row(id, "u"), judgement["standard_uncertainty"])
    agrees(row(id, chance), judgement["probability_of_conformance"])


@pytest.mark.parametrize("id", ["UNC-01", "UNC-02-45", "UNC-02-42", "UNC-02-46.9", "UNC-02-49.5"])
def test_the_shipped_rule_says_the_same(id):
    """The table's limits 42.3 to 47.7 uF are 45 uF +/- 6 %."""
    word = "verdict_guarded" if id == "UNC-01" else "verdict"
    inputs = row(id, "u").inputs
    reading = Reading(f"{inputs['y']:.1f}", "uF", sheet(inputs["spec"], "uF"))
    answer = judge("run-capacitor", {"capacitance": reading}, {"capacitance": "45uF", "tolerance": "6%"})
    agrees(row(id, word), answer["verdict"])
    judgement = one_judgement(answer)
    agrees(row("CAP-02", "low_limit_uF"), judgement["low"])
    agrees(row("CAP-02", "high_limit_uF"), judgement["high"])
    agrees(row(id, "u"), judgement["standard_uncertainty"])


@pytest.mark.parametrize(
    ("digits", "word"),
    # The acceptance limits of UNC-01 are 43.465554723 and 46.534445277 uF.
    [
        ("43.46555", "conditional pass"),
        ("43.46556", "pass"),
        ("46.53444", "pass"),
        ("46.53445", "conditional pass"),
    ],
)
def test_the_word_changes_at_the_acceptance_limit(digits, word, tmp_path):
    below, above = float(row("UNC-01", "AL_lower").value), float(row("UNC-01", "AL_upper").value)
    assert (below < float(digits) < above) == (word == "pass")
    # The half-width of UNC-01, 1.9 % of 42.6 uF and two counts of 0.1 uF, held fixed.
    reading = Reading(digits, "uF", "1.0094uF")
    answer, _ = judge_expression(tmp_path, {"c": reading}, "m.c", 42.3, 47.7)
    assert answer["verdict"] == word


def test_capacitance_under_load(tmp_path):
    inputs = row("CAP-05", "u_uF").inputs
    readings = {
        "amps": Reading(f"{inputs['I_A']:.2f}", "A", sheet(inputs["I_spec"], "A")),
        "volts": Reading(f"{inputs['V_V']:.1f}", "V", sheet(inputs["V_spec"], "V")),
        # 0 % so that the frequency's resolution does not add to the half-width the row states.
        "frequency": Reading("60.00", "Hz", f"1 x {inputs['f_half_width_Hz']}Hz"),
    }
    answer, judgement = judge_expression(tmp_path, readings, UNDER_LOAD, 42.3, 47.7)
    agrees(row("CAP-02", "uF"), judgement["value"])
    agrees(row("CAP-05", "u_uF"), judgement["standard_uncertainty"])
    agrees(row("CAP-05", "u_rel"), judgement["standard_uncertainty"] / judgement["value"])
    agrees(row("CAP-05", "U_k2_uF"), 2 * judgement["standard_uncertainty"])
    assert answer["verdict"] == "conditional pass"


@pytest.mark.parametrize(("id", "output", "call", "unit", "inputs"), CALLS, ids=[f"{c[0]}:{c[1]}" for c in CALLS])
def test_the_formulas_a_rule_may_call(id, output, call, unit, inputs, tmp_path):
    readings = {name: Reading(*text.split()) for name, text in inputs.items()}
    want = float(row(id, output).value)
    _, judgement = judge_expression(tmp_path, readings, call, want * 0.9, want * 1.1, unit)
    agrees(row(id, output), judgement["value"], PRINTED)


def test_the_shipped_rule_judges_capacitance_under_load():
    inputs = row("CAP-02", "uF").inputs
    readings = {
        "amps": Reading(f"{inputs['I_A']:.2f}", "A ac", "2% + 5 x 0.01A"),
        "volts": Reading(f"{inputs['V_V']:.1f}", "V ac", "1% + 3 x 0.1V"),
    }
    plate = {"capacitance": f"{inputs['rated_uF']}uF", "tolerance": f"{inputs['tol_pct']}%"}
    answer = judge("capacitor-under-load", readings, {**plate, "frequency": f"{inputs['f_Hz']}Hz"})
    judgement = one_judgement(answer)
    agrees(row("CAP-02", "uF"), judgement["value"])
    agrees(row("CAP-02", "low_limit_uF"), judgement["low"])
    agrees(row("CAP-02", "high_limit_uF"), judgement["high"])
    agrees(row("CAP-02", "deviation_pct"), 100 * (judgement["value"] / inputs["rated_uF"] - 1))


def test_start_capacitor_band():
    answer = judge("start-capacitor", {"capacitance": Reading("95.0", "uF", "1.9% + 2")}, {"capacitance": "88uF"})
    judgement = one_judgement(answer)
    agrees(row("CAP-10", "low"), judgement["low"])
    agrees(row("CAP-10", "high"), judgement["high"])
    assert answer["verdict"] == "pass"


@pytest.mark.parametrize("leads", [("c_herm", "c_fan", "herm_fan"), ("herm_fan", "c_herm", "c_fan")])
def test_the_series_reading_is_recognised_whatever_pair_it_was_read_on(leads):
    """45 uF and 5 uF in series: physics. A good can is good with the leads on other pairs too."""
    inputs = row("CAP-11", "series_uF").inputs
    figures = (inputs["herm_uF"], inputs["fan_uF"], float(row("CAP-11", "series_uF").value))
    readings = {name: Reading(f"{figure:.2f}", "uF", "1.9% + 2") for name, figure in zip(leads, figures)}
    plate = {"herm": f"{inputs['herm_uF']}uF", "fan": f"{inputs['fan_uF']}uF"}
    assert judge("dual-run-capacitor", readings, plate)["verdict"] == "pass"


def test_a_series_reading_that_does_not_fit_gives_no_verdict():
    """3 uF where 45 uF and 5 uF in series give 4.5 uF."""
    readings = {"c_herm": Reading("45.00", "uF"), "c_fan": Reading("5.00", "uF"), "herm_fan": Reading("3.00", "uF")}
    answer = judge("dual-run-capacitor", readings, {"herm": "45uF", "fan": "5uF"})
    assert answer["verdict"] == "no verdict", answer


def test_transposed_digits_ask_before_they_judge():
    inputs = row("UNC-08", "swapped").inputs
    assert row("UNC-08", "ask_before_judging").value == "true"
    reading = Reading(f"{inputs['entered_uF']}", "uF", "1.9% + 2 x 0.1uF")
    plate = {"capacitance": f"{inputs['plate_uF']}uF", "tolerance": f"{inputs['tol_pct']}%"}
    answer = judge("run-capacitor", {"capacitance": reading}, plate, sure=False)
    assert answer["verdict"] == "no verdict", answer
    assert "45" in answer["reason"], answer


def test_a_good_run_capacitor():
    """Common practice, no source: a 7.5 uF, 370 VAC run capacitor that reads 7.67 uF is good."""
    reading = Reading("7.67", "uF", "1.9% + 2 x 0.01uF")
    answer = judge("run-capacitor", {"capacitance": reading}, {"capacitance": "7.5uF", "tolerance": "6%"})
    assert answer["verdict"] == "pass", answer
