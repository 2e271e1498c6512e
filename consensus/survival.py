"""Share of units still good at a distance, without a law assumed; and whether two groups differ."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from consensus.errors import ConsensusError
from consensus.lifetimes import Lifetimes
from consensus.turnbull import turnbull_curve

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class SurvivalCurve:
    """km: (m,) distances at which the curve steps (ascending); s: (m,) share still good after; low, high: its
    band; at_risk: (m,) units under observation just before (nan where failures lie between two readings)."""

    km: FloatArray
    s: FloatArray
    low: FloatArray
    high: FloatArray
    at_risk: FloatArray
    se: FloatArray

    def at(self, km: float) -> float:
        """Share still good at `km`."""
        step = int(np.searchsorted(self.km, km, side="right")) - 1
        return 1.0 if step < 0 else float(self.s[step])

    @property
    def median_km(self) -> float:
        """First distance at which at most half are good; inf if there is none."""
        below = np.flatnonzero(self.s <= 0.5 + 1e-12)
        return float(self.km[below[0]]) if len(below) else float("inf")


def kaplan_meier(lifetimes: Lifetimes, level: float = 0.95) -> SurvivalCurve:
    """Product-limit estimate of exact and right-censored lifetimes, left truncation allowed.

    At a tie failures come before censorings.  Standard error by Greenwood (1926); band on the scale of
    log(-log S), Kalbfleisch & Prentice (1980).
    Source: Kaplan & Meier (1958), J. Am. Stat. Assoc. 53:457-481.

    >>> curve = kaplan_meier(Lifetimes.from_km([6, 6, 7, 9], [6, float("nan"), 7, float("nan")]))
    >>> [float(km) for km in curve.km], [float(s) for s in curve.s]
    ([6.0, 7.0], [0.75, 0.375])
    """
    if np.any(lifetimes.failed & ~lifetimes.exact):
        raise ConsensusError(
            "interval_censored", "Some units failed between two readings.", "Use turnbull for them."
        )
    times, deaths = np.unique(lifetimes.low[lifetimes.failed], return_counts=True)
    at_risk = _at_risk(lifetimes, times)
    s: FloatArray = np.cumprod(1 - deaths / at_risk).astype(np.float64)
    with np.errstate(divide="ignore"):
        greenwood = np.cumsum(deaths / (at_risk * (at_risk - deaths)))
    se = np.where(s > 0, s * np.sqrt(np.where(s > 0, greenwood, 0.0)), 0.0)
    low, high = _log_log_band(s, se, level)
    return SurvivalCurve(times, s, low, high, at_risk.astype(np.float64), se)


def _at_risk(lifetimes: Lifetimes, times: FloatArray) -> NDArray[np.int64]:
    """Units entered before each time and not yet failed or censored just before it."""
    ended, entered = np.sort(lifetimes.low), np.sort(lifetimes.entered)
    inside = np.searchsorted(entered, times, side="left") - np.searchsorted(ended, times, side="left")
    # a unit that was entered at 0 is at risk from the start, also for a failure at 0
    return np.maximum(inside + np.where(times == 0, (lifetimes.entered == 0).sum(), 0), 1)


def _log_log_band(s: FloatArray, se: FloatArray, level: float) -> tuple[FloatArray, FloatArray]:
    z = stats.norm.ppf(0.5 + level / 2)
    s = np.where(s < 1e-9, 0.0, s)
    inside = (s > 0) & (s < 1)
    safe = np.where(inside, s, 0.5)
    spread = z * se / (safe * np.abs(np.log(safe)))
    low = np.where(inside, safe ** np.exp(spread), np.where(s <= 0, 0.0, 1.0))
    high = np.where(inside, safe ** np.exp(-spread), np.where(s <= 0, 0.0, 1.0))
    # where nobody is left the estimate is 0, and its upper end that of the step before
    for at in np.flatnonzero(s <= 0):
        high[at] = high[at - 1] if at else 1.0
    return low, high


def turnbull(lifetimes: Lifetimes, level: float = 0.95, draws: int = 100, seed: int = 17) -> SurvivalCurve:
    """Survival at the right ends of Turnbull's intervals, with a band by bootstrap over units.

    The band is normal on the scale of log(-log S) with the bootstrap's standard error; deterministic.
    """
    km, s, se = turnbull_curve(lifetimes, draws, seed)
    low, high = _log_log_band(s, se, level)
    return SurvivalCurve(km, s, low, high, np.full(len(km), np.nan), se)


@dataclass(frozen=True)
class LogRank:
    """observed, expected: failures of the first group; chi2 on one degree of freedom."""

    observed: float
    expected: float
    variance: float

    @property
    def chi2(self) -> float:
        return (self.observed - self.expected) ** 2 / self.variance if self.variance > 0 else 0.0

    @property
    def p(self) -> float:
        return float(stats.chi2.sf(self.chi2, 1))


def log_rank(first: Lifetimes, second: Lifetimes) -> LogRank:
    """Log-rank comparison of two groups of exact and right-censored lifetimes.

    Source: Mantel (1966), Cancer Chemotherapy Reports 50:163-170; hypergeometric variance.
    """
    for group in (first, second):
        if np.any(group.failed & ~group.exact):
            raise ConsensusError(
                "interval_censored", "Some units failed between two readings.", "Compare their Weibull fits."
            )
    times = np.unique(np.concatenate([first.low[first.failed], second.low[second.failed]]))
    n1, n2 = _risk_or_none(first, times), _risk_or_none(second, times)
    d1, d2 = _deaths(first, times), _deaths(second, times)
    n, d = n1 + n2, d1 + d2
    expected = d * n1 / n
    variance = np.where(n > 1, d * n1 * n2 * (n - d) / (n**2 * np.maximum(n - 1, 1)), 0.0)
    return LogRank(float(d1.sum()), float(expected.sum()), float(variance.sum()))


def _risk_or_none(group: Lifetimes, times: FloatArray) -> FloatArray:
    under = (group.entered[None, :] < times[:, None]) | (times[:, None] == 0)
    return (under & (group.low[None, :] >= times[:, None])).sum(axis=1).astype(np.float64)


def _deaths(group: Lifetimes, times: FloatArray) -> FloatArray:
    return (group.failed[None, :] & (group.low[None, :] == times[:, None])).sum(axis=1).astype(np.float64)
