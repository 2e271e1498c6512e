"""Contributors' slip rates and habits, learned across designs."""

from __future__ import annotations

import numpy as np
import pytest

from consensus import Reliability, Settings, learn_reliability
from consensus.counts import population
from tests.consensus.benches import PATTERN, bench, turned, typed_sheet

SETTINGS = Settings()


def noisy_designs(rates: dict[str, tuple[float, float]], designs: int, seed: int):
    """Designs read once by every contributor, each at its own (missed, invented) rates."""
    rng = np.random.default_rng(seed)
    made = []
    for at in range(designs):
        sheets = []
        for name, (miss, invent) in rates.items():
            rows = [
                " ".join(
                    ("o" if rng.random() < miss else "c")
                    if word == "c"
                    else ("c" if rng.random() < invent else "o")
                    for word in row.split()
                )
                for row in PATTERN
            ]
            sheets.append(typed_sheet(rows, contributor=name))
        made.append(bench(sheets, design=f"d{at}"))
    return made


def test_both_rates_of_each_contributor_are_learned():
    rates = {"a": (0.01, 0.0), "b": (0.1, 0.02), "c": (0.02, 0.08), "d": (0.0, 0.0), "e": (0.03, 0.01)}
    snapshot = learn_reliability(noisy_designs(rates, 25, 1), SETTINGS)
    # 25 designs give 300 readings of each kind: standard errors up to 0.017, intervals of 95 %
    for name, (miss, invent) in rates.items():
        assert snapshot.of(name).miss_rate == pytest.approx(miss, abs=0.035)
        assert snapshot.of(name).invent_rate == pytest.approx(invent, abs=0.035)
        low, high = snapshot.of(name).miss_interval()
        assert low - 0.01 <= miss <= high + 0.01


def test_priors_give_way_where_readers_err_by_a_third():
    rates = {f"w{at}": (0.25 + 0.02 * at, 0.3) for at in range(9)}
    snapshot = learn_reliability(noisy_designs(rates, 30, 2), SETTINGS)
    learned = [snapshot.of(name).miss_rate for name in rates]
    assert np.mean(learned) == pytest.approx(np.mean([miss for miss, _ in rates.values()]), abs=0.05)
    assert snapshot.miss[0] / sum(snapshot.miss) > 0.2


def test_a_habit_is_learned():
    designs = []
    for at in range(12):
        sheets = [typed_sheet(PATTERN, contributor=f"c{number}") for number in range(4)]
        sheets.append(typed_sheet(turned(PATTERN), contributor="backwards"))
        designs.append(bench(sheets, design=f"d{at}"))
    snapshot = learn_reliability(designs, SETTINGS)
    assert snapshot.of("backwards").habit("mirrored_pins") == pytest.approx(12, abs=0.2)
    assert snapshot.of("c1").habit("mirrored_pins") < 0.2


def test_who_is_not_known_has_the_population_rates():
    assert Reliability.from_settings(SETTINGS).of("new").miss_rate == pytest.approx(SETTINGS.miss_rate)


def test_the_population_weight_follows_the_spread():
    alike = {str(at): np.array([5.0, 100.0]) for at in range(30)}
    apart = {str(at): np.array([float(at % 2) * 20, 100.0]) for at in range(30)}
    assert sum(population(alike, 0.03, SETTINGS)) > 3 * sum(population(apart, 0.03, SETTINGS))


def test_a_shifted_sheet_beside_a_single_other_one_is_no_heap_of_slips():
    """Ten designs of two units each; one of the readers is off by a detent in half of them, nobody slips."""
    rng, designs = np.random.default_rng(3), []
    for at in range(10):
        table = rng.random((6, 4)) < 0.5
        rows = [" ".join("oc"[int(closed)] for closed in row) for row in table]
        moved = [*rows[1:], rows[-1]] if at % 2 else rows
        sheets = [typed_sheet(rows, contributor="exact"), typed_sheet(moved, contributor="shifted")]
        designs.append(bench(sheets, design=f"d{at}"))
    snapshot = learn_reliability(designs, SETTINGS)
    for name in ("exact", "shifted"):
        assert snapshot.of(name).miss_rate < 0.02
        assert snapshot.of(name).invent_rate < 0.01
    # of five, one and a half stay in doubt: the other sheet may as well be shifted the other way
    assert 3.5 < snapshot.of("shifted").habit("shifted_positions") <= 5
    assert snapshot.of("exact").habit("shifted_positions") < 0.5
