"""What units with faults show, against the hypotheses of the consensus and against a network of
resistances."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from consensus import Settings
from consensus.chart_table import prepared_for
from consensus.contacts import OPEN, make_alphabet
from consensus.hypotheses import enumerate_hypotheses
from consensus.reading_odds import reading_odds, with_repeats
from consensus.sheet_likelihood import SheetLikelihood
from consensus.suspect_sheet import lay_on_chart
from consensus.unit_explanations import single_faults
from consensus.unit_priors import unit_priors
from consensus.unit_table import UnitTable, unit_table
from tests.consensus.charts import chart, sheet
from tests.simulation.switches import between

SETTINGS = Settings()
ROWS = ["x.ax", ".xx.", "b..x", "xxx."]
LIKE = chart(ROWS)
EACH = [(a, b) for a in range(5) for b in range(a + 1, 5)]
UNIT = unit_table(prepared_for(LIKE, EACH, SETTINGS).tables[0])


def test_points_and_hypotheses_say_the_same() -> None:
    """Every fault with every mistake, each pin read to each: the operands of hypotheses.py, worked out
    anew."""
    shape, table = UNIT.table.shape, UNIT.table
    hypotheses = enumerate_hypotheses(shape, True)
    values = table.values(table.symbols)
    of_source = np.concatenate([values, table.combined(values, hypotheses.operands[len(values) :])])
    expected = of_source[hypotheses.source].reshape(len(hypotheses.faults), len(hypotheses.mistakes), -1)
    for number, fault in enumerate(UNIT.grid.faults):
        other = hypotheses.faults.index(fault)
        for at, mistake in enumerate(UNIT.grid.mistakes):
            mine = UNIT.symbols[number, UNIT.grid.touched[at]]
            assert mine.tolist() == expected[other, hypotheses.mistakes.index(mistake)].tolist()


@pytest.mark.parametrize("levels", [10, 123, 124, 125, 300])
def test_the_symbol_of_a_worn_contact_is_kept_however_many_levels_there_are(levels: int) -> None:
    table = replace(UNIT.table, alphabet=make_alphabet(np.geomspace(100.0, 1e6, levels), SETTINGS))
    shown = UnitTable(table).by_point[:, UNIT.grid.kinds == "worn_contact"]
    assert table.worn > levels and (shown == table.worn).any() and shown.min() >= 0


def _network(closed: np.ndarray, bridge: tuple[int, int] | None = None) -> np.ndarray:
    g = np.zeros((len(closed) + 1, len(closed) + 1))
    g[0, 1:] = g[1:, 0] = np.where(closed, 1 / 0.4, 0.0)
    if bridge:
        g[bridge] = g[bridge[::-1]] = 1 / 0.4
    return g


def test_two_faults_at_once_are_a_network_with_both() -> None:
    """A line that is open, then two lines bridged: each pin read to each, against Kron's elimination."""
    rows = ["x.x.", ".xx.", "...x", "xxx."]
    unit = UnitTable(prepared_for(chart(rows), EACH, SETTINGS).tables[0])
    faults = unit.grid.faults
    opened = next(at for at, one in enumerate(faults) if (one.kind, one.pins) == ("line_open", (1,)))
    bridged = next(at for at, one in enumerate(faults) if (one.kind, one.pins) == ("bridged_lines", (2, 3)))
    shown = unit.shown(unit.grid.touched[0].astype(int), np.array([opened]), np.array([bridged]))[0]
    closed = np.array([[mark == "x" for mark in row] for row in rows])
    closed[:, 0] = False
    named = unit.table.shape.named
    for row in range(4):
        g = _network(closed[row], (2, 3))
        for at, (a, b) in enumerate(named):
            assert (shown[row * len(named) + at] == OPEN) == (between(g, a, b) > 1e9), (row, a, b)


@pytest.mark.parametrize("seed", range(4))
def test_what_is_left_out_can_not_matter(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """With and without the bound the same explanations come within 20 nats of the best."""
    rng = np.random.default_rng(seed)
    good = ["".join(row) for row in np.where(rng.random((8, 10)) < 0.5, "x", ".")]
    gaps = [rng.random(10) < 0.2 * (seed % 2) for _ in good]
    like = chart(good)
    rows = [
        "".join("_" if gap else mark for gap, mark in zip(row, marks, strict=True))
        for row, marks in zip(gaps, good, strict=True)
    ]
    rows[3] = rows[3].replace("x", ".", 1)
    laid, prepared = lay_on_chart(sheet(like, rows), like, SETTINGS)
    odds = reading_odds(laid.readings, prepared.alphabet, like.model, "x", SETTINGS)
    likelihood = SheetLikelihood(unit_table(prepared.tables[0]), laid.cells, with_repeats(odds, laid.cells))
    shares = {"mirrored_pins": 0.07, "wrong_common": 0.04, "shifted_positions": 0.05, "exchanged": 0.03}
    priors = unit_priors(likelihood.unit, shares, SETTINGS)
    found = []
    for hopeless in (30.0, 1e9):
        monkeypatch.setattr("consensus.unit_explanations.HOPELESS", hopeless)
        block, _ = single_faults(likelihood, priors, 0, 0.0)
        near = block.log_joint > block.log_joint.max() - 20
        rows_of = zip(block.mistake[near], block.first[near], block.log_joint[near], strict=True)
        found.append((sorted((int(m), int(f), round(float(p), 9)) for m, f, p in rows_of), len(block.first)))
    assert found[0][0] == found[1][0]
    assert found[0][1] < found[1][1]
