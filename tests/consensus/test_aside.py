"""Sheets that do not count: findings part by part are those of all at once."""

from __future__ import annotations

import pytest

from consensus import Settings, agree_design, aside, learn_reliability
from consensus.encoding import encode
from tests.consensus.benches import PATTERN, bench, good_sheets, turned, typed_sheet

SETTINGS = Settings()
STUCK = [f"{row[:2]}c{row[3:]}" for row in PATTERN]
SUSPECTS = [
    typed_sheet(rows, held_good="no", unit=f"suspect {at // 2}")
    for at, rows in enumerate([PATTERN, STUCK, STUCK, turned(PATTERN), turned(STUCK), PATTERN])
]


def test_each_part_says_what_all_together_would(monkeypatch: pytest.MonkeyPatch) -> None:
    design = bench([*good_sheets(6), *SUSPECTS])
    reliability = learn_reliability([design], SETTINGS)
    whole = agree_design(design, reliability, SETTINGS).findings
    monkeypatch.setattr(aside, "AT_ONCE", 1)
    encoded = encode(design, SETTINGS)
    assert [part.tolist() for part in aside.parts_aside(encoded, 0)] == [[6, 7], [8, 9], [10, 11]]
    apart = agree_design(design, reliability, SETTINGS).findings
    assert [(one.finding, one.params) for one in apart] == [(one.finding, one.params) for one in whole]
    assert [one.p for one in apart] == pytest.approx([one.p for one in whole], abs=1e-12)


def test_no_part_holds_more_than_a_few_million_readings_under_hypotheses() -> None:
    """Of 1 600 suspects at once there would be 2 GB."""
    suspects = [typed_sheet(STUCK, held_good="no") for _ in range(1600)]
    encoded = encode(bench([*good_sheets(6), *suspects]), SETTINGS)
    parts = aside.parts_aside(encoded, 0)
    assert sorted(sheet for part in parts for sheet in part.tolist()) == list(range(6, 1606))
    assert len(parts) > 2 and max(map(len, parts)) < 800
