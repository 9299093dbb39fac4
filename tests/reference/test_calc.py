"""`cliplead calc` against the rows of calc.csv, plain Python and PsychroLib; all values of a run go through one process (`calc -`).

Does not test what a rule makes of a formula. Needs CLIPLEAD_BIN.
"""

import csv
import json
import math
import subprocess
from dataclasses import dataclass
from pathlib import Path

import psychrolib as psy
import pytest
import saturation
from cli import binary
from scipy import optimize, stats

psy.SetUnitSystem(psy.IP)
TABLE = Path(__file__).with_name("calc.csv")


@dataclass(frozen=True)
class Row:
    """One figure: the call, what it must give, the same in Python."""

    id: str
    command: str
    value: str
    tolerance: str
    python: str
    source: str

    def __str__(self) -> str:
        return f"{self.id} {self.command}"


def table() -> list[Row]:
    with TABLE.open(encoding="utf-8") as lines:
        data = [line for line in lines if not line.startswith("#")]
    return [Row(*fields) for fields in list(csv.reader(data, delimiter=";"))[1:]]


def calc(commands: list[str]) -> list:
    """What each line gives: a number, a word, or None for a line that was refused."""
    done = subprocess.run(
        [binary(), "calc", "-", "--format", "json"],
        input="".join(f"{command}\n" for command in commands),
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    answers = [json.loads(line) for line in done.stdout.splitlines()]
    assert len(answers) == len(commands), f"{len(answers)} answers to {len(commands)} lines\n{done.stderr}"
    refused = any("error" in answer[0] for answer in answers)
    assert done.returncode == (2 if refused else 0), done.stderr
    return [answer[0].get("value") for answer in answers]


def vuf(a: float, b: float, c: float) -> float:
    """Negative over positive sequence in %, by phasors: the triangle of the line voltages laid out in the plane."""
    x = (a * a + c * c - b * b) / (2 * a)
    corner = complex(x, math.sqrt(c * c - x * x))
    sides = (complex(a, 0), corner - a, -corner)
    turn = complex(-0.5, math.sqrt(3) / 2)
    one = abs(sides[0] + turn * sides[1] + turn * turn * sides[2])
    other = abs(sides[0] + turn * turn * sides[1] + turn * sides[2])
    return 100 * min(one, other) / max(one, other)


def split(dry: float, wet: float) -> float:
    return -70.1339 + 0.545767 * dry + 2.196192 * wet - 0.0228128 * wet * wet


def steinhart(a: float, b: float, c: float, ohms: float) -> float:
    log = math.log(ohms)
    return 1 / (a + b * log + c * log**3) - 273.15


def excess_methane(part: float) -> float:
    """Excess air in % when the dry flue gas of methane holds this part of oxygen; dry air has 20.946 % of it."""
    dry = 1 + 2 * (1 - 0.20946) / 0.20946
    return 100 * part * dry / (0.20946 - part) / (2 / 0.20946)


def sat(name: str, quality: int, psig: float, altitude_ft: float) -> float:
    """Saturation temperature in °F at a gauge pressure, from CoolProp; the standard atmosphere."""
    kpa = psig * 6.894757293 + 101.325 * (1 - 2.25577e-5 * altitude_ft * 0.3048) ** 5.2559
    off = lambda celsius: saturation.coolprop(saturation.NAMES[name], celsius, quality) - kpa  # noqa: E731
    return optimize.brentq(off, -40.0, 64.0, xtol=1e-9) * 1.8 + 32


DAYS, VALUES = [0, 365, 730, 1095, 1460, 1825], [45.1, 44.6, 44.4, 43.2, 43.0, 42.1]
LINE = stats.linregress(DAYS, VALUES)


def half(day: float, quantile: float) -> float:
    """Half of the prediction interval of the line through DAYS and VALUES."""
    mean, n = sum(DAYS) / len(DAYS), len(DAYS)
    spread = sum((d - mean) ** 2 for d in DAYS)
    rest = sum((v - LINE.intercept - LINE.slope * d) ** 2 for d, v in zip(DAYS, VALUES, strict=True))
    reach = math.sqrt(rest / (n - 2) * (1 + 1 / n + (day - mean) ** 2 / spread))
    return float(stats.t.ppf(quantile, n - 2)) * reach


NAMES = {
    "math": math,
    "psy": psy,
    "stats": stats,
    "optimize": optimize,
    **{f.__name__: f for f in (vuf, split, steinhart, excess_methane, sat, half)},
    "DAYS": DAYS,
    "VALUES": VALUES,
    "LINE": LINE,
}
ROWS = table()


@pytest.fixture(scope="module")
def answers() -> dict[str, object]:
    return dict(zip((str(row) for row in ROWS), calc([row.command for row in ROWS]), strict=True))


@pytest.mark.parametrize("row", ROWS, ids=str)
def test_row(row, answers):
    got, anew = answers[str(row)], eval(row.python, dict(NAMES))  # noqa: S307 - our own table
    assert got is not None, row.command
    if not row.tolerance:
        assert (got, anew) == (row.value, row.value), row.source
        return
    tolerance = float(row.tolerance)
    assert abs(anew - float(row.value)) <= tolerance, f"the table: {row.value}, computed anew {anew} ({row.source})"
    assert abs(got - float(row.value)) <= tolerance, f"the table: {row.value}, cliplead {got} ({row.source})"


# Dry bulb in °F, wet-bulb depression, altitude in ft.
GRID = [
    (dry, dry - depression, altitude)
    for dry in range(20, 121, 5)
    for depression in (0.0, 2.0, 5.0, 10.0, 15.0, 20.0)
    for altitude in (0, 1000, 3000, 5000, 7000)
]
# What each state is compared in: the formula, PsychroLib's value from dry bulb, humidity ratio and pressure, the tolerance.
STATES = {
    "humidity_ratio": (lambda t, w, p: w, 2e-5),
    "enthalpy_Btu_per_lb": (lambda t, w, p: psy.GetMoistAirEnthalpy(t, w), 2e-2),
    "specific_volume_ft3_per_lb": (psy.GetMoistAirVolume, 2e-3),
    "relative_humidity_pct": (lambda t, w, p: 100 * psy.GetRelHumFromHumRatio(t, w, p), 5e-2),
    "air_density_lb_per_ft3": (psy.GetMoistAirDensity, 2e-5),
}


@pytest.mark.parametrize("name", STATES)
def test_moist_air_on_a_grid(name):
    value, tolerance = STATES[name]
    wanted, commands = [], []
    for dry, wet, altitude in GRID:
        pressure = psy.GetStandardAtmPressure(altitude)
        try:
            ratio = psy.GetHumRatioFromTWetBulb(dry, wet, pressure)
        except ValueError:
            continue
        # PsychroLib answers a wet bulb that no air has with its least humidity ratio.
        if ratio <= 1.1e-7:
            continue
        wanted.append((dry, wet, altitude, value(dry, ratio, pressure)))
        commands.append(f"{name} dry_bulb_F={dry} wet_bulb_F={wet} pressure_psia={pressure!r}")
    assert len(wanted) > 400
    worst = 0.0
    for (dry, wet, altitude, right), got in zip(wanted, calc(commands), strict=True):
        assert got is not None, (dry, wet, altitude)
        worst = max(worst, abs(got - right))
        assert abs(got - right) <= tolerance, f"{dry} °F, {wet} °F wet, {altitude} ft: {got} not {right}"
    print(f"{name}: {len(wanted)} points, worst {worst:.2e}")


def test_wet_bulb_and_dew_point_on_a_grid():
    cases = [(dry, rh, alt) for dry in range(30, 121, 10) for rh in (10, 30, 50, 70, 90, 100) for alt in (0, 5000)]
    wet, dew, wanted = [], [], []
    for dry, rh, altitude in cases:
        pressure = psy.GetStandardAtmPressure(altitude)
        wanted.append((psy.GetTWetBulbFromRelHum(dry, rh / 100, pressure), psy.GetTDewPointFromRelHum(dry, rh / 100)))
        wet.append(f"wet_bulb_F dry_bulb_F={dry} humidity_pct={rh} pressure_psia={pressure!r}")
        dew.append(f"dew_point_F dry_bulb_F={dry} humidity_pct={rh} pressure_psia={pressure!r}")
    for case, (wet_right, dew_right), wet_got, dew_got in zip(cases, wanted, calc(wet), calc(dew), strict=True):
        assert abs(wet_got - wet_right) <= 5e-3, (case, wet_got, wet_right)
        assert abs(dew_got - dew_right) <= 5e-3, (case, dew_got, dew_right)


def test_unbalance_by_phasors_over_random_triangles():
    """NEMA's figure and the negative sequence do not depend on the order of the phases, and agree with phasors."""
    import random

    draw = random.Random(7)
    triples = [tuple(draw.uniform(380, 480) for _ in range(3)) for _ in range(200)]
    orders = [(0, 1, 2), (1, 2, 0), (2, 1, 0)]
    name = "negative_sequence_pct first_V={} second_V={} third_V={}"
    for order in orders:
        got = calc([name.format(*(triple[i] for i in order)) for triple in triples])
        for triple, value in zip(triples, got, strict=True):
            assert abs(value - vuf(*triple)) < 1e-6, (triple, value, vuf(*triple))
