"""Other designs of the same shape: weighed only where the shape is the same."""

from __future__ import annotations

import numpy as np
import pytest

from consensus import Settings
from consensus.chart_table import chart_alphabet
from consensus.other_designs import log_joint_others
from consensus.reading_odds import reading_odds
from tests.consensus.charts import MODEL, chart, sheet

SETTINGS = Settings()
MINE = chart(["x.x", ".xx", "xx."], design="M")


def weighed(rows: list[str], others: list) -> dict[str, float]:
    given = sheet(MINE, rows)
    odds = reading_odds(given.readings, chart_alphabet(MINE, SETTINGS), MODEL, "x", SETTINGS)
    return dict(log_joint_others(given, given.readings, odds, MINE, others, SETTINGS))


def test_only_designs_of_the_same_shape_are_weighed() -> None:
    same = chart(["xx.", "x.x", ".xx"], design="S")
    longer = chart(["xx.", "x.x", ".xx", "xxx"], design="L")
    wider = chart(["xx..", "x.x.", ".xx."], design="W")
    assert set(weighed(["x.x", ".xx", "xx."], [MINE, same, longer, wider])) == {"S"}


def test_the_design_that_fits_weighs_most_and_the_share_is_split() -> None:
    fits, fails = chart(["xx.", "x.x", ".xx"], design="F"), chart(["...", "xxx", "..."], design="G")
    both = weighed(["xx.", "x.x", ".xx"], [fits, fails])
    assert both["F"] > both["G"] + 10
    alone = weighed(["xx.", "x.x", ".xx"], [fits])
    assert alone["F"] - both["F"] == pytest.approx(np.log(2))


def test_resistive_levels_of_the_other_design_are_read_in_its_own_terms() -> None:
    ladder = chart(["ab.", "x.c", ".aa"], design="A")
    found = weighed(["ab.", "x.c", ".aa"], [ladder])
    assert found["A"] > weighed(["xx.", "x.x", ".xx"], [ladder])["A"] + 10


def test_nothing_read_weighs_nothing() -> None:
    assert weighed(["x.x", ".xx", "xx."], []) == {}
