"""Conformity, Student's quantile and thermocouples on grids, against SciPy and an independent package, through `cliplead calc -`; and the
table of trends, which the crate's own tests read, computed anew.

Needs CLIPLEAD_BIN.
"""

import math

import thermocouples
import trend
from scipy import stats
from test_calc import calc


def test_the_table_of_trends_is_scipys():
    assert trend.TABLE.read_text(encoding="utf-8") == trend.text()


def test_probability_of_conformance_on_a_grid():
    cases = [(y, u, low, high) for y in (-3, 0, 1, 42.6, 60) for u in (0.01, 0.5, 7) for low, high in ((0, 1), (40, 47.7), (-1e12, 42))]
    got = calc([f"probability_of_conformance value={y} u={u} low={low!r} high={high}" for y, u, low, high in cases])
    for (y, u, low, high), value in zip(cases, got, strict=True):
        a, b = (low - y) / u, (high - y) / u
        right = stats.norm.sf(a) - stats.norm.sf(b) if a > 0 else stats.norm.cdf(b) - stats.norm.cdf(a)
        assert abs(value - right) <= 1e-12 + 1e-9 * right, (y, u, low, high, value, right)


def test_students_quantile_on_a_grid():
    cases = [(p, nu) for p in (1e-6, 0.01, 0.2, 0.5, 0.9, 0.975, 0.9995) for nu in (1, 2, 3, 5, 10, 30, 200, 10000)]
    got = calc([f"student_quantile probability={p} freedom={nu}" for p, nu in cases])
    worst = 0.0
    for (p, nu), value in zip(cases, got, strict=True):
        right = float(stats.t.ppf(p, nu))
        worst = max(worst, abs(value - right) / max(1.0, abs(right)))
        assert abs(value - right) <= 1e-8 * max(1.0, abs(right)), (p, nu, value, right)
    print(f"student_quantile: {len(cases)} points, worst {worst:.1e}")


def test_thermocouples_over_their_ranges():
    for letter, last in (("K", 1372), ("T", 400)):
        couple = thermocouples.get_thermocouple(letter)
        grid = [float(t) for t in range(-200, last + 1, 4)]
        right = [couple.temp_to_volt(t) * 1000 for t in grid]
        worst = 0.0
        for t, mv, got in zip(grid, right, calc([f"thermocouple_mV couple={letter} celsius={t}" for t in grid]), strict=True):
            worst = max(worst, abs(got - mv))
            assert abs(got - mv) < 1e-6, (letter, t, got, mv)
        inside = [(t, mv) for t, mv in zip(grid, right, strict=True) if -199 < t < last - 1]
        commands = [f"thermocouple_C couple={letter} millivolts={mv!r} cold_C=0" for _, mv in inside]
        for (t, mv), got in zip(inside, calc(commands), strict=True):
            assert abs(got - t) < 1e-4, (letter, mv, got, t)
        print(f"{letter}: {len(grid)} points, worst {worst:.1e} mV")


def test_en_number_and_posterior():
    got = calc(["en_number first=45 first_expanded=0.8 second=44.1 second_expanded=0.5", "posterior_u u=0.5828 prior_spread=1.5"])
    assert abs(got[0] - 0.9 / math.hypot(0.8, 0.5)) < 1e-12
    assert abs(got[1] - 1 / math.sqrt(1 / 0.5828**2 + 1 / 1.5**2)) < 1e-12
