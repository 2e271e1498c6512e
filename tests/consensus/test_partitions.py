"""Who belongs to which variant: the partition of units beside the true one."""

from __future__ import annotations

import numpy as np
import pytest

from consensus import Settings, agree
from tests.consensus.check_values import published
from tests.consensus.rand_index import adjusted_rand
from tests.simulation.files import engine_input
from tests.simulation.worlds import make_world


def test_index_of_the_published_example():
    # Yeung & Ruzzo (2001), the ten-object example
    data, expected = published("ari_3x3")
    assert adjusted_rand(data["u"], data["v"]) == pytest.approx(expected["ari"], abs=1e-9)


def test_index_of_trivial_and_relabelled_partitions():
    data, expected = published("ari_edge")
    found = [adjusted_rand(one, other) for one, other in data["cases"]]
    assert found == pytest.approx(expected["ari"], abs=1e-9)


def test_units_of_two_variants_are_parted_as_they_are():
    # seed 12, ten designs of 14 to 40 units, 30 % of a second table; a unit whose sheet lacks the telling
    # places can't be parted, nor one whose reader slipped in the few places that differ: a tenth or two
    world = make_world("variants", 12, 10)
    truth = {sheet.name: sheet.switch.variant for sheet in world.sheets}
    _, charts = agree(engine_input(world), Settings())
    indices = []
    for chart in charts:
        if len(chart.variants) == 2:
            placed = [one for one in chart.findings if one.variant is not None]
            indices.append(
                adjusted_rand([one.variant for one in placed], [truth[one.submission] for one in placed])
            )
    assert len(indices) >= 8
    assert np.mean(indices) > 0.8
