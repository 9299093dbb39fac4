"""How the checks call the binary: `cliplead judge RULE --format json`, with rules of their own where they need any.

Does not judge the answer. The binary is named by CLIPLEAD_BIN; without it every call fails, none is skipped.
"""

import json
import os
import subprocess
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SHIPPED_RULES = ROOT / "rules"
# Exit codes of `cliplead judge`: fine, a fail, could not run, no verdict.
FINE, FAILED, NO_VERDICT = 0, 1, 3
# Relative rounding of a figure as printed: nine significant digits.
PRINTED = 5.1e-9
EXIT_OF_WORD = {
    "pass": FINE,
    "conditional pass": FINE,
    "conditional fail": FAILED,
    "fail": FAILED,
    "no verdict": NO_VERDICT,
}


@dataclass(frozen=True)
class Reading:
    """What is typed for one point: the digits as displayed, the unit, the meter's accuracy ("" for none)."""

    digits: str
    unit: str
    accuracy: str = ""

    @property
    def value(self) -> float:
        return float(self.digits)


def binary() -> str:
    """The product under test."""
    path = os.environ.get("CLIPLEAD_BIN")
    assert path, "CLIPLEAD_BIN names no binary: run `cargo xtask test --only reference`"
    return path


def judge(
    rule: str, readings: dict[str, Reading], plate: dict[str, str] | None = None, rules=SHIPPED_RULES, sure=True
) -> dict:
    """The JSON object of one verdict. Fails when the command could not run or its exit code is not the word's.

    `sure` answers what cliplead would ask first ("were two digits swapped?") with yes, as the figures are meant.
    """
    command = [binary(), "judge", rule, "--rules", str(rules), "--format", "json", "--confirm", "all"]
    if sure:
        command.append("--sure")
    for name, value in (plate or {}).items():
        command += ["--plate", f"{name}={value}"]
    for name, reading in readings.items():
        command += ["--reading", f"{name}={reading.digits}{reading.unit}"]
        if reading.accuracy:
            command += ["--accuracy", f"{name}={reading.accuracy}"]
    done = subprocess.run(
        command, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=60, check=False
    )
    shown = f"{' '.join(command)}\nexit {done.returncode}\n{done.stdout}\n{done.stderr}"
    assert done.returncode in EXIT_OF_WORD.values(), shown
    try:
        answer = json.loads(done.stdout)
    except json.JSONDecodeError as error:
        raise AssertionError(f"stdout is no JSON: {shown}") from error
    assert EXIT_OF_WORD[answer["verdict"]] == done.returncode, shown
    return answer


def one_judgement(answer: dict) -> dict:
    """The only judgement of an answer."""
    assert len(answer["judgements"]) == 1, answer
    return answer["judgements"][0]


def write_rule(
    folder: Path, name: str, readings: dict[str, Reading], expression: str, low: float, high: float, unit: str
) -> None:
    """A rule that judges one expression of its readings (`m.NAME`) between two numbers.

    This is the only place where these checks write the rule language.
    """
    source = "physics: a definition of the reference check itself"
    lines = [f'title("Reference check {name}");', 'about("Compares one expression with a reference library.");']
    lines += [f'reads("{point}", "{reading.unit}");' for point, reading in readings.items()]
    lines += [
        "hold_points([]);",
        "",
        "fn judge(m, plate) {",
        f'    within("y", {expression}, {float(low)!r}, {float(high)!r})',
        f'        .unit("{unit}")',
        f'        .source("{source}")',
        '        .low("low")',
        '        .high("high")',
        "}",
    ]
    folder.mkdir(parents=True, exist_ok=True)
    (folder / f"{name}.rhai").write_text("\n".join(lines) + "\n", encoding="utf-8")


def judge_expression(
    folder: Path, readings: dict[str, Reading], expression: str, low: float, high: float, unit: str = "1"
) -> tuple[dict, dict]:
    """The verdict on one expression between two numbers, with the unit it is shown in: the answer and its only
    judgement."""
    write_rule(folder, "reference-check", readings, expression, low, high, unit)
    answer = judge("reference-check", readings, rules=folder)
    return answer, one_judgement(answer)
