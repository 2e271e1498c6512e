"""The tables of a check: curves as exact as they say, every explanation in them, small enough to carry."""

from __future__ import annotations

import gzip
import json

import numpy as np
import pytest

from consensus.chart_table import chart_alphabet, chart_levels
from consensus.offline_readings import TOLERANCE, ReadingTables, figures
from consensus.offline_tables import offline_tables
from consensus.segments import Segments
from consensus.settings import Settings
from tests.consensus.charts import chart as made_chart

SETTINGS = Settings()
PLAIN_CHART = made_chart(["x.x.", ".xx.", "..xx", "xx.."])
LEVELS_CHART = made_chart(["a.b", ".xc", "b.x", "xa."])
MOST_BYTES = 200_000


@pytest.mark.parametrize("chart", [PLAIN_CHART, LEVELS_CHART], ids=["plain", "levels"])
@pytest.mark.parametrize("read_at", ["bench", "connector"])
def test_curves_are_the_likelihoods_of_the_engine(chart, read_at) -> None:
    alphabet = chart_alphabet(chart, SETTINGS)
    made = ReadingTables(alphabet, chart.model, chart_levels(chart), SETTINGS, read_at)
    used = list(range(alphabet.size + 2))
    plain = made.to_plain(used)
    ohm = np.exp(np.random.default_rng(3).uniform(np.log(0.03), np.log(5e7), 3000))
    ohm = np.concatenate([ohm, [20.0, 40.0, 1e5, 0.03]])  # the edges belong to what begins there
    expected = np.log(made.odds(figures(ohm)).likelihood)
    for at, symbol in enumerate(used):
        start, *rows = (np.array(row) for row in plain["curves"][at])
        found = Segments(start, np.stack(rows, axis=1)).at(np.log(ohm))
        # between two samples a ridge may bend a little more than at them
        assert np.abs(found - expected[:, symbol]).max() < 5 * TOLERANCE, symbol


@pytest.mark.parametrize("chart", [PLAIN_CHART, LEVELS_CHART], ids=["plain", "levels"])
def test_a_resistive_common_is_told_by_its_parts(chart) -> None:
    alphabet = chart_alphabet(chart, SETTINGS)
    made = ReadingTables(alphabet, chart.model, chart_levels(chart), SETTINGS, "bench")
    common = made.to_plain(list(range(alphabet.size + 2)))["common"]
    assert common is not None
    rng = np.random.default_rng(5)
    for ohm in (17.0, 88.0, 1234.0):
        y = (ohm + rng.choice(common["centres"], 200)) * np.exp(rng.normal(0, 0.05, 200))
        y = y[y < 9e4]
        expected = made.odds(figures(y), ohm).likelihood
        for at, symbol in enumerate(common["symbols"]):
            start, *rows = (np.array(row) for row in common["base"][at])
            value = np.exp(Segments(start, np.stack(rows, axis=1)).at(np.log(y)))
            for weight, centre in zip(common["weights"][at], common["centres"], strict=True):
                value += weight * made.density(y, np.full(len(y), centre + ohm))
            assert np.log(value) == pytest.approx(np.log(expected[:, symbol]), abs=2e-3)


@pytest.mark.parametrize("chart", [PLAIN_CHART, LEVELS_CHART], ids=["plain", "levels"])
def test_tables_are_small_and_their_priors_sum_to_one(chart) -> None:
    tables = offline_tables(chart, ())
    assert len(gzip.compress(json.dumps(tables).encode())) < MOST_BYTES
    for variant in tables["variants"]:
        faults = [fault["log_prior"] for fault in variant["faults"] if fault["log_prior"] is not None]
        shares = sum(np.exp(faults)) + np.exp(tables["settings"]["log_common"])
        assert shares == pytest.approx(1.0, abs=0.35)  # kinds that the chart doesn't allow are left out
        assert all(len(column) == len(variant["faults"]) for column in variant["columns"])
