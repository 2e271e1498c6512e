"""Intervals of a share, and what a sample is worth when its members are not independent.

All functions take numbers or arrays that broadcast together and give an `Interval` of the same shape.
Shares are plain fractions between 0 and 1.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from consensus.errors import ConsensusError

FloatArray = NDArray[np.float64]


class Interval(NamedTuple):
    """Both ends of an interval; numbers, or arrays of one shape."""

    low: FloatArray
    high: FloatArray


def _checked(hits: ArrayLike, trials: ArrayLike, level: float) -> tuple[FloatArray, FloatArray]:
    """`hits` and `trials` as floats, or an error that names the one that can't be."""
    x, n = np.asarray(hits, dtype=np.float64), np.asarray(trials, dtype=np.float64)
    if not 0.0 < level < 1.0:
        raise ConsensusError(
            "level_range", f"level is {level}.", "Give a level between 0 and 1, such as 0.95."
        )
    if np.any(n < 0) or np.any(x < 0) or np.any(x > n):
        raise ConsensusError("share_range", "A share needs 0 <= hits <= trials.", "Check both counts.")
    return x, n


def clopper_pearson(hits: ArrayLike, trials: ArrayLike, level: float = 0.95) -> Interval:
    """Exact two-sided interval of a share; (0, 1) where there are no trials.

    low = B(a/2; x, n - x + 1), high = B(1 - a/2; x + 1, n - x), with B the quantile of the beta
    distribution and a = 1 - level.  Counts need not be whole: an effective sample seldom is.
    Source: Clopper & Pearson (1934), Biometrika 26:404-413.

    >>> low, high = clopper_pearson(4, 4)
    >>> round(float(low), 4), float(high)
    (0.3976, 1.0)
    """
    x, n = _checked(hits, trials, level)
    tail = (1.0 - level) / 2.0
    inside_low, inside_high = x > 0, x < n
    low = special.betaincinv(np.where(inside_low, x, 1.0), n - x + 1.0, tail)
    high = special.betaincinv(x + 1.0, np.where(inside_high, n - x, 1.0), 1.0 - tail)
    return Interval(np.where(inside_low, low, 0.0)[()], np.where(inside_high, high, 1.0)[()])


def one_sided_upper(hits: ArrayLike, trials: ArrayLike, level: float = 0.95) -> FloatArray:
    """Exact upper bound of a share, all of 1 - level on one side (3/n is its rule of thumb at 0 hits).

    Source: Hanley & Lippman-Hand (1983), JAMA 249:1743-1745.

    >>> round(float(one_sided_upper(0, 30)), 6)
    0.095034
    """
    return clopper_pearson(hits, trials, 2.0 * level - 1.0).high


def trials_without_failure(share: float, level: float = 0.95) -> int:
    """Fault-free trials needed to say that at least `share` are good, at confidence `level`.

    Smallest n with share**n <= 1 - level.

    >>> trials_without_failure(0.95)
    59
    """
    return int(np.ceil(np.log1p(-level) / np.log(share) - 1e-12))


def wilson(hits: ArrayLike, trials: ArrayLike, level: float = 0.95, corrected: bool = False) -> Interval:
    """Score interval of a share, on request with continuity correction.

    Source: Wilson (1927), J. Am. Stat. Assoc. 22:209-212; the corrected form and its explicit 0 and 1 at
    the ends: Newcombe (1998), Stat. Med. 17:857-872, methods 3 and 4.

    >>> [round(float(end), 4) for end in wilson(81, 263)]
    [0.2553, 0.3662]
    """
    x, n = _checked(hits, trials, level)
    if np.any(n == 0):
        raise ConsensusError(
            "no_trials", "A score interval needs at least one trial.", "Leave empty cells out."
        )
    z = special.ndtri(0.5 + level / 2.0)
    p = x / n
    if not corrected:
        middle, half = 2 * x + z**2, z * np.sqrt(z**2 + 4 * x * (1 - p))
        low, high = (middle - half) / (2 * (n + z**2)), (middle + half) / (2 * (n + z**2))
    else:
        base = 2 * x + z**2
        half_low = 1 + z * np.sqrt(np.maximum(z**2 - 2 - 1 / n + 4 * p * (n * (1 - p) + 1), 0.0))
        half_high = 1 + z * np.sqrt(np.maximum(z**2 + 2 - 1 / n + 4 * p * (n * (1 - p) - 1), 0.0))
        low, high = (base - half_low) / (2 * (n + z**2)), (base + half_high) / (2 * (n + z**2))
    low, high = np.where(x == 0, 0.0, np.maximum(low, 0.0)), np.where(x == n, 1.0, np.minimum(high, 1.0))
    return Interval(low[()], high[()])


def jeffreys(hits: ArrayLike, trials: ArrayLike, level: float = 0.95) -> Interval:
    """Equal-tailed interval of Beta(x + 1/2, n - x + 1/2), with 0 at no hits and 1 at all hits.

    Source: Brown, Cai & DasGupta (2001), Stat. Sci. 16:101-133 (the rule at the ends included).

    >>> [round(float(end), 4) for end in jeffreys(10, 10)]
    [0.7828, 1.0]
    """
    x, n = _checked(hits, trials, level)
    tail = (1.0 - level) / 2.0
    low = special.betaincinv(x + 0.5, n - x + 0.5, tail)
    high = special.betaincinv(x + 0.5, n - x + 0.5, 1.0 - tail)
    return Interval(np.where(x == 0, 0.0, low)[()], np.where(x == n, 1.0, high)[()])


def korn_graubard(
    hits: ArrayLike, trials: ArrayLike, design_effect: ArrayLike, level: float = 0.95
) -> Interval:
    """Clopper-Pearson on the effective counts x / d and n / d, d = design effect (at least 1).

    Source: Korn & Graubard (1998), Survey Methodology 24:193-201, without the factor for degrees of freedom.

    >>> [round(float(end), 4) for end in korn_graubard(0, 20, 2.0)]
    [0.0, 0.3085]
    """
    d = np.asarray(design_effect, dtype=np.float64)
    if np.any(d < 1.0):
        raise ConsensusError("design_effect", "A design effect is below 1.", "Give 1 for independent units.")
    return clopper_pearson(np.asarray(hits) / d, np.asarray(trials) / d, level)


def effective_size(weights: ArrayLike, axis: int = -1) -> FloatArray:
    """Number of equal, independent units that weights (…, n) are worth: (sum w)^2 / sum w^2; 0 if all are 0.

    Source: Kish (1965), Survey Sampling.

    >>> round(float(effective_size([1, 2, 3, 4])), 6)
    3.333333
    """
    w = np.asarray(weights, dtype=np.float64)
    squares = (w**2).sum(axis=axis)
    return np.where(squares > 0, w.sum(axis=axis) ** 2 / np.where(squares > 0, squares, 1.0), 0.0)[()]


def cluster_design_effect(cluster_size: ArrayLike, correlation: ArrayLike) -> FloatArray:
    """1 + (m - 1) rho for clusters of m units that resemble each other by rho (Kish, 1965).

    >>> round(float(cluster_design_effect(10, 0.05)), 2)
    1.45
    """
    return (1.0 + (np.asarray(cluster_size, dtype=np.float64) - 1.0) * np.asarray(correlation))[()]
