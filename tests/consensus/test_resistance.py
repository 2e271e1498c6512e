"""Figures of a cell: uncertainty of type B, units that count once, dirty contacts, steps of the meter."""

from __future__ import annotations

import numpy as np
import pytest

from consensus import Settings
from consensus.resistance import cell_figures, kept_values, rectangular_u
from tests.consensus.check_values import published

SETTINGS = Settings()


def figures_of(rows: np.ndarray, closed: bool = True):
    """Figures of cells from (cells, units) Ω."""
    cells, units = rows.shape
    cell, unit = np.repeat(np.arange(cells), units), np.tile(np.arange(units), cells)
    return cell_figures(cell, unit, rows.ravel(), np.full(cells, closed), SETTINGS)


def test_rectangular_uncertainty_is_the_gums():
    # JCGM 100:2008, 4.3.7; published widths are halves
    data, expected = published("gum_type_b")
    found = [rectangular_u(2 * half) for half in data["half_width"]]
    assert found == pytest.approx(expected["u"], rel=1e-8)
    assert rectangular_u(0.01) == pytest.approx(expected["resolution_0_01"], rel=1e-8)


def test_a_cell_is_never_surer_than_meter_and_leads():
    (figures,) = figures_of(np.full((1, 400), 0.4))
    assert figures.u >= np.hypot(rectangular_u(SETTINGS.meter_resolution_ohm), SETTINGS.lead_u_ohm)


def test_readings_of_one_unit_are_one_value():
    cell, closed = np.zeros(20, dtype=np.int64), np.array([True])
    (figures,) = cell_figures(cell, np.repeat([0, 1], 10), np.linspace(0.2, 0.6, 20), closed, SETTINGS)
    assert figures.values == 2


@pytest.mark.parametrize("dirt", [6.0, 10.0, 30.0])
def test_thirty_percent_of_dirty_contacts_on_one_side_are_borne(dirt):
    # seed 2: 200 cells of 20 units, 6 of them `dirt` spreads too high.  The median of the rest is at their
    # 71st percentile, 0.57 spreads; Algorithm A by itself follows the dirty ones by 0.3 of `dirt` and more
    spread = 0.5
    logs = spread * np.random.default_rng(2).normal(size=(200, 20))
    clean = figures_of(0.4 * np.exp(logs))
    logs[:, :6] += dirt * spread
    dirty = figures_of(0.4 * np.exp(logs))
    moved = np.log([one.typical / other.typical for one, other in zip(dirty, clean, strict=True)]) / spread
    assert abs(moved.mean()) < 0.3
    assert dirty[0].spread == pytest.approx(clean[0].spread, rel=0.35)


def test_a_cell_of_two_halves_keeps_both():
    others = np.tile([0.0, 0.1, 0.2, 0.3], (20, 1))
    rows = np.vstack([[0.0, 0.0, 9.0, 9.0], [0.1, 0.2, 0.3, 9.0], others])
    kept = kept_values(rows, np.full(22, 0.01), 0.1)
    assert np.isfinite(kept[:2]).tolist() == [[True] * 4, [True, True, True, False]]


def test_equal_figures_at_the_meters_step_make_no_narrow_range():
    # 40 cells of 4 units, three of which read alike: s* = 0 in each (more than half are equal).  The last is
    # a step or two away, as steps of 0.1 Ω make it; fresh units like these must be accepted
    rows = np.tile([0.4, 0.4, 0.4, 0.6], (40, 1))
    figures = figures_of(rows)
    plain = np.log(np.array([0.4, 0.4, 0.4, 0.6]) + 0.05).std(ddof=1)
    assert figures[0].spread == pytest.approx(plain, rel=0.25)
    assert figures[0].accept[1] > 0.6


def test_cells_in_which_all_read_alike_say_nothing_of_the_spread():
    # a step of the meter is all that they show: the documented spread stands
    (figures,) = figures_of(np.full((1, 5), 0.4))
    assert figures.spread == pytest.approx(SETTINGS.contact_spread)
    rows = np.vstack([np.full((20, 3), 0.4), np.exp(np.random.default_rng(1).normal(-1, 0.6, (5, 3)))])
    assert figures_of(rows)[0].spread == pytest.approx(0.6, rel=0.3)


def test_a_place_on_no_level_widens_no_other():
    rows = np.array([[100.0, 101.0, 99.0], [30.0, 900.0, 50e3]])
    cell, unit = np.repeat([0, 1], 3), np.tile([0, 1, 2], 2)
    loose = np.array([False, True])
    level, odd = cell_figures(cell, unit, rows.ravel(), np.array([False, False]), SETTINGS, loose)
    assert level.spread < 0.02
    assert odd.spread > 1.0
