"""Figures beyond what a cell typically shows, by the usual limits of z."""

from __future__ import annotations

import numpy as np
import pytest

from consensus import Reliability, Settings, agree_design
from consensus.results import OhmFigures, SheetFinding
from consensus.unusual_figures import z_scores
from tests.consensus.benches import PATTERN, bench, good_sheets, typed_sheet

SETTINGS = Settings()


def test_z_is_the_distance_in_spreads_and_low_contacts_are_fine():
    # ln(R + 0.05) about ln 0.45, spread 0.5, centre known from 25 units: sqrt(1 + 1.25² / 25)
    figures = [OhmFigures(0.4, 0.1, (0.0, 2.0), 0.5, 25)]
    ohms = 0.45 * np.exp([1.0, 0.0, -3.0]) - 0.05
    z = z_scores(np.zeros(3, dtype=np.int64), ohms, figures, np.array([True]), SETTINGS)
    assert z == pytest.approx([2 / np.sqrt(1.0625), 0.0, 0.0])
    figures = [OhmFigures(100.0, 1.0, (97.0, 103.0), 0.01, 25)]
    level = z_scores(np.zeros(1, dtype=np.int64), np.array([95.0]), figures, np.array([False]), SETTINGS)
    assert level[0] == pytest.approx(np.log(0.95) / 0.01 / np.sqrt(1.0625))


def test_a_sheet_names_its_figures_beyond_the_typical():
    worn = typed_sheet(["o 9.5 c o", *PATTERN[1:]])
    chart = agree_design(bench([*good_sheets(9), worn]), Reliability.from_settings(SETTINGS), SETTINGS)
    assert [one.unusual for one in chart.findings[:9]] == [()] * 9
    finding = chart.findings[9]
    assert finding.finding == "fits"
    assert [(one.cell.position, one.cell.pin, one.word) for one in finding.unusual] == [("S1", "3", "action")]
    assert finding.unusual[0].z > 3
    assert SheetFinding.from_plain(finding.to_plain()).unusual[0].word == "action"
