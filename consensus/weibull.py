"""Weibull law of lifetimes by censored maximum likelihood, with profile-likelihood intervals.

S(t) = exp(-(t / scale)^shape), t and scale in km.  Source: Lawless (2003), Statistical Models and Methods for
Lifetime Data, chapters 5 and 4.4 (intervals from the likelihood ratio: see life_interval).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special

from consensus.errors import ConsensusError
from consensus.lifetimes import Lifetimes

FloatArray = NDArray[np.float64]

STEEPEST = np.log(50.0)  # ln(shape) beyond which no life of a part lies


@dataclass(frozen=True)
class WeibullFit:
    """shape, scale_km: maximum likelihood; log_likelihood: with km as the unit."""

    shape: float
    scale_km: float
    log_likelihood: float

    def survival(self, km: float) -> float:
        return float(np.exp(-self._power(km)))

    def _power(self, km: float) -> float:
        return float(np.exp(min(self.shape * np.log(km / self.scale_km), 300.0))) if km > 0 else 0.0

    def life_km(self, share: float) -> float:
        """Distance by which `share` of the units has failed (0.10: B10)."""
        return float(self.scale_km * (-np.log1p(-share)) ** (1 / self.shape))

    def next_failure(self, at_km: float, further_km: float) -> float:
        """Chance that a unit good at `at_km` fails within the next `further_km`."""
        if at_km <= 0:
            return float(-np.expm1(-self._power(further_km)))
        growth = np.expm1(min(self.shape * np.log1p(further_km / at_km), 300.0))
        return float(-np.expm1(-self._power(at_km) * growth))

    @property
    def mean_km(self) -> float:
        return float(self.scale_km * special.gamma(1 + 1 / self.shape))

    @property
    def sd_km(self) -> float:
        second = special.gamma(1 + 2 / self.shape)
        return float(self.scale_km * np.sqrt(second - special.gamma(1 + 1 / self.shape) ** 2))


class WeibullLikelihood:
    """Log likelihood and its gradient in (ln scale, ln shape); distances in units of `unit` km."""

    def __init__(self, lifetimes: Lifetimes) -> None:
        finite = np.concatenate([lifetimes.high[lifetimes.failed], lifetimes.low[lifetimes.low > 0]])
        self.unit = float(np.median(finite))
        exact = lifetimes.exact
        between = lifetimes.failed & ~exact
        censored = ~lifetimes.failed
        self.exact = _logs(lifetimes.low[exact], self.unit)
        self.low, self.high = (_logs(side[between], self.unit) for side in (lifetimes.low, lifetimes.high))
        # what adds z with a sign: still good (-1) and truncated (+1)
        self.kept = np.concatenate(
            [
                _logs(lifetimes.low[censored & (lifetimes.low > 0)], self.unit),
                _logs(lifetimes.entered[lifetimes.entered > 0], self.unit),
            ]
        )
        good = int((censored & (lifetimes.low > 0)).sum())
        self.sign = np.where(np.arange(len(self.kept)) < good, -1.0, 1.0)

    def value(self, log_scale: float, log_shape: float) -> tuple[float, FloatArray]:
        """(log likelihood, its slopes); a point that a search strayed to is moved to where figures end."""
        log_scale, log_shape = float(np.clip(log_scale, -500, 500)), float(np.clip(log_shape, -20, 8))
        k = float(np.exp(log_shape))
        total, by_scale, by_shape = 0.0, 0.0, 0.0
        if len(self.exact):
            log_z, z = _powers(self.exact, log_scale, k)
            total += float((log_shape + log_z - self.exact - z).sum())
            by_scale += float((k * (z - 1)).sum())
            by_shape += float((1 + log_z - z * log_z).sum())
        if len(self.kept):
            log_z, z = _powers(self.kept, log_scale, k)
            total += float(self.sign @ z)
            by_scale += float(-k * (self.sign @ z))
            by_shape += float(self.sign @ (z * log_z))
        if len(self.low):
            part = self._between(log_scale, k)
            total, by_scale, by_shape = total + part[0], by_scale + part[1], by_shape + part[2]
        return total, np.array([by_scale, by_shape])

    def _between(self, log_scale: float, k: float) -> tuple[float, float, float]:
        log_low, low = _powers(self.low, log_scale, k)
        log_high, high = _powers(self.high, log_scale, k)
        low_slope = np.where(low > 0, low * np.where(low > 0, log_low, 0.0), 0.0)
        gap = np.maximum(high - low, 1e-300)
        held = np.minimum(gap, 700.0)
        share = held / np.expm1(held)  # of gap in exp(gap) - 1: from 1 for a narrow gap to 0
        total = (-low + np.log(-np.expm1(-gap))).sum()
        by_scale = (k * low - k * share).sum()
        # far from any likely law both ends may be the same figure: the limit then
        steep = np.divide(high * log_high - low_slope, gap, out=log_high + 1, where=gap > 1e-200)
        by_shape = (-low_slope + share * steep).sum()
        return float(total), float(by_scale), float(by_shape)


def _logs(km: FloatArray, unit: float) -> FloatArray:
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(km / unit))


def _powers(log_t: FloatArray, log_scale: float, k: float) -> tuple[FloatArray, FloatArray]:
    log_z = k * (log_t - log_scale)
    return log_z, np.exp(np.minimum(log_z, 600.0))


def fit_weibull(lifetimes: Lifetimes) -> WeibullFit:
    """Maximum likelihood fit; at least two failures that are not all at one distance.

    >>> fit = fit_weibull(Lifetimes.from_km([50, 60, 70, 80, 90, 90], [50, 60, 70, 80] + [float("nan")] * 2))
    >>> round(fit.shape, 2), round(fit.scale_km)
    (4.02, 86)
    """
    likelihood = WeibullLikelihood(lifetimes)
    _refuse_too_few(lifetimes)
    log_scale, log_shape = _best_point(likelihood)
    total, _ = likelihood.value(log_scale, log_shape)
    exact = int(lifetimes.exact.sum())
    return WeibullFit(
        shape=float(np.exp(log_shape)),
        scale_km=float(np.exp(log_scale) * likelihood.unit),
        log_likelihood=total - exact * float(np.log(likelihood.unit)),
    )


def _refuse_too_few(lifetimes: Lifetimes) -> None:
    ends = np.stack([lifetimes.low, lifetimes.high])[:, lifetimes.failed]
    never_seen_good = not np.any(lifetimes.low > lifetimes.entered)  # the law would shrink to 0
    if lifetimes.failures < 2 or len(np.unique(ends)) < 2 or never_seen_good:
        raise ConsensusError(
            "too_few_failures",
            f"{lifetimes.failures} failures do not give a law.",
            "Collect at least two at different distances, and how far units were good.",
        )


def _best_point(likelihood: WeibullLikelihood) -> tuple[float, float]:
    def negative(point: FloatArray) -> tuple[float, FloatArray]:
        value, gradient = likelihood.value(float(point[0]), float(point[1]))
        return -value, -gradient

    answer = optimize.minimize(
        negative,
        np.array([0.2, 0.5]),
        jac=True,
        method="L-BFGS-B",
        bounds=[(-12.0, 12.0), (-4.0, STEEPEST)],
        options={"ftol": 1e-15, "gtol": 1e-9, "maxiter": 300},
    )
    polished = optimize.root(lambda point: likelihood.value(point[0], point[1])[1], answer.x, method="hybr")
    inside = polished.success and abs(polished.x[1]) < STEEPEST
    best = polished.x if inside and -likelihood.value(*polished.x)[0] <= answer.fun + 1e-6 else answer.x
    return float(best[0]), float(best[1])
