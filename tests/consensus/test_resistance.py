"""Uncertainty of type B in the figures of a cell."""

from __future__ import annotations

import numpy as np
import pytest

from consensus import Settings
from consensus.resistance import cell_figures, rectangular_u
from tests.consensus.check_values import published


def test_rectangular_uncertainty_is_the_gums():
    # JCGM 100:2008, 4.3.7; published widths are halves
    data, expected = published("gum_type_b")
    found = [rectangular_u(2 * half) for half in data["half_width"]]
    assert found == pytest.approx(expected["u"], rel=1e-8)
    assert rectangular_u(0.01) == pytest.approx(expected["resolution_0_01"], rel=1e-8)


def test_a_cell_is_never_surer_than_meter_and_leads():
    settings = Settings()
    ohms = np.full(400, 0.4)
    (figures,) = cell_figures(np.zeros(400, dtype=np.int64), ohms, np.array([True]), 1, settings)
    assert figures is not None
    assert figures.u >= np.hypot(rectangular_u(settings.meter_resolution_ohm), settings.lead_u_ohm)
