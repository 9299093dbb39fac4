"""Each figure of the table against SciPy and plain Python. Does not call cliplead."""

import pytest
from formulas import FORMULAS
from table import agrees, rows


@pytest.mark.parametrize("row", rows(), ids=str)
def test_the_table_is_right(row):
    agrees(row, FORMULAS[row.group](row.inputs)[row.output])


def test_the_table_is_whole():
    """24 figures of capacitors and 38 of uncertainty, each with a source and either a tolerance or a word."""
    groups = [row.group.split("-")[0] for row in rows()]
    assert (groups.count("CAP"), groups.count("UNC"), len(groups)) == (24, 38, 62)
    assert all(row.source for row in rows())
