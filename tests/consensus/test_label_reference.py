"""The engine beside Dawid & Skene's label aggregation, which is first held against its published example."""

from __future__ import annotations

import numpy as np
import pytest

from consensus import Settings, agree
from tests.consensus.benches import PATTERN
from tests.consensus.check_values import published
from tests.consensus.dawid_skene import fit_labels
from tests.consensus.test_learning import noisy_designs


def test_reference_gives_the_published_anaesthetists():
    # Dawid & Skene (1979), Table 1: 45 patients, five observers, the first of whom read three times
    data, expected = published("dawid_skene_1979")
    counts = np.zeros((45, 5, 4))
    for patient, (first, *others) in enumerate(data["ratings"]):
        for label in first:
            counts[patient, 0, label - 1] += 1
        for observer, label in enumerate(others, 1):
            counts[patient, observer, label - 1] += 1
    model = fit_labels(counts)
    assert model.path[-1] == pytest.approx(expected["loglik"], abs=1e-5)
    for steps, likelihood in expected["loglik_after_iterations"].items():
        assert model.path[int(steps) - 1] == pytest.approx(likelihood, abs=1e-5)
    np.testing.assert_allclose(model.prevalence, expected["prevalence"], atol=1e-4)
    np.testing.assert_allclose(model.errors, expected["error_rates_rows_true_cols_reported"], atol=1e-4)
    assert (model.posterior.argmax(axis=1) + 1).tolist() == expected["labels"]


def test_rates_and_states_are_those_of_the_reference_where_nothing_but_slips_happens():
    # 40 designs of 24 places read by seven people: 480 open and 480 closed places a reader, standard errors
    # of a rate up to 0.02; the priors, and the mistakes that the engine also considers, may add as much again
    rates = {f"w{at}": (0.05 + 0.03 * at, 0.02 + 0.02 * at) for at in range(7)}
    designs = noisy_designs(rates, 40, 11)
    counts = np.zeros((40 * len(PATTERN) * 4, len(rates), 2))
    for number, design in enumerate(designs):
        readings = design.readings
        line = np.where(readings.pin == design.common, readings.against, readings.pin)
        item = (number * len(PATTERN) + readings.position) * 4 + line - 1
        names = [sheet.contributor for sheet in design.sheets]
        observer = np.array([list(rates).index(name) for name in names])[readings.sheet]
        counts[item, observer, (readings.kind != 3).astype(int)] += 1
    model = fit_labels(counts)
    snapshot, charts = agree(designs, Settings())
    for at, name in enumerate(rates):
        assert snapshot.of(name).miss_rate == pytest.approx(model.errors[at, 1, 0], abs=0.04)
        assert snapshot.of(name).invent_rate == pytest.approx(model.errors[at, 0, 1], abs=0.04)
    truth = np.tile([[word == "c" for word in row.split()] for row in PATTERN], (40, 1, 1)).reshape(40, -1)
    ours = np.array([[cell.p_open < 0.5 for cell in chart.variants[0].cells] for chart in charts])
    theirs = model.posterior.argmax(axis=1).reshape(40, -1) == 1
    assert (ours != truth).mean() <= (theirs != truth).mean() + 0.002
