"""Leakage of open places: the peak of the likelihood, what the bound promises, and where nothing is known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize, stats

from consensus import Reliability, Settings, agree_design
from consensus.leakage import LEAK_SPREAD, PRIOR_FREEDOM, leak_figures
from tests.consensus.benches import PATTERN, bench, good_sheets, typed_sheet

LIMIT = 2e7


def figures_of(ohm: np.ndarray, limit: float = LIMIT):
    """Of (places, units) Ω, above the limit unseen."""
    places, units = ohm.shape
    seen = np.where(ohm > limit, np.inf, ohm).ravel()
    place, unit = np.repeat(np.arange(places), units), np.tile(np.arange(units), places)
    return leak_figures(place, unit, seen, np.full(places * units, limit), places)


def test_the_peak_is_that_of_a_general_optimiser():
    # seed 3; scipy's Nelder-Mead over (mu, ln sigma) of one place with the same prior
    logs = np.random.default_rng(3).normal(np.log(1e7), 1.3, 25)
    (found,) = figures_of(np.exp(logs)[None])
    seen, edge = logs[logs <= np.log(LIMIT)], np.log(LIMIT)

    def cost(x: np.ndarray) -> float:
        mu, sigma = x[0], np.exp(x[1])
        prior = -PRIOR_FREEDOM * (x[1] + (LEAK_SPREAD / sigma) ** 2 / 2)
        return float(-(stats.norm.logpdf(seen, mu, sigma).sum()
                     + (25 - len(seen)) * stats.norm.logsf(edge, mu, sigma) + prior
                     + len(seen) * np.log(np.sqrt(2 * np.pi))))  # fmt: skip

    best = optimize.minimize(cost, [17.0, 0.0], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12})
    assert found.typical is not None
    assert np.log(found.typical) == pytest.approx(best.x[0], abs=1e-3)
    low = best.x[0] - 1.645 * np.exp(best.x[1])
    assert np.log(found.least) < low  # a bound of that quantile, not the quantile
    assert (found.units, found.figures) == (25, len(seen))


@pytest.mark.parametrize(("middle", "units"), [(5e6, 8), (3e7, 12), (1e8, 25)])
def test_at_least_95_percent_of_units_exceed_the_bound(middle, units):
    # seed 5: 300 designs of six places each; content 95 %, confidence 95 %.  The bound is of large samples:
    # of 1800 places the standard error is half a point, of few units some 3 points may be missing
    rng = np.random.default_rng(5)
    sigma, held, told = 1.0, 0, 0
    for _ in range(300):
        for found in figures_of(np.exp(rng.normal(np.log(middle), sigma, (6, units)))):
            if found is not None:
                told += 1
                held += stats.norm.sf(np.log(found.least), np.log(middle), sigma) >= 0.95
    assert held / told >= 0.92


def test_a_place_at_which_every_unit_is_beyond_the_meter_has_none():
    assert figures_of(np.full((2, 6), 1e9)) == [None, None]
    assert leak_figures(*(np.empty(0, dtype=np.int64),) * 2, np.empty(0), np.empty(0), 2) == [None, None]


def test_no_bound_lies_above_what_a_meter_showed():
    (found,) = figures_of(np.array([[1.9e7] + [1e9] * 40]))
    assert found.typical is None
    assert found.least <= LIMIT


def test_a_chart_names_the_leak_of_its_open_cells_alone():
    leaking = typed_sheet([PATTERN[0].replace("o", "3M"), *PATTERN[1:]])
    chart = agree_design(bench([*good_sheets(7), leaking]), Reliability.from_settings(Settings()), Settings())
    cells = {(cell.position, cell.pin): cell for cell in chart.variants[0].cells}
    leak = cells["S1", "2"].leak
    assert (leak.units, leak.figures, cells["S1", "2"].state) == (8, 1, "open")
    assert leak.least < 3e6
    assert cells["S1", "3"].leak is None and cells["S2", "3"].leak is None
    assert type(cells["S1", "2"]).from_plain(cells["S1", "2"].to_plain()).leak.units == 8
