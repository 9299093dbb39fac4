"""Rows of check_values.csv against what `cliplead judge` prints.

Does not test the formulas of crate `trade` one by one: its own tests carry those rows. Needs CLIPLEAD_BIN.
"""

import pytest
from cli import Reading, judge, judge_expression, one_judgement
from table import agrees, row, rows

# Rows that no verdict shows: id and the reason. Every other row is compared below.
NOT_SHOWN = {
    "CAP-03": "an example of the same formula as CAP-02",
    "CAP-06": "a correction that no first rule applies; crate trade has it",
    "CAP-07": "a correction that no first rule applies; crate trade has it",
    "CAP-08": "discharge is shown by the residual volts, not computed; crate trade has it",
    "CAP-15": "the inverse of CAP-02; crate trade has it",
    "UNC-03": "judging with a prior comes with a later issue",
    "UNC-04": "forecasting drift comes with a later issue",
    "UNC-05": "comparing with peers comes with a later issue",
    "UNC-06": "a proposal for settling that this project's settler does not follow",
    "UNC-07": "a hint for settling, never a verdict",
}
COMPARED = {"CAP-01", "CAP-02", "CAP-05", "CAP-10", "CAP-11", "UNC-01", "UNC-02", "UNC-08"}

UNDER_LOAD = "m.amps * 1000000.0 / (2.0 * 3.141592653589793 * m.frequency * m.volts)"


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
    answer, judgement = judge_expression(tmp_path, {"c": reading}, "m.c", inputs["TL"], inputs["TU"])
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


def test_under_load_constant(tmp_path):
    """One volt, one ampere, 60 Hz."""
    readings = {"amps": Reading("1", "A"), "volts": Reading("1", "V"), "frequency": Reading("60", "Hz")}
    _, judgement = judge_expression(tmp_path, readings, UNDER_LOAD, 2000, 3000)
    agrees(row("CAP-01-60", "constant"), judgement["value"])


def test_start_capacitor_band():
    answer = judge("start-capacitor", {"capacitance": Reading("95.0", "uF", "1.9% + 2")}, {"capacitance": "88uF"})
    judgement = one_judgement(answer)
    agrees(row("CAP-10", "low"), judgement["low"])
    agrees(row("CAP-10", "high"), judgement["high"])
    assert answer["verdict"] == "pass"


def test_the_series_reading_across_herm_and_fan_is_no_verdict_on_the_part():
    """45 uF and 5 uF in series read 4.5 uF: physics. Leads on HERM and FAN are not a bad capacitor."""
    series = float(row("CAP-11", "series_uF").value)
    readings = {
        "c_to_herm": Reading(f"{series:.2f}", "uF", "1.9% + 2"),
        "c_to_fan": Reading("5.00", "uF", "1.9% + 2"),
    }
    answer = judge("dual-run-capacitor", readings, {"herm": "45uF", "fan": "5uF"})
    assert answer["verdict"] == "no verdict", answer
    assert "HERM" in answer["reason"] and "FAN" in answer["reason"], answer


def test_transposed_digits_ask_before_they_judge():
    inputs = row("UNC-08", "swapped").inputs
    assert row("UNC-08", "ask_before_judging").value == "true"
    reading = Reading(f"{inputs['entered_uF']}", "uF", "1.9% + 2 x 0.1uF")
    plate = {"capacitance": f"{inputs['plate_uF']}uF", "tolerance": f"{inputs['tol_pct']}%"}
    answer = judge("run-capacitor", {"capacitance": reading}, plate)
    assert answer["verdict"] == "no verdict", answer
    assert "45" in answer["reason"], answer


def test_a_good_run_capacitor():
    """Common practice, no source: a 7.5 uF, 370 VAC run capacitor that reads 7.67 uF is good."""
    reading = Reading("7.67", "uF", "1.9% + 2 x 0.01uF")
    answer = judge("run-capacitor", {"capacitance": reading}, {"capacitance": "7.5uF", "tolerance": "6%"})
    assert answer["verdict"] == "pass", answer
