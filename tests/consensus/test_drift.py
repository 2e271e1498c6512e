"""Drift against scipy's Theil-Sen; clustering, over-limits and silence."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from consensus.drift import DriftReadings, resistance_drift
from consensus.errors import ConsensusError


def fleet(seed: int, units: int, reads: int = 1, growth: float = 1.1, unit_spread: float = 0.3):
    """Readings of units that grow by `growth` in each 10 000 km; each unit has an offset of its own."""
    rng = np.random.default_rng([90, seed])
    unit = np.repeat(np.arange(units), reads)
    km = rng.uniform(0, 150_000, units * reads)
    own = rng.normal(0, unit_spread, units)[unit]
    ohm = np.exp(np.log(0.4) + own + np.log(growth) * km / 1e4 + rng.normal(0, 0.1, len(km)))
    return unit, km, ohm


@pytest.mark.parametrize("units", [11, 30, 61])
def test_one_reading_a_unit_is_theil_sen(units: int) -> None:
    unit, km, ohm = fleet(units, units)
    km = km.round(-4)  # ties of distance
    slope, _intercept, low, high = stats.theilslopes(np.log(ohm), km, 0.95)  # scipy 1.17.1
    found = resistance_drift(DriftReadings.of(unit, km, ohm))
    assert np.log([found.factor, found.low, found.high]) / 1e4 == pytest.approx([slope, low, high], rel=1e-9)


def test_a_unit_read_often_weighs_as_one() -> None:
    unit, km, ohm = fleet(3, 12)
    once = resistance_drift(DriftReadings.of(unit, km, ohm))
    many = [np.append(part, [part[0]] * 40) for part in (unit, km, ohm)]
    assert resistance_drift(DriftReadings.of(*many)).factor == pytest.approx(once.factor, rel=1e-9)


def test_intervals_respect_that_readings_of_a_unit_are_alike() -> None:
    """40 fleets of 20 units without growth, each unit read six times near one distance: an interval that took
    the 120 readings as independent would miss 1 far more often than one in twenty."""
    covered, naive = 0, 0
    for seed in range(40):
        rng = np.random.default_rng([91, seed])
        unit = np.repeat(np.arange(20), 6)
        km = np.repeat(rng.uniform(0, 150_000, 20), 6) + rng.uniform(0, 2_000, 120)
        ohm = 0.4 * np.exp(rng.normal(0, 0.3, 20)[unit] + rng.normal(0, 0.05, 120))
        found = resistance_drift(DriftReadings.of(unit, km, ohm))
        covered += found.low <= 1 <= found.high
        naive_low, naive_high = stats.theilslopes(np.log(ohm), km, 0.95)[2:]
        naive += naive_low <= 0 <= naive_high
    assert covered >= 34
    assert naive < 30


def test_readings_above_the_limit_are_at_least_the_limit() -> None:
    unit, km, ohm = fleet(5, 30, growth=1.2)
    over = (km > 130_000) & (ohm > 1)
    assert over.sum() >= 2
    shown = np.where(over, 2e7, ohm)
    found = resistance_drift(DriftReadings.of(unit, km, shown, over))
    larger = resistance_drift(DriftReadings.of(unit, km, np.where(over, 1e9, ohm), over))
    assert found.factor == pytest.approx(larger.factor)  # how far above does not matter
    assert found.shows == "grows"
    # where most later readings are above it, the upper end is not known
    assert (
        resistance_drift(DriftReadings.of(unit, km, np.where(km > 40_000, 2e7, ohm), km > 40_000)).high
        is None
    )


def test_little_is_met_with_silence() -> None:
    unit, km, ohm = fleet(1, 9, reads=10)
    assert resistance_drift(DriftReadings.of(unit, km, ohm)).to_plain()["reason"] == "too_few"
    unit, km, ohm = fleet(1, 12)
    found = resistance_drift(DriftReadings.of(unit, np.full(12, 5e4), ohm)).to_plain()
    assert (found["reason"], found["shows"], found["factor"]) == ("one_distance", "", None)


def test_figures_below_zero_are_refused() -> None:
    with pytest.raises(ConsensusError):
        DriftReadings.of([1], [-5.0], [0.4])
    with pytest.raises(ConsensusError):
        DriftReadings.of([1, 2], [5.0], [0.4])
