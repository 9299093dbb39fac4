"""The engine's uncertainty, got by moving each input (Kragten's method), against the package `uncertainties`, which
differentiates and propagates linearly (JCGM 100, 5.1.2).

Does not compare rules that ship: each check writes a rule with one expression. Needs CLIPLEAD_BIN.

Tolerance: the central half-difference over two moves of u differs from the derivative by a part f''' u^2 / (6 f') at
most. For a quotient that is (u/x)^2, for a square root (u/x)^2 / 8, for a product or sum nothing. Each expression states
its bound: EXACT where no third derivative stands, else a multiple of the greatest (u/x)^2 that the inputs have, where x
is what the expression divides by or takes the root of.
"""

from math import sqrt as plain_sqrt
from types import SimpleNamespace

import pytest
from cli import PRINTED, Reading, judge_expression
from uncertainties import ufloat, umath

EXACT = 1e-9
AMPS = Reading("6.10", "A", "2% + 5 x 0.01A")
VOLTS = Reading("371.0", "V", "1% + 3 x 0.1V")
HERTZ = Reading("60.00", "Hz", "1 x 0.05Hz")
HERM = Reading("44.6", "uF", "1.9% + 2 x 0.1uF")
FAN = Reading("4.81", "uF", "1.9% + 2 x 0.01uF")
RETURN = Reading("76.4", "degF", "0% + 8")
OUTSIDE = Reading("38.2", "degF", "0% + 8")
MIXED = Reading("67.1", "degF", "0% + 8")
OHMS = Reading("1.24", "ohm", "1% + 5 x 0.01ohm")
FAN_RPM = Reading("1075", "rpm", "0.5% + 1 x 1rpm")
INCHES = Reading("0.52", "in. w.c.", "1% + 2 x 0.01inwc")
PSI = Reading("118.2", "psig", "0.5% + 3 psig")

CASES = {
    # linear in each input: exact
    "sum": ({"a": HERM, "b": FAN}, "m.a + m.b", EXACT),
    "difference": ({"a": RETURN, "b": MIXED}, "m.a - m.b", EXACT),
    "scaled": ({"a": HERM}, "m.a * 0.94 - 3.0", EXACT),
    "product": ({"a": AMPS, "b": VOLTS}, "m.a * m.b", EXACT),
    "product of three": ({"a": AMPS, "b": VOLTS, "c": HERTZ}, "m.a * m.b * m.c / 1000.0", EXACT),
    "weighted mix": ({"a": RETURN, "b": OUTSIDE}, "0.8 * m.a + 0.2 * m.b", EXACT),
    "deviation in percent": ({"a": HERM}, "(m.a - 45.0) / 45.0 * 100.0", EXACT),
    "phase means": ({"a": VOLTS, "b": VOLTS, "c": VOLTS}, "(m.a + m.b + m.c) / 3.0", EXACT),
    # a square has no third derivative
    "square": ({"a": AMPS}, "m.a * m.a", EXACT),
    "heat in a winding": ({"i": AMPS, "r": OHMS}, "m.i * m.i * m.r", EXACT),
    # the same input twice, which only works when the input moves as one
    "input cancels in part": ({"a": HERM, "b": FAN}, "(m.a + m.b) - m.a * 0.5", EXACT),
    # quotients: (u/x)^2
    "quotient": ({"a": VOLTS, "b": AMPS}, "m.a / m.b", 4e-4),
    "reciprocal": ({"a": OHMS}, "1.0 / m.a", 2e-3),
    "under-load capacitance": (
        {"i": AMPS, "v": VOLTS, "f": HERTZ},
        "m.i * 1000000.0 / (2.0 * 3.141592653589793 * m.f * m.v)",
        1e-4,
    ),
    "series capacitance": ({"a": HERM, "b": FAN}, "m.a * m.b / (m.a + m.b)", 4e-4),
    "parallel of three": ({"a": OHMS, "b": OHMS, "c": OHMS}, "1.0 / (1.0/m.a + 1.0/m.b + 1.0/m.c)", 2e-3),
    "outdoor-air fraction": ({"r": RETURN, "m": MIXED, "o": OUTSIDE}, "(m.r - m.m) / (m.r - m.o)", 1e-3),
    "ratio of a difference to itself": ({"a": HERM, "b": FAN}, "(m.a - m.b) / (m.a + m.b)", 1e-3),
    "impedance from a reading": ({"v": VOLTS, "i": AMPS, "r": OHMS}, "m.v / m.i - m.r", 4e-4),
    "fan law": ({"p": INCHES, "n": FAN_RPM}, "m.p * (1140.0 / m.n) * (1140.0 / m.n)", 4e-4),
    "gauge over absolute": ({"p": PSI}, "m.p / (m.p + 14.696)", 1e-3),
    # roots
    "air speed": ({"p": INCHES}, "4005.0 * sqrt(m.p)", 4e-4),
    "modulus": ({"a": VOLTS, "b": AMPS}, "sqrt(m.a * m.a + 400.0 * m.b * m.b)", 1e-4),
    "root of a quotient": ({"p": INCHES, "n": FAN_RPM}, "sqrt(m.p / m.n)", 4e-4),
    "harmonic bias": ({"v": VOLTS, "w": FAN}, "sqrt(1.0 + 25.0*m.w*m.w/m.v/m.v) / sqrt(1.0 + m.w*m.w/m.v/m.v)", 4e-3),
    # away from their kinks these are linear
    "absolute value": ({"a": OUTSIDE, "b": RETURN}, "abs(m.a - m.b)", EXACT),
    "smaller of two": ({"a": HERM, "b": FAN}, "min(m.a, m.b * 2.0)", EXACT),
    "greater of two": ({"a": HERM, "b": FAN}, "max(m.a, m.b * 2.0)", EXACT),
}


# Worked by linear propagation outside the engine: a formula of the catalogue, the inputs with their half-widths, the
# standard uncertainty by linear propagation (JCGM 100), and the part by which moving the inputs may differ from it. Half-widths of
# 1.0392304845 are a u of 0.6.
NEAR = "0% + 1.0392304845 degF"
AIR = "outside_air_fraction(m.r, m.m, m.o)"
WORKED = {
    "REF-16": (
        {"p": Reading("118.000", "psig", "0% + 3 psig"), "t": Reading("53.000", "degF", "0% + 1.8 degF")},
        'superheat_F("R-410A", m.p, m.t, 0.0)',
        2.577360888 / 2,
        4e-3,
    ),
    "AIR-06": (
        {"r": Reading("75.000", "degF", NEAR), "m": Reading("79.000", "degF", NEAR), "o": Reading("95.000", "degF", NEAR)},
        AIR,
        0.038884444,
        2e-3,
    ),
    "AIR-07": (
        {"r": Reading("74.000", "degF", NEAR), "m": Reading("73.000", "degF", NEAR), "o": Reading("69.000", "degF", NEAR)},
        AIR,
        0.155537777,
        2e-2,
    ),
    "AIR-08": (
        {"r": Reading("72.000", "degF", NEAR), "m": Reading("60.000", "degF", NEAR), "o": Reading("30.000", "degF", NEAR)},
        AIR,
        0.018024002,
        1e-3,
    ),
    "GAS-04": (
        {"co": Reading("240.000", "ppm", "0% + 20 ppm"), "o": Reading("8.5", "%", "0% + 3")},
        "co_air_free_ppm(m.co, m.o)",
        20.265911179,
        1e-3,
    ),
}


def spread(reading: Reading) -> float:
    """Standard uncertainty that the accuracy text means (JCGM 100, 4.3.7), by code of its own."""
    step = 10.0 ** -len(reading.digits.partition(".")[2])
    half, counted = 0.0, False
    for term in reading.accuracy.split("+"):
        term = term.strip()
        if term.endswith("%"):
            half += abs(reading.value) * float(term[:-1]) / 100
        elif " x " in term:
            counts, size = term.split(" x ")
            half += float(counts) * float("".join(c for c in size if c.isdigit() or c == "."))
            counted = True
        elif term.isdigit():
            half += float(term) * step
            counted = True
        else:
            half += float(term.split()[0])
    # Where no counts are stated the display's own step is added (JCGM 100, F.2.2.1).
    return plain_sqrt(half**2 / 3 + (0.0 if counted else step**2 / 12))


def by_uncertainties(readings: dict[str, Reading], expression: str):
    """The expression with linear propagation; its text means the same in Python as in a rule."""
    inputs = SimpleNamespace(**{name: ufloat(r.value, spread(r)) for name, r in readings.items()})
    words = {
        "m": inputs,
        "sqrt": umath.sqrt,
        # Chosen by the nominal value: `uncertainties` has no such functions that differentiate.
        "abs": lambda x: -x if x.nominal_value < 0 else x,
        "min": lambda *xs: min(xs, key=lambda x: x.nominal_value),
        "max": lambda *xs: max(xs, key=lambda x: x.nominal_value),
        "__builtins__": {},
    }
    return eval(expression, words)  # noqa: S307 - the expressions stand above


def by_moving(readings: dict[str, Reading], expression: str) -> float:
    """Kragten's method in Python, to see that a stated tolerance is the method's own, not the engine's error."""
    values = {name: r.value for name, r in readings.items()}
    words = {"sqrt": plain_sqrt, "abs": abs, "min": min, "max": max, "__builtins__": {}}

    def at(**moved):
        return eval(expression, {**words, "m": SimpleNamespace(**{**values, **moved})})  # noqa: S307

    halves = [
        (at(**{n: values[n] + spread(r)}) - at(**{n: values[n] - spread(r)})) / 2 for n, r in readings.items()
    ]
    return plain_sqrt(sum(half * half for half in halves))


def test_there_are_enough_expressions():
    assert len(CASES) >= 20


@pytest.mark.parametrize("name", CASES)
def test_the_stated_tolerance_is_the_methods_own(name):
    readings, expression, tolerance = CASES[name]
    want = by_uncertainties(readings, expression).std_dev
    assert by_moving(readings, expression) == pytest.approx(want, rel=tolerance, abs=0)


@pytest.mark.parametrize("name", CASES)
def test_the_engine_agrees(name, tmp_path):
    readings, expression, tolerance = CASES[name]
    want = by_uncertainties(readings, expression)
    # Wide enough that the meter is never too coarse for the tolerance.
    half = 10 * want.std_dev
    low, high = want.nominal_value - half, want.nominal_value + half
    answer, judgement = judge_expression(tmp_path, readings, expression, low, high)
    assert judgement["value"] == pytest.approx(want.nominal_value, rel=PRINTED)
    assert judgement["standard_uncertainty"] == pytest.approx(want.std_dev, rel=tolerance + PRINTED, abs=0)
    assert answer["verdict"] == "pass"


@pytest.mark.parametrize("name", WORKED)
def test_formulas_carry_uncertainty_as_the_worked_rows(name, tmp_path):
    readings, expression, u, tolerance = WORKED[name]
    _, judgement = judge_expression(tmp_path, readings, expression, -1e5, 1e5)
    assert judgement["standard_uncertainty"] == pytest.approx(u, rel=tolerance, abs=0)
