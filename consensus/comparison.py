"""Do the lives of two classes of parts differ?  The test that fits what is known of the failures."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from consensus.errors import ConsensusError
from consensus.life import LEAST_FAILURES, LEAST_UNITS
from consensus.lifetimes import Lifetimes
from consensus.results import rounded
from consensus.survival import log_rank
from consensus.turnbull import turnbull_scores
from consensus.weibull import fit_weibull


@dataclass(frozen=True)
class Comparison:
    """method: "log_rank" (exact failures), "log_rank_interval" (failures between two readings),
    "weibull_ratio" (those, and units that came used); chi2 on `freedom` degrees; first_fails_more: sign."""

    method: str
    chi2: float
    freedom: int
    first_fails_more: bool

    @property
    def p(self) -> float:
        return float(stats.chi2.sf(self.chi2, self.freedom))

    def to_plain(self) -> dict[str, object]:
        return {
            "method": self.method,
            "chi2": rounded(self.chi2, 5),
            "freedom": self.freedom,
            "p": rounded(self.p, 4),
            "first_fails_more": self.first_fails_more,
        }


def compare_classes(first: Lifetimes, second: Lifetimes) -> Comparison | None:
    """Whether two classes last alike; None where either has fewer than 10 units or 3 failures."""
    groups = (first, second)
    if any(len(group) < LEAST_UNITS or group.failures < LEAST_FAILURES for group in groups):
        return None
    if not any((group.failed & ~group.exact).any() for group in groups):
        answer = log_rank(first, second)
        return Comparison("log_rank", answer.chi2, 1, answer.observed > answer.expected)
    if any((group.entered > 0).any() for group in groups):
        return _by_laws(first, second)
    return log_rank_interval(first, second)


def log_rank_interval(first: Lifetimes, second: Lifetimes) -> Comparison:
    """Log-rank for failures between two readings: Sun's scores, variance under permutation.

    Sources: Sun (1996), Statistics in Medicine 15:1387-1395; Fay & Shaw (2010), J. Stat. Software 36(2).
    Only where no unit came used: permuting takes it that all could have been seen from the start.
    """
    scores = turnbull_scores(_joined(first, second))
    mine, n = scores[: len(first)], len(scores)
    excess = float(mine.sum() - len(first) * scores.mean())
    spread = float(((scores - scores.mean()) ** 2).sum())
    variance = len(first) * len(second) / (n * (n - 1)) * spread
    return Comparison("log_rank_interval", excess**2 / variance if variance > 0 else 0.0, 1, bool(excess > 0))


def _by_laws(first: Lifetimes, second: Lifetimes) -> Comparison | None:
    """Likelihood ratio of two Weibull laws against one, two degrees of freedom."""
    try:
        one, a, b = (fit_weibull(group) for group in (_joined(first, second), first, second))
    except ConsensusError:
        return None
    ratio = max(2 * (a.log_likelihood + b.log_likelihood - one.log_likelihood), 0.0)
    return Comparison("weibull_ratio", ratio, 2, a.life_km(0.5) < b.life_km(0.5))


def _joined(first: Lifetimes, second: Lifetimes) -> Lifetimes:
    def both(name: str) -> NDArray[np.float64]:
        return np.concatenate([getattr(first, name), getattr(second, name)])

    return Lifetimes(both("entered"), both("low"), both("high"))
