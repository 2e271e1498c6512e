"""Outliers of a sample and of laboratories (here: contributors with repeated sheets).

Values are in any one unit; statistics are pure numbers.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from consensus.errors import ConsensusError

FloatArray = NDArray[np.float64]


def _sample(values: ArrayLike, least: int) -> FloatArray:
    x = np.asarray(values, dtype=np.float64)
    if x.ndim != 1 or len(x) < least:
        raise ConsensusError(
            "too_few", f"values has shape {x.shape}.", f"Give one row of at least {least} numbers."
        )
    return x


def grubbs_statistic(values: ArrayLike) -> float:
    """Largest distance from the mean in standard deviations (n - 1); 0 where all values are equal.

    Source: Grubbs (1969), Technometrics 11:1-21.

    >>> round(grubbs_statistic([199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]), 6)
    2.468765
    """
    x = _sample(values, 3)
    sd = x.std(ddof=1)
    return float(np.abs(x - x.mean()).max() / sd) if sd > 0 else 0.0


def grubbs_critical(n: int, alpha: float = 0.05, two_sided: bool = True) -> float:
    """Critical value of `grubbs_statistic` for n values: (n-1)/sqrt(n) sqrt(t^2 / (n-2+t^2)).

    t: quantile of Student's t, n - 2 degrees of freedom, at 1 - alpha/n (one-sided) or 1 - alpha/(2n).

    >>> round(grubbs_critical(8), 6)
    2.126645
    """
    t2 = stats.t.isf(alpha / (2 * n if two_sided else n), n - 2) ** 2
    return float((n - 1) / np.sqrt(n) * np.sqrt(t2 / (n - 2 + t2)))


def grubbs_p_value(statistic: float, n: int, two_sided: bool = False) -> float:
    """Probability of a `grubbs_statistic` as large in n normal values (Bonferroni bound, at most 1)."""
    largest = (n - 1) / np.sqrt(n)  # no sample can exceed it
    if statistic >= largest:
        return 0.0
    t = np.sqrt(n * (n - 2) * statistic**2 / ((n - 1) ** 2 - n * statistic**2))
    return float(min(1.0, stats.t.sf(t, n - 2) * n * (2 if two_sided else 1)))


class ExtremeDeviates(NamedTuple):
    """Statistics and critical values, one a suspected outlier, and the indices of those found."""

    statistics: FloatArray
    critical: FloatArray
    outliers: tuple[int, ...]


def generalised_esd(values: ArrayLike, most: int, alpha: float = 0.05) -> ExtremeDeviates:
    """Rosner's generalised extreme studentised deviate test for up to `most` outliers.

    The number of outliers is the largest i with R_i > lambda_i: earlier ones may fail, because outliers hide
    each other.  Source: Rosner (1983), Technometrics 25:165-172.

    >>> generalised_esd([1.0, 1.1, 0.9, 1.0, 1.05, 0.95, 9.0, 9.1], most=3).outliers
    (7, 6)
    """
    x = _sample(values, 3)
    n, left = len(x), list(range(len(x)))
    statistics, critical, removed = [], [], []
    for i in range(1, most + 1):
        rest = x[left]
        sd = rest.std(ddof=1)
        away = np.abs(rest - rest.mean())
        statistics.append(away.max() / sd if sd > 0 else 0.0)
        removed.append(left.pop(int(away.argmax())))
        t = stats.t.isf(alpha / (2 * (n - i + 1)), n - i - 1)
        critical.append((n - i) * t / np.sqrt((n - i - 1 + t**2) * (n - i + 1)))
    beyond = np.flatnonzero(np.array(statistics) > np.array(critical))
    count = int(beyond[-1]) + 1 if len(beyond) else 0
    return ExtremeDeviates(np.array(statistics), np.array(critical), tuple(removed[:count]))


def tietjen_moore(values: ArrayLike, k: int) -> float:
    """Tietjen & Moore's E_k: sum of squares without the k most distant values, over that of all.

    Source: Tietjen & Moore (1972), Technometrics 14:583-597; small = the k values are outliers.
    """
    x = _sample(values, k + 2)
    ordered = x[np.argsort(np.abs(x - x.mean()), kind="stable")]
    rest = ordered[: len(x) - k]
    return float(((rest - rest.mean()) ** 2).sum() / ((x - x.mean()) ** 2).sum())


def mandel_h(means: ArrayLike, weights: ArrayLike | None = None) -> FloatArray:
    """Mandel's h of each laboratory: its mean's distance from the mean of means, in their sd.

    Source: ISO 5725-2:1994, 7.3.1.  All 0 where the means are equal.  weights: inverse variances of the means
    up to a factor, where some are known better than others: the distance from the weighted mean in its own
    standard error (internally studentised: `mandel_h_critical` is its quantile), scaled so that equal
    weights give the standard's h.  Worked out here; no table of it is known to us.
    """
    x = _sample(means, 2)
    w = np.ones(len(x)) if weights is None else np.asarray(weights, dtype=np.float64)
    away = x - (w * x).sum() / w.sum()
    variance = (w * away**2).sum() / (len(x) - 1)
    if variance <= 0:
        return np.zeros_like(x)
    leverage = np.minimum(w / w.sum(), 1 - 1e-12)
    return np.asarray(away * np.sqrt(w / variance * (1 - 1 / len(x)) / (1 - leverage)))


def mandel_k(sds: ArrayLike, freedom: ArrayLike | None = None) -> FloatArray:
    """Mandel's k of each laboratory: its sd over the pooled one of all (ISO 5725-2:1994, 7.3.1).

    freedom: degrees of freedom behind each sd, where they are not the same for all.
    """
    s = _sample(sds, 2)
    v = np.ones(len(s)) if freedom is None else np.asarray(freedom, dtype=np.float64)
    pooled = np.sqrt((v * s**2).sum() / v.sum())
    return s / pooled if pooled > 0 else np.zeros_like(s)


def mandel_h_critical(laboratories: int, alpha: float = 0.01) -> float:
    """Two-sided critical value of h: (p-1) t / sqrt(p (t^2 + p - 2)), t at 1 - alpha/2, p - 2 df.

    >>> round(mandel_h_critical(9), 4)
    2.1271
    """
    p = laboratories
    t = stats.t.isf(alpha / 2, p - 2)
    return float((p - 1) * t / np.sqrt(p * (t**2 + p - 2)))


def mandel_k_critical(laboratories: int, replicates: int, alpha: float = 0.01) -> float:
    """One-sided critical value of k: sqrt(p / (1 + (p-1)/F)), F at 1 - alpha, (n-1) and (p-1)(n-1) df.

    >>> round(mandel_k_critical(9, 2), 4)
    2.2938
    """
    p, freedom = laboratories, replicates - 1
    return mandel_k_limit(freedom, (p - 1) * freedom, alpha)


def mandel_k_limit(own: float, others: float, alpha: float = 0.01) -> float:
    """The same for sds of any degrees of freedom, its own and those of all others together.

    k^2 = N / (own + others / F) with N = own + others and F the ratio of its variance to that of the others,
    F-distributed with (own, others) degrees.  Source: the standard's formula (ISO 5725-2:1994, 7.3.1) is
    this one where all have n - 1.

    >>> round(mandel_k_limit(1, 8), 4), round(mandel_k_limit(40, 320), 4)
    (2.2938, 1.2424)
    """
    return float(np.sqrt((own + others) / (own + others / stats.f.isf(alpha, own, others))))


def cochran_c(sds: ArrayLike) -> float:
    """Cochran's C: largest variance over the sum of all; 0 where all are 0 (ISO 5725-2:1994, 7.3.3)."""
    variances = _sample(sds, 2) ** 2
    return float(variances.max() / variances.sum()) if variances.sum() > 0 else 0.0


def cochran_critical(laboratories: int, replicates: int, alpha: float = 0.05) -> float:
    """Critical value of C: 1 / (1 + (p-1) / F), F at 1 - alpha/p, (n-1) and (p-1)(n-1) degrees of freedom.

    >>> round(cochran_critical(9, 2), 4)
    0.6385
    """
    p, freedom = laboratories, replicates - 1
    return float(1.0 / (1.0 + (p - 1) / stats.f.isf(alpha / p, freedom, (p - 1) * freedom)))


class Precision(NamedTuple):
    """General mean, repeatability and reproducibility standard deviations, in the values' unit."""

    mean: float
    repeatability: float  # s_r: within a laboratory
    reproducibility: float  # s_R: between laboratories


def precision(values: ArrayLike) -> Precision:
    """Precision of values (laboratories, replicates), no value missing (ISO 5725-2:1994, 7.4).

    s_L^2 = variance of laboratory means - s_r^2 / n, not below 0; s_R^2 = s_r^2 + s_L^2.
    """
    x = np.asarray(values, dtype=np.float64)
    if x.ndim != 2 or min(x.shape) < 2:
        raise ConsensusError("laboratories_shape", f"values has shape {x.shape}.", "Give at least 2 by 2.")
    within = x.var(axis=1, ddof=1).mean()
    between = max(x.mean(axis=1).var(ddof=1) - within / x.shape[1], 0.0)
    return Precision(float(x.mean()), float(np.sqrt(within)), float(np.sqrt(within + between)))
