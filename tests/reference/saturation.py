"""Makes crates/trade/src/refrigerant/data.rs from CoolProp: saturation of six refrigerants at nodes 5 K apart.

`python tests/reference/saturation.py` compares the file with a fresh run and says the first difference; `--write` writes it.
`coolprop(...)` is what test_refrigerants.py compares the product with, at every kelvin.
"""

import math
import sys
from functools import lru_cache
from pathlib import Path

import CoolProp
from CoolProp import CoolProp as cp

DATA = Path(__file__).resolve().parents[2] / "crates/trade/src/refrigerant/data.rs"
VERSION = "8.0.0"
# Name of the constant, CoolProp's name. R-454B is its predefined mixture (68.9/31.1 % mass of R-32 and R-1234yf).
FLUIDS = {
    "R22": "R22",
    "R32": "R32",
    "R134A": "R134a",
    "R407C": "R407C",
    "R410A": "R410A",
    "R454B": "R454B.mix",
}
# The product's name, the name of the constant.
NAMES = {"R-22": "R22", "R-32": "R32", "R-134a": "R134A", "R-407C": "R407C", "R-410A": "R410A", "R-454B": "R454B"}
FIRST_C, LAST_C, STEP_C = -45, 65, 5
# Half the span of the central difference that gives the slope, K.
SPAN = 0.01


class Blend:
    """A mixture above 20 °C, where the plain solver misses temperatures: each is found from its lower neighbour."""

    STEP, START = 0.25, 20.0

    def __init__(self, fluid: str, quality: int):
        self.state = CoolProp.AbstractState("HEOS", fluid)
        self.quality = quality
        self.state.update(CoolProp.QT_INPUTS, quality, self.START + 273.15)
        self.guesses = [self._guess(self.START + 273.15)]

    def _guess(self, kelvin: float):
        state, guess = self.state, cp.PyGuessesStructure()
        guess.T, guess.p = kelvin, state.p()
        guess.rhomolar_liq = state.saturated_liquid_keyed_output(CoolProp.iDmolar)
        guess.rhomolar_vap = state.saturated_vapor_keyed_output(CoolProp.iDmolar)
        guess.x, guess.y = state.mole_fractions_liquid(), state.mole_fractions_vapor()
        return guess

    def pressure(self, celsius: float) -> float:
        below = int((celsius - self.START) / self.STEP)
        while len(self.guesses) <= below:
            kelvin = self.START + self.STEP * len(self.guesses) + 273.15
            self.state.update_with_guesses(CoolProp.QT_INPUTS, self.quality, kelvin, self.guesses[-1])
            self.guesses.append(self._guess(kelvin))
        self.state.update_with_guesses(CoolProp.QT_INPUTS, self.quality, celsius + 273.15, self.guesses[below])
        return self.state.p()


@lru_cache(maxsize=None)
def blend(fluid: str, quality: int) -> Blend:
    return Blend(fluid, quality)


def coolprop(fluid: str, celsius: float, quality: int) -> float:
    """Saturation pressure in kPa absolute: quality 0 is the bubble line, 1 the dew line."""
    name = FLUIDS[fluid]
    if name.endswith(".mix") and celsius > Blend.START:
        return blend(name, quality).pressure(celsius) / 1000
    return cp.PropsSI("P", "T", celsius + 273.15, "Q", quality, name) / 1000


def node(fluid: str, celsius: float, quality: int) -> tuple[float, float]:
    """ln of the pressure in kPa, and its slope per kelvin."""
    low, high = (math.log(coolprop(fluid, celsius + d, quality)) for d in (-SPAN, SPAN))
    return math.log(coolprop(fluid, celsius, quality)), (high - low) / (2 * SPAN)


def number(value: float) -> str:
    """Eight decimals, grouped as the style of the house wants long digits."""
    digits, decimals = f"{value:.8f}".split(".")
    return f"{digits}.{decimals[:3]}_{decimals[3:6]}_{decimals[6:]}"


def text() -> str:
    assert CoolProp.__version__ == VERSION, f"CoolProp {CoolProp.__version__}, wanted {VERSION}"
    nodes = range(FIRST_C, LAST_C + 1, STEP_C)
    lines = [
        f"//! Saturation at nodes {STEP_C} K apart, made by `tests/reference/saturation.py` from CoolProp {VERSION}. Not edited by hand.",
        "//! Each node: ln of the pressure in kPa absolute, and its slope per kelvin. Does not interpolate.",
        "",
        "/// Temperature of the first node, °C.",
        f"pub(super) const FIRST_C: f64 = {FIRST_C}.0;",
        "/// Distance of the nodes, K.",
        f"pub(super) const STEP_K: f64 = {STEP_C}.0;",
        "/// Number of nodes.",
        f"pub(super) const NODES: usize = {len(nodes)};",
        "/// One saturation line.",
        "pub(super) type Line = [(f64, f64); NODES];",
    ]
    for fluid in FLUIDS:
        for quality, line in ((0, "BUBBLE"), (1, "DEW")):
            lines += ["", f"pub(super) const {fluid}_{line}: Line = ["]
            for celsius in nodes:
                value, slope = node(fluid, celsius, quality)
                lines.append(f"    ({number(value)}, {number(slope)}),")
            lines.append("];")
    return "\n".join(lines) + "\n"


def main() -> int:
    new = text()
    if "--write" in sys.argv[1:]:
        DATA.write_text(new, encoding="utf-8")
        return 0
    old = DATA.read_text(encoding="utf-8")
    if old == new:
        return 0
    for at, (a, b) in enumerate(zip(old.splitlines(), new.splitlines(), strict=False), 1):
        if a != b:
            print(f"{DATA}:{at}: {a.strip()} stands there, CoolProp gives {b.strip()}")
            break
    return 1


if __name__ == "__main__":
    sys.exit(main())
