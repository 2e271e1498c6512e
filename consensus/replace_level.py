"""At which reading is a unit worth replacing: from which level on did most fail within the next distance?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from consensus.intervals import clopper_pearson
from consensus.results import rounded

FloatArray = NDArray[np.float64]

LEAST_UNITS = 10  # below: silence
LEAST_EACH = 3  # units that failed soon, and that didn't, before a level is named
SURE = 0.05  # p from which readings before a failure count as higher
LIKELY = 0.5  # share from which failure within the next distance is likely


@dataclass(frozen=True)
class ReplaceLevel:
    """ohm: reading from which failure within `within_km` was likely: `failed` of `units` units that read at
    least that much, with the interval of that share; reason: "" | "too_few" | "not_seen" (units that failed
    soon did not read higher); p: one-sided Mann-Whitney."""

    within_km: float
    units: int
    failed_soon: int
    reason: str = ""
    p: float | None = None
    ohm: float | None = None
    at_least: int = 0
    failed: int = 0
    low: float | None = None
    high: float | None = None

    def to_plain(self) -> dict[str, object]:
        figures = {"p": self.p, "ohm": self.ohm, "low": self.low, "high": self.high}
        return {
            "within_km": self.within_km,
            "units": self.units,
            "failed_soon": self.failed_soon,
            "reason": self.reason,
            **{name: None if value is None else rounded(value, 4) for name, value in figures.items()},
            "at_least": self.at_least,
            "failed": self.failed,
        }


def level_to_replace(ohm: ArrayLike, failed_soon: ArrayLike, within_km: float) -> ReplaceLevel:
    """The level from which more than half failed within the next distance.

    ohm: (n,) one reading a unit, the meter's limit where above it; failed_soon: (n,) whether the unit failed
    within `within_km` of the reading.  Shares are made to grow with the reading by pooling neighbours (Ayer
    et al. 1955, Ann. Math. Stat. 26:641-647).  Silence where fewer than 3 failed soon, or 3 did not, or where
    units that failed soon did not read higher (Mann & Whitney 1947, p < 0.05).
    """
    level, soon = np.asarray(ohm, dtype=np.float64), np.asarray(failed_soon, dtype=bool)
    units, failed = len(level), int(soon.sum())
    if units < LEAST_UNITS or failed < LEAST_EACH or units - failed < LEAST_EACH:
        return ReplaceLevel(within_km, units, failed, "too_few")
    p = float(stats.mannwhitneyu(level[soon], level[~soon], alternative="greater").pvalue)
    if p >= SURE:
        return ReplaceLevel(within_km, units, failed, "not_seen", p)
    steps, pooled = _growing(level, soon)
    likely = np.flatnonzero(pooled > LIKELY)
    if not len(likely):
        return ReplaceLevel(within_km, units, failed, "not_seen", p)
    ohm_from = float(steps[likely[0]])
    above = level >= ohm_from
    hits, trials = int(soon[above].sum()), int(above.sum())
    interval = clopper_pearson(hits, trials)
    return ReplaceLevel(
        within_km, units, failed, "", p, ohm_from, trials, hits, float(interval.low), float(interval.high)
    )


def _growing(level: FloatArray, soon: NDArray[np.bool_]) -> tuple[FloatArray, FloatArray]:
    """(different levels, share failed at each), shares never falling."""
    steps, at = np.unique(level, return_inverse=True)
    count = np.bincount(at).astype(np.float64)
    blocks: list[list[float]] = []  # failed, units, steps
    for hits, units in zip(np.bincount(at, weights=soon), count, strict=True):
        blocks.append([float(hits), float(units), 1.0])
        while len(blocks) > 1 and blocks[-2][0] * blocks[-1][1] >= blocks[-1][0] * blocks[-2][1]:
            last = blocks.pop()
            blocks[-1] = [one + other for one, other in zip(blocks[-1], last, strict=True)]
    shares = [np.full(int(block[2]), block[0] / block[1]) for block in blocks]
    return steps, np.concatenate(shares)
