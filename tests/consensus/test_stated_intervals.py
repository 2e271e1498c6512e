"""Stated 95 % intervals cover 93 to 98 %: of a cell's agreement, and of contributors' slip rates.

That of alpha is in test_design_figures.py, acceptance ranges are in tests/registry/commands/test_ohm_bars.py.
"""

from __future__ import annotations

import numpy as np
import pytest

from consensus import Settings, learn_reliability
from consensus.results import share_interval
from tests.simulation.files import engine_input
from tests.simulation.worlds import make_world


@pytest.mark.parametrize("units", [6, 10, 16, 25])
def test_a_cells_interval_covers_the_share_of_agreeing_units(units):
    # Clopper & Pearson (1934) never cover less than they say, and more of few units: over shares spread
    # evenly it is 95 to 98 %.  Seed 7, 20 000 draws: 0.15 points
    rng = np.random.default_rng(7)
    shares = rng.random(20_000)
    bounds = np.array([share_interval(agreeing, units) for agreeing in range(units + 1)])
    low, high = bounds[rng.binomial(units, shares)].T
    assert 0.93 <= ((low <= shares) & (shares <= high)).mean() <= 0.98


@pytest.mark.slow
def test_contributors_slip_rates_are_covered():
    # three worlds of 30 designs and as many readers: 90 readers, two rates each; a share of 0.95 of 180 has a
    # standard error of 1.6 points, so that 0.93 is known to 1.9
    covered, told = 0, 0
    for seed in (31, 32, 33):
        world = make_world("typical", seed, 30)
        snapshot = learn_reliability(engine_input(world), Settings())
        for reader in {sheet.reader for sheet in world.sheets}:
            one = snapshot.of(reader.name)
            for (low, high), rate in (
                (one.miss_interval(), reader.missed),
                (one.invent_interval(), reader.invented),
            ):
                told += 1
                covered += low <= rate <= high
    assert 0.93 <= covered / told <= 0.98, covered / told
