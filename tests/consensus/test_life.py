"""What is said of a group, and what is not said."""

from __future__ import annotations

import json

import numpy as np
import pytest

from consensus.life import group_life
from consensus.lifetimes import Lifetimes

NAN = float("nan")


def exact(units: int, failures: int, seed: int = 1) -> Lifetimes:
    km = 100_000 * np.random.default_rng(seed).weibull(2.0, units)
    return Lifetimes.from_km(km, np.where(np.arange(units) < failures, km, NAN))


@pytest.mark.parametrize(("units", "failures"), [(9, 9), (40, 2), (0, 0)])
def test_little_evidence_gives_counts_only(units: int, failures: int) -> None:
    plain = group_life(exact(units, failures)).to_plain()
    assert (plain["units"], plain["failures"], plain["reason"]) == (units, failures, "too_few")
    assert plain["survival"] == []
    assert plain["weibull"] is plain["b10_km"] is plain["b5_km"] is None


def test_enough_gives_curve_law_and_lives_in_the_contracts_shape() -> None:
    life = group_life(exact(60, 40))
    plain = life.to_plain()
    assert json.loads(json.dumps(plain)) == plain
    assert life.method == "kaplan_meier"
    assert set(plain["survival"][0]) == {"km", "s", "low", "high"}
    assert plain["b10_km"]["low"] < plain["b10_km"]["estimate"] < plain["b10_km"]["high"]
    assert plain["b5_km"]["estimate"] < plain["b10_km"]["estimate"]


def test_failures_between_readings_go_to_turnbull() -> None:
    km = exact(30, 30).low
    between = Lifetimes.from_km(np.floor(km / 2e4) * 2e4, np.ceil(km / 2e4) * 2e4)
    life = group_life(between)
    assert life.method == "turnbull"
    assert life.b10 is not None


def test_failures_at_one_distance_have_a_curve_but_no_law() -> None:
    life = group_life(Lifetimes.from_km([5000.0] * 12, [5000.0] * 4 + [NAN] * 8))
    assert (life.reason, life.weibull) == ("no_law", None)
    assert life.curve is not None


def test_long_curves_are_thinned_but_keep_their_ends() -> None:
    survival = group_life(exact(500, 400)).to_plain()["survival"]
    assert len(survival) <= 60
    assert survival[0]["s"] > 0.99


def test_units_that_nobody_ever_saw_good_have_no_law() -> None:
    life = group_life(Lifetimes.from_km([NAN] * 12, [10_000.0, 20_000, 30_000] * 4))
    assert (life.reason, life.b10) == ("no_law", None)
