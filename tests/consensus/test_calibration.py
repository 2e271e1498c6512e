"""What the engine claims holds in simulated worlds (tests/simulation), seeds fixed.

Tolerances: 20 designs have some 500 to 600 cells, so that one wrong cell is 0.2 %.
"""

from __future__ import annotations

import pytest

from tests.simulation.__main__ import score_worlds


@pytest.fixture(scope="module", params=["typical", "messy", "few"])
def score(request):
    return request.param, score_worlds(request.param, [11], 20)


def test_sure_cells_are_right(score):
    kind, tally = score
    assert tally.share("wrong at p >= 0.99") <= 0.01
    assert tally.share("agreed but wrong") == 0
    assert tally.share("cells wrong") <= {"typical": 0.002, "messy": 0.005, "few": 0.01}[kind]
    assert tally.share("state right") >= 0.98


def test_log_loss_stays_low(score):
    kind, tally = score
    assert tally.share("cells log loss") <= {"typical": 0.004, "messy": 0.01, "few": 0.04}[kind]


def test_mistakes_are_found_and_clean_sheets_left_alone(score):
    kind, tally = score
    if kind == "few":
        return
    assert tally.share("found: mirrored_pins") >= 0.9
    assert tally.share("found: shifted_positions") >= 0.9
    assert tally.share("clean sheets flagged") <= 0.02


def test_variants_are_recovered_and_none_invented():
    tally = score_worlds("variants", [102], 8)
    assert tally.share("second tables recovered") >= 0.7
    assert tally.share("tables beyond the true ones") == 0
    assert tally.share("cells wrong") <= 0.004
