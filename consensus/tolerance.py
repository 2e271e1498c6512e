"""Tolerance intervals: where one new unit should lie, not where the mean lies.

Factors are pure numbers: limit = mean + k * sd.  `content` is the share of all units inside, `confidence`
the probability with which the interval holds at least that share.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy import optimize, stats

from consensus.errors import ConsensusError


def _check(n: int, content: float, confidence: float) -> None:
    if n < 2:
        raise ConsensusError("tolerance_units", f"{n} unit gives no spread.", "Collect at least two units.")
    if not (0 < content < 1 and 0 < confidence < 1):
        raise ConsensusError(
            "level_range", "content and confidence lie between 0 and 1.", "Give 0.95 for 95 %."
        )


@lru_cache(maxsize=4096)
def one_sided_factor(n: int, content: float = 0.95, confidence: float = 0.95) -> float:
    """Exact one-sided factor of a normal sample of n values.

    k1 = t'(confidence; n - 1, z * sqrt(n)) / sqrt(n), with t' the quantile of the noncentral t distribution
    and z the normal quantile of `content`.
    Source: Natrella (1963), Experimental Statistics; NIST/SEMATECH e-Handbook 7.2.6.3.

    >>> round(one_sided_factor(10), 6)
    2.910963
    """
    _check(n, content, confidence)
    shift = stats.norm.ppf(content) * np.sqrt(n)
    return float(stats.nct.ppf(confidence, n - 1, shift) / np.sqrt(n))


def one_sided_factor_approximate(n: int, content: float = 0.95, confidence: float = 0.95) -> float:
    """Natrella's closed form of `one_sided_factor` (NIST/SEMATECH e-Handbook 7.2.6.3): a check, not a tool.

    >>> round(one_sided_factor_approximate(43, 0.90, 0.99), 6)
    1.87519
    """
    _check(n, content, confidence)
    z_content, z_confidence = stats.norm.ppf(content), stats.norm.ppf(confidence)
    a = 1.0 - z_confidence**2 / (2.0 * (n - 1))
    b = z_content**2 - z_confidence**2 / n
    return float((z_content + np.sqrt(z_content**2 - a * b)) / a)


def two_sided_factor_howe(n: int, content: float = 0.95, confidence: float = 0.95) -> float:
    """Howe's (1969) approximation of `two_sided_factor`, J. Am. Stat. Assoc. 64:610-620.

    k2 = z * sqrt((n - 1) (1 + 1/n) / chi2(1 - confidence; n - 1)); a little short at high confidence.

    >>> round(two_sided_factor_howe(43, 0.90, 0.99), 6)
    2.217316
    """
    _check(n, content, confidence)
    z = stats.norm.ppf(0.5 + content / 2.0)
    return float(z * np.sqrt((n - 1) * (1 + 1 / n) / stats.chi2.ppf(1 - confidence, n - 1)))


@lru_cache(maxsize=1024)
def two_sided_factor(n: int, content: float = 0.95, confidence: float = 0.95) -> float:
    """Exact two-sided factor of a normal sample of n values.

    Solves E[P(chi2(n - 1) > (n - 1) r(z)^2 / k^2)] = confidence over z ~ N(0, 1/n), where r(z) is the half
    width around z that holds `content` of a standard normal: r^2 is the quantile of a noncentral chi-square
    with one degree of freedom and noncentrality z^2.
    Source: Odeh & Owen (1980), Tables for Normal Tolerance Limits.

    >>> round(two_sided_factor(10), 6)
    3.393429
    """
    _check(n, content, confidence)
    freedom = n - 1
    # Gauss-Legendre over |z| <= 10 standard errors: the integrand is smooth and nothing is left outside
    nodes, weights = np.polynomial.legendre.leggauss(200)
    z = 5.0 / np.sqrt(n) * (nodes + 1.0)
    density = 2.0 * stats.norm.pdf(z, scale=1 / np.sqrt(n)) * weights * 5.0 / np.sqrt(n)
    half_width_squared = stats.ncx2.ppf(content, 1, z**2)
    start = two_sided_factor_howe(n, content, confidence)

    def shortfall(k: float) -> float:
        return float(density @ stats.chi2.sf(freedom * half_width_squared / k**2, freedom) - confidence)

    return float(optimize.brentq(shortfall, start * 0.5, start * 2.0, xtol=1e-12))


def nonparametric_units(content: float = 0.95, confidence: float = 0.95, two_sided: bool = True) -> int:
    """Units needed before the extremes of the sample are a tolerance interval, whatever the distribution.

    Two-sided: smallest n with 1 - content^n - n (1 - content) content^(n - 1) >= confidence; one-sided:
    smallest n with 1 - content^n >= confidence.  Source: Wilks (1941), Ann. Math. Statist. 12:91-96.

    >>> nonparametric_units(), nonparametric_units(two_sided=False)
    (93, 59)
    """
    _check(2, content, confidence)
    n = 1
    while nonparametric_confidence(n, content, two_sided) < confidence:
        n += 1
    return n


def nonparametric_confidence(n: int, content: float = 0.95, two_sided: bool = True) -> float:
    """Confidence with which the extremes (two-sided) or the largest (one-sided) of n values bound `content`.

    >>> round(nonparametric_confidence(59, two_sided=False), 4)
    0.9515
    """
    missed = content**n + (n * (1 - content) * content ** (n - 1) if two_sided else 0.0)
    return float(1.0 - missed)
