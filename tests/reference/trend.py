"""Makes trend.csv: sixty series with the figures that SciPy gives. `--write` writes it, else the file is compared with a fresh run."""

import math
import random
import sys
from pathlib import Path

import numpy as np
from scipy import stats

TABLE = Path(__file__).with_name("trend.csv")
HEAD = (
    "# Series and what SciPy makes of them (trend.py). half_width: 95 % prediction interval a year after the last visit.\n"
    "days;values;slope;intercept;scatter;half_width;theil_sen\n"
)


def series() -> list[tuple[list[float], list[float]]]:
    draw = random.Random(20)
    found = []
    for _ in range(60):
        visits = draw.randint(4, 12)
        days = sorted({float(draw.randint(0, 2500)) for _ in range(visits + 2)})[:visits]
        slope, level, noise = draw.uniform(-0.01, 0.01), draw.uniform(1, 90), draw.choice([0.02, 0.2, 1.5])
        found.append((days, [round(level + slope * d + draw.gauss(0, noise), 2) for d in days]))
    return found


def figures(days: list[float], values: list[float]) -> list[float]:
    fit = stats.linregress(days, values)
    n, at = len(days), max(days) + 365.0
    x = np.array(days)
    scatter = math.sqrt(float(((np.array(values) - fit.intercept - fit.slope * x) ** 2).sum()) / (n - 2))
    reach = scatter * math.sqrt(1 + 1 / n + (at - x.mean()) ** 2 / float(((x - x.mean()) ** 2).sum()))
    half = float(stats.t.ppf(0.975, n - 2)) * reach
    return [fit.slope, fit.intercept, scatter, half, stats.theilslopes(values, days).slope]


def text() -> str:
    lines = []
    for days, values in series():
        numbers = ";".join(f"{float(v):.12g}" for v in figures(days, values))
        lines.append(f"{' '.join(f'{d:g}' for d in days)};{' '.join(f'{v:g}' for v in values)};{numbers}\n")
    return HEAD + "".join(lines)


if __name__ == "__main__":
    if "--write" in sys.argv[1:]:
        TABLE.write_text(text(), encoding="utf-8")
    sys.exit(0 if TABLE.read_text(encoding="utf-8") == text() else 1)
