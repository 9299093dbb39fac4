"""Reads check_values.csv. Does not compute anything."""

import csv
import json
from dataclasses import dataclass
from pathlib import Path

FILE = Path(__file__).with_name("check_values.csv")


@dataclass(frozen=True)
class Row:
    """One figure of the table."""

    id: str
    what: str
    inputs: dict
    output: str
    value: str
    tolerance: float | None
    source: str

    @property
    def group(self) -> str:
        """`UNC-02` of `UNC-02-45`."""
        return "-".join(self.id.split("-")[:2])

    def __str__(self) -> str:
        return f"{self.id}:{self.output}"


def rows() -> list[Row]:
    """All rows in their order."""
    with FILE.open(newline="", encoding="utf-8") as file:
        return [
            Row(
                line["id"],
                line["what"],
                json.loads(line["inputs_json"]),
                line["output"],
                line["value"],
                float(line["tol_abs"]) if line["tol_abs"] else None,
                line["source"],
            )
            for line in csv.DictReader(file)
        ]


def row(id: str, output: str) -> Row:
    """The one row of this id and output."""
    (found,) = [r for r in rows() if (r.id, r.output) == (id, output)]
    return found


def agrees(row: Row, got: float | str, printed: float = 0.0) -> None:
    """Fails unless `got` is the row's value: equal as text for words, within the row's tolerance for numbers, with the
    relative rounding `printed` allowed on top where `got` was read from print."""
    if row.tolerance is None:
        assert str(got) == row.value, f"{row}: {got!r}, the table says {row.value!r} ({row.source})"
        return
    want = float(row.value)
    assert abs(float(got) - want) <= row.tolerance + printed * abs(want), (
        f"{row}: {got!r}, the table says {want!r} +/- {row.tolerance} ({row.source})"
    )
