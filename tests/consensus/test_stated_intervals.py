"""How often stated 95 % intervals cover: that of a cell's agreement, and those of contributors' slip rates.

That of alpha is in test_design_figures.py, acceptance ranges are in tests/registry/commands/test_ohm_bars.py.
"""

from __future__ import annotations

import numpy as np
import pytest

from consensus import Settings, learn_reliability
from consensus.results import share_interval
from tests.simulation.files import engine_input
from tests.simulation.worlds import make_world


@pytest.mark.parametrize(("units", "most"), [(6, 0.995), (10, 0.99), (16, 0.98), (25, 0.98)])
def test_a_cells_interval_covers_the_share_of_agreeing_units(units, most):
    # the contract asks for Clopper & Pearson (1934), which never cover less than they say, more of few units:
    # 98.9 % of 6 and 98.4 % of 10 over shares spread evenly.  Seed 7, 20 000 draws: 0.15 points
    rng = np.random.default_rng(7)
    shares = rng.random(20_000)
    bounds = np.array([share_interval(agreeing, units) for agreeing in range(units + 1)])
    low, high = bounds[rng.binomial(units, shares)].T
    assert 0.95 <= ((low <= shares) & (shares <= high)).mean() <= most


@pytest.mark.slow
def test_contributors_slip_rates_are_covered_a_little_too_seldom():
    # three worlds of 30 designs and as many readers: of 90 readers' two rates each, 164 of 180 are covered,
    # 91.1 %.  A true 95 % would be that low once in fifty times: the intervals are too narrow, and README.md
    # says so.  This holds them where they are
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
    assert covered / told >= 0.90, covered / told
