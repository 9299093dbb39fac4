"""Saturation in the product against CoolProp itself, at every kelvin, bubble and dew, both ways, through `cliplead calc -`.

Does not test what the circuit makes of it; `calc.csv` and the crate's own tests hold worked rows. Needs CLIPLEAD_BIN.
"""

import pytest
import saturation
from test_calc import calc

# What is allowed of the pressure: our own choice.
ALLOWED = 1e-5
ALLOWED_K = 1e-3
KPA_PER_PSI = 6.894757293168
SEA_LEVEL_PSIA = 14.696
TEMPERATURES = range(saturation.FIRST_C, saturation.LAST_C + 1)


@pytest.mark.parametrize("name", saturation.NAMES)
@pytest.mark.parametrize(("line", "quality"), [("bubble", 0), ("dew", 1)])
def test_saturation_at_every_kelvin(name, line, quality):
    right = [saturation.coolprop(saturation.NAMES[name], t, quality) for t in TEMPERATURES]
    fahrenheit = [t * 1.8 + 32 for t in TEMPERATURES]
    commands = [f"{line}_pressure_psig refrigerant={name} saturated_F={f!r} altitude_ft=0" for f in fahrenheit]
    worst = 0.0
    for celsius, kpa, psig in zip(TEMPERATURES, right, calc(commands), strict=True):
        got = (psig + SEA_LEVEL_PSIA) * KPA_PER_PSI
        worst = max(worst, abs(got / kpa - 1))
        assert abs(got / kpa - 1) <= ALLOWED, f"{name} {line} at {celsius} °C: {got} kPa, CoolProp {kpa}"
    # The ends are left out: the last bit of a pressure decides whether they are still inside.
    inside = list(zip(TEMPERATURES, right, strict=True))[1:-1]
    commands = [
        f"{line}_temperature_F refrigerant={name} psig={kpa / KPA_PER_PSI - SEA_LEVEL_PSIA!r} altitude_ft=0"
        for _, kpa in inside
    ]
    worst_k = 0.0
    for (celsius, kpa), got in zip(inside, calc(commands), strict=True):
        off = abs((got - 32) / 1.8 - celsius)
        worst_k = max(worst_k, off)
        assert off <= ALLOWED_K, f"{name} {line} at {kpa} kPa: {(got - 32) / 1.8} °C, CoolProp {celsius}"
    print(f"{name} {line}: {len(right)} points, worst {worst:.1e} of the pressure, {worst_k:.1e} K")


def test_the_nodes_in_the_code_are_those_that_coolprop_gives():
    assert saturation.DATA.read_text(encoding="utf-8") == saturation.text()
