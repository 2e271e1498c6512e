"""How sure is what a Weibull law says: a chance of failing soon, a best replacement age.

Laws are drawn from the normal approximation around the best one in (ln scale, ln shape), widened to a t
distribution of r - 2 degrees of freedom for r failures (Lawless 2003, ch. 5); an interval is percentiles of
what the drawn laws say.  Draws are fixed by a seed, so that the same data give the same answer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from consensus.lifetimes import Lifetimes
from consensus.replacement_age import ReplacementAge, age_replacement
from consensus.weibull import WeibullFit, WeibullLikelihood

FloatArray = NDArray[np.float64]

DRAWS = 400
STEP = 1e-4  # of numeric second derivatives
STEEPEST, FLATTEST = 50.0, 0.05  # shapes that are drawn


@dataclass(frozen=True)
class Bounded:
    """A figure with its interval; high None: not bounded."""

    estimate: float | None
    low: float | None
    high: float | None


def law_draws(lifetimes: Lifetimes, fit: WeibullFit, draws: int = DRAWS, seed: int = 17) -> list[WeibullFit]:
    """Laws as likely as the data leave them."""
    likelihood = WeibullLikelihood(lifetimes)
    best = np.array([np.log(fit.scale_km / likelihood.unit), np.log(fit.shape)])
    curved = np.empty((2, 2))
    for at in range(2):
        step = np.zeros(2)
        step[at] = STEP
        up, down = (likelihood.value(*(best + sign * step))[1] for sign in (1, -1))
        curved[at] = -(up - down) / (2 * STEP)
    spread = np.linalg.pinv((curved + curved.T) / 2, hermitian=True)
    rng = np.random.default_rng(seed)
    freedom = max(lifetimes.failures - 2, 1)
    normal = rng.multivariate_normal(np.zeros(2), spread, size=draws, method="eigh")
    points = best + normal / np.sqrt(rng.chisquare(freedom, draws) / freedom)[:, None]
    shapes = np.clip(np.exp(np.clip(points[:, 1], -20, 20)), FLATTEST, STEEPEST)
    scales = np.exp(np.clip(points[:, 0], -30, 30)) * likelihood.unit
    return [WeibullFit(float(k), float(a), float("nan")) for k, a in zip(shapes, scales, strict=True)]


def next_failure(
    lifetimes: Lifetimes, fit: WeibullFit, at_km: float, further_km: float, level: float = 0.95
) -> Bounded:
    """Chance that a unit good at `at_km` fails within the next `further_km`."""
    drawn = [law.next_failure(at_km, further_km) for law in law_draws(lifetimes, fit)]
    low, high = np.quantile(drawn, [0.5 - level / 2, 0.5 + level / 2])
    return Bounded(fit.next_failure(at_km, further_km), float(low), float(high))


def replacement_interval(
    lifetimes: Lifetimes, fit: WeibullFit, planned: float, breakdown: float, level: float = 0.95
) -> tuple[ReplacementAge, Bounded]:
    """The best replacement age, and its interval; an age that is not finite means: run to failure."""
    best = age_replacement(fit.shape, fit.scale_km, planned, breakdown)
    ages = [
        age_replacement(law.shape, law.scale_km, planned, breakdown).km for law in law_draws(lifetimes, fit)
    ]
    sorted_ages = np.sort([np.inf if age is None else age for age in ages])
    low, high = (
        float(sorted_ages[round(share * (len(sorted_ages) - 1))])
        for share in (0.5 - level / 2, 0.5 + level / 2)
    )
    return best, Bounded(best.km, _finite(low), _finite(high))


def _finite(value: float) -> float | None:
    return value if np.isfinite(value) else None
