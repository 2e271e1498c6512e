"""One sheet more is what the batch with all sheets gives."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from consensus import DesignReadings, Reliability, Settings, agree_design, begin_updates, update_design
from consensus.results import DesignAgreement
from tests.consensus.benches import bench, good_sheets, third_apart
from tests.simulation.files import engine_input
from tests.simulation.rates import WORLDS
from tests.simulation.worlds import make_world

SETTINGS = Settings()
BEFORE = Reliability.from_settings(SETTINGS)


def large_design(kind: str, seed: int, units: int) -> DesignReadings:
    rates = replace(WORLDS[kind], units=(units, units), designs=1)
    (design,) = engine_input(make_world(kind, seed, rates=rates))
    return design


def first_sheets(design: DesignReadings, many: int) -> DesignReadings:
    kept = design.readings.sheet < many
    columns = {name: column[kept] for name, column in design.readings.__dict__.items()}
    return replace(design, sheets=design.sheets[:many], readings=replace(design.readings, **columns))


def differences(one: Any, other: Any, at: str = "") -> list[str]:
    """Where two plain documents differ: figures by more than 1e-6 of themselves, all else at all."""
    if isinstance(one, float) and isinstance(other, float):
        return [] if abs(one - other) <= 1e-6 * max(1.0, abs(one)) else [f"{at}: {one} {other}"]
    if isinstance(one, dict) and isinstance(other, dict) and one.keys() == other.keys():
        return [found for key in one for found in differences(one[key], other[key], f"{at}/{key}")]
    if isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        pairs = enumerate(zip(one, other, strict=True))
        return [found for row, (left, right) in pairs for found in differences(left, right, f"{at}/{row}")]
    return [] if one == other else [f"{at}: {one} {other}"]


def plain(chart: DesignAgreement) -> Any:
    whole = {"design": chart.to_plain(), "findings": chart.findings_plain()}
    return json.loads(json.dumps(whole, default=lambda number: number.item()))


def test_sheets_added_one_by_one_give_the_batch():
    # seed 5: 15 added sheets, one of them of a unit that was read before, two of them mirrored or shifted
    design = large_design("typical", 5, 330)
    before = len(design.sheets) - 15
    standing = begin_updates(first_sheets(design, before), BEFORE, SETTINGS)
    anew = []
    for many in range(before + 1, len(design.sheets) + 1):
        standing = update_design(standing, first_sheets(design, many))
        anew.append(standing.anew)
    assert sum(anew) < 5  # 2 % of the sheets added: the seventh, and each seventh after it, is a batch
    assert differences(plain(standing.chart), plain(agree_design(design, BEFORE, SETTINGS))) == []


@pytest.mark.parametrize("kind", ["variants", "storm", "messy"])
def test_several_tables_and_disputed_cells_give_the_batch(kind):
    design = large_design(kind, 6, 60)
    common = design.common or 0
    line = 1 if common == 0 else 0
    disputed = frozenset((row, False, min(line, common), max(line, common)) for row in (0, 1))
    design = replace(design, disputed=disputed)
    standing = begin_updates(first_sheets(design, len(design.sheets) - 2), BEFORE, SETTINGS)
    for many in (len(design.sheets) - 1, len(design.sheets)):
        standing = update_design(standing, first_sheets(design, many))
    batch = agree_design(design, BEFORE, SETTINGS)
    assert {cell.standing for cell in batch.variants[0].cells} >= {"disputed"}
    assert differences(plain(standing.chart), plain(batch)) == []


def test_a_place_in_doubt_is_computed_anew():
    design = large_design("few", 7, 5)
    standing = begin_updates(first_sheets(design, 4), BEFORE, SETTINGS)
    assert standing.total is None  # four units leave doubt
    assert update_design(standing, first_sheets(design, 5)).anew


def test_a_dispute_opened_with_the_sheet_is_seen():
    design = large_design("typical", 8, 330)
    before = first_sheets(design, len(design.sheets) - 1)
    standing = begin_updates(before, BEFORE, SETTINGS)
    common = design.common or 0
    line = 0 if common else 1
    place = (0, False, min(line, common), max(line, common))
    after = update_design(standing, replace(design, disputed=frozenset({place})))
    assert not after.anew
    assert "disputed" not in {cell.standing for cell in standing.chart.variants[0].cells}
    assert "disputed" in {cell.standing for cell in after.chart.variants[0].cells}


def test_two_sheets_that_nothing_else_explains_have_a_table_as_in_the_batch():
    """150 units of a pattern and one that differs from it at a third of its places; then another like it."""
    rows, moved = third_apart()
    design = bench([*good_sheets(150, rows), *good_sheets(2, moved)], pins="1234567")
    standing = begin_updates(first_sheets(design, 151), BEFORE, SETTINGS)
    assert standing.total is not None
    standing = update_design(standing, design)
    assert standing.anew
    assert differences(plain(standing.chart), plain(agree_design(design, BEFORE, SETTINGS))) == []
