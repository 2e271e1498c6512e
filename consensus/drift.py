"""Does contact resistance grow with distance?

Readings above the meter's limit are kept as "at least the limit".  Each unit weighs the same however often it
was read; where units were read more than once, intervals come from drawing units, not readings.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from consensus.errors import ConsensusError
from consensus.results import rounded

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

LEAST_UNITS = 10  # below: silence
MOST_READINGS = 500  # pairs grow with the square; more are thinned evenly along the distance
DRAWS = 400
FLOOR_OHM = 0.05  # a contact of 0.0 Ω is a value


@dataclass(frozen=True)
class DriftReadings:
    """n readings of closed contacts.  unit: (n,) which unit; km: on it; ohm: leads subtracted, the meter's
    limit where over_limit."""

    unit: IntArray
    km: FloatArray
    ohm: FloatArray
    over_limit: NDArray[np.bool_]

    @classmethod
    def of(
        cls, unit: ArrayLike, km: ArrayLike, ohm: ArrayLike, over_limit: ArrayLike | None = None
    ) -> DriftReadings:
        names = np.unique(np.asarray(unit), return_inverse=True)[1].astype(np.int64)
        at, shown = np.asarray(km, dtype=np.float64), np.asarray(ohm, dtype=np.float64)
        over = np.zeros(len(at), dtype=bool) if over_limit is None else np.asarray(over_limit, dtype=bool)
        if not len(names) == len(at) == len(shown) == len(over):
            raise ConsensusError(
                "columns_differ", "Units, distances and readings differ in number.", "Give one of each."
            )
        if np.any(at < 0) or np.any(shown < 0):
            raise ConsensusError("negative", "A distance or a resistance is below 0.", "Check the figures.")
        return cls(names, at, shown, over)

    def __len__(self) -> int:
        return len(self.km)

    @property
    def units(self) -> int:
        return len(np.unique(self.unit))


@dataclass(frozen=True)
class Drift:
    """factor: by which the resistance changes in each `per_km`, with its interval (None: not bounded because
    of readings above the limit); start_ohm: where the trend begins; reason: "" | "too_few" | "one_distance".
    """

    units: int
    readings: int
    per_km: float
    reason: str = ""
    factor: float | None = None
    low: float | None = None
    high: float | None = None
    start_ohm: float | None = None

    @property
    def shows(self) -> str:
        """ "grows" | "falls" | "not_seen": what the interval allows to say."""
        if self.low is not None and self.low > 1:
            return "grows"
        return "falls" if self.high is not None and self.high < 1 else "not_seen"

    def to_plain(self) -> dict[str, object]:
        figures = {"factor": self.factor, "low": self.low, "high": self.high, "start_ohm": self.start_ohm}
        return {
            "units": self.units,
            "readings": self.readings,
            "per_km": self.per_km,
            "reason": self.reason,
            **{name: None if value is None else rounded(value, 5) for name, value in figures.items()},
            "shows": "" if self.reason else self.shows,
        }


def resistance_drift(readings: DriftReadings, per_km: float = 10_000.0, level: float = 0.95) -> Drift:
    """Theil-Sen slope of ln(Ω) over distance as a factor per `per_km`.

    Sources: Theil (1950), Proc. Kon. Ned. Akad. v. Wetensch. A 53; Sen (1968), J. Am. Stat. Assoc.
    63:1379-1389, whose interval is given where each unit was read once; otherwise percentiles of 400 draws of
    units.

    >>> found = resistance_drift(DriftReadings.of(range(12), [1e4 * n for n in range(12)], [0.4] * 12))
    >>> found.factor, found.shows
    (1.0, 'not_seen')
    """
    units = readings.units
    if units < LEAST_UNITS:
        return Drift(units, len(readings), per_km, "too_few")
    kept = _thinned(readings)
    y = np.log(np.maximum(kept.ohm, FLOOR_OHM))
    pairs = _Pairs.of(kept, y)
    if not len(pairs.slope):
        return Drift(units, len(readings), per_km, "one_distance")
    slope = pairs.middle(np.ones(len(np.unique(kept.unit))))
    clustered = len(kept) > len(np.unique(kept.unit))
    low, high = pairs.drawn(level) if clustered else pairs.sen(len(kept), kept.km, level)
    start = float(np.median(y - slope * kept.km))
    return Drift(
        units,
        len(readings),
        per_km,
        factor=float(np.exp(slope * per_km)),
        low=_factor(low, per_km),
        high=_factor(high, per_km),
        start_ohm=float(np.exp(start)),
    )


def _factor(slope: float, per_km: float) -> float | None:
    return float(np.exp(min(slope * per_km, 50.0))) if np.isfinite(slope) else None


def _thinned(readings: DriftReadings) -> DriftReadings:
    if len(readings) <= MOST_READINGS:
        return readings
    order = np.argsort(readings.km, kind="stable")
    rows = order[np.linspace(0, len(order) - 1, MOST_READINGS).round().astype(int)]
    return DriftReadings(
        readings.unit[rows], readings.km[rows], readings.ohm[rows], readings.over_limit[rows]
    )


@dataclass(frozen=True)
class _Pairs:
    """Slopes of pairs of readings at different distances, the later above the limit: at least that; the
    earlier: at most; both: not a pair.  a, b: their units; share: weight, so that each unit has 1."""

    slope: FloatArray
    up: NDArray[np.bool_]  # at least that
    down: NDArray[np.bool_]  # at most that
    a: IntArray
    b: IntArray
    share: FloatArray
    units: int

    @classmethod
    def of(cls, readings: DriftReadings, y: FloatArray) -> _Pairs:
        order = np.argsort(readings.km, kind="stable")
        km, y, over = readings.km[order], y[order], readings.over_limit[order]
        unit = np.unique(readings.unit[order], return_inverse=True)[1]
        first, second = np.triu_indices(len(km), 1)
        used = (km[second] > km[first]) & ~(over[first] & over[second])
        first, second = first[used], second[used]
        often = 1.0 / np.bincount(unit)[unit]
        return cls(
            (y[second] - y[first]) / (km[second] - km[first]),
            over[second],
            over[first],
            unit[first],
            unit[second],
            often[first] * often[second],
            int(unit.max()) + 1,
        )

    def middle(self, times: FloatArray) -> float:
        """Weighted median, each unit counted `times`."""
        return self._median(np.argsort(self.slope), self.slope, times)

    def _median(self, order: IntArray, slope: FloatArray, times: FloatArray) -> float:
        weight = (self.share * times[self.a] * times[self.b])[order]
        return _weighted_median(slope[order], weight)

    def drawn(self, level: float) -> tuple[float, float]:
        """Percentiles over draws of units; slopes known to one side lie at that end."""
        rng = np.random.default_rng(17)
        lower = np.where(self.down, -np.inf, self.slope)
        upper = np.where(self.up, np.inf, self.slope)
        orders = np.argsort(lower), np.argsort(upper)
        ends = []
        for _ in range(DRAWS):
            drawn = np.bincount(rng.integers(0, self.units, self.units), minlength=self.units).astype(float)
            ends.append([self._median(orders[0], lower, drawn), self._median(orders[1], upper, drawn)])
        low, high = np.array(ends).T
        return (
            float(np.quantile(low, 0.5 - level / 2, method="lower")),
            float(np.quantile(high, 0.5 + level / 2, method="higher")),
        )

    def sen(self, n: int, km: FloatArray, level: float) -> tuple[float, float]:
        """Sen's interval, corrected for ties of distance; ranks as scipy.stats.theilslopes counts them."""
        ties = np.unique(km, return_counts=True)[1].astype(np.float64)
        variance = (n * (n - 1) * (2 * n + 5) - (ties * (ties - 1) * (2 * ties + 5)).sum()) / 18
        reach = stats.norm.ppf(0.5 - level / 2) * np.sqrt(variance)
        count = len(self.slope)
        lower = np.sort(np.where(self.down, -np.inf, self.slope))
        upper = np.sort(np.where(self.up, np.inf, self.slope))
        top = min(round((count - reach) / 2), count - 1)
        bottom = max(round((count + reach) / 2) - 1, 0)
        return float(lower[bottom]), float(upper[top])


def _weighted_median(ordered: FloatArray, weights: FloatArray) -> float:
    """Of ascending values; the mean of the two in the middle where the weight is halved between them."""
    sums = np.cumsum(weights)
    if not len(sums) or sums[-1] <= 0:
        return 0.0
    half = sums[-1] / 2
    at = int(np.searchsorted(sums, half * (1 - 1e-12)))
    if abs(sums[at] - half) <= half * 1e-9 and at + 1 < len(ordered):
        following = int(np.searchsorted(sums, half * (1 + 1e-9), side="right"))
        return float((ordered[at] + ordered[min(following, len(ordered) - 1)]) / 2)
    return float(ordered[at])
