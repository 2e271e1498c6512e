"""Fleets with a known law of life: how long the switches of a workshop lasted, as far as it could know.

Each fleet has its own Weibull law, share of units that came used, distance between two readings and end of
observation.  `volunteers` is the same fleet as a registry gets it where only some people report: failed
switches are brought in, good ones mostly stay where they work.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from consensus.lifetimes import Lifetimes

NAN = float("nan")


@dataclass(frozen=True)
class Fleet:
    """lifetimes: what was seen; shape, scale_km: the truth behind it."""

    lifetimes: Lifetimes
    shape: float
    scale_km: float

    @property
    def b10_km(self) -> float:
        return float(self.scale_km * (-np.log(0.9)) ** (1 / self.shape))


def make_fleet(seed: int, units: int | None = None) -> Fleet:
    """60 to 250 units: exact and between two readings, censored, some come used."""
    rng = np.random.default_rng([1717, seed])
    count = units or int(rng.integers(60, 251))
    shape, scale = float(rng.uniform(1.4, 3.6)), float(rng.uniform(110_000, 290_000))
    used, step = float(rng.uniform(0.1, 0.4)), float(rng.uniform(5_000, 30_000))
    between = float(rng.uniform(0.4, 1.0))
    life = scale * rng.weibull(shape, count * 4)
    entered = np.where(rng.random(count * 4) < used, rng.uniform(0, 0.6 * scale, count * 4), 0.0).round()
    kept = np.flatnonzero(life > entered + 1)[:count]
    life, entered = life[kept], entered[kept]
    end = np.maximum(rng.uniform(0.3 * scale, 1.3 * scale, count), entered + 1000).round()
    failed = life <= end
    read_before = np.maximum(np.floor(life / step) * step, entered)
    read_after = np.maximum(np.ceil(life / step) * step, life)
    seen_late = rng.random(count) < between
    good = np.where(failed, np.where(seen_late, read_before, life), end)
    found = np.where(failed, np.where(seen_late, read_after, life), NAN)
    return Fleet(Lifetimes.from_km(good, found, entered), shape, scale)


def volunteers(fleet: Fleet, seed: int, good_share: float = 0.3) -> Fleet:
    """The units of a fleet that people send in by themselves: all failed ones, few good ones."""
    rng = np.random.default_rng([1718, seed])
    sent = fleet.lifetimes.failed | (rng.random(len(fleet.lifetimes)) < good_share)
    return Fleet(fleet.lifetimes.take(sent), fleet.shape, fleet.scale_km)
