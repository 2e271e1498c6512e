"""When replacing early pays: the distance with the lowest cost per km."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from consensus.errors import ConsensusError

NEVER = 64.0  # scales: none is left to replace, so that replacing there is running to failure


@dataclass(frozen=True)
class ReplacementAge:
    """km: best distance for planned replacement, None: run to failure; cost_per_km: there; run_to_failure:
    cost per km without planned replacement; both in the currency of the costs given."""

    km: float | None
    cost_per_km: float
    run_to_failure: float


def age_replacement(shape: float, scale_km: float, planned: float, breakdown: float) -> ReplacementAge:
    """Replacement age of a Weibull life that minimises the cost per km in the long run.

    C(T) = (planned R(T) + breakdown F(T)) / integral of R from 0 to T.  With shape <= 1, or a breakdown that
    costs no more than a planned replacement, never replace early.
    Source: Barlow & Hunter (1960), Operations Research 8:90-100.

    >>> round(age_replacement(2.5, 1000, 1, 5).km, 4)
    493.047
    """
    if min(shape, scale_km, planned, breakdown) <= 0:
        raise ConsensusError(
            "not_positive", "A shape, scale or cost is not above 0.", "Give positive numbers."
        )
    worn_out = breakdown / (scale_km * special.gamma(1 + 1 / shape))
    if shape <= 1 or breakdown <= planned:
        return ReplacementAge(None, float(worn_out), float(worn_out))

    def used(t: float) -> float:
        """Integral of R from 0 to t, t in units of the scale."""
        return float(special.gamma(1 / shape) / shape * special.gammainc(1 / shape, t**shape))

    target = planned / (breakdown - planned)

    def slope(t: float) -> float:
        # h(T) * integral of R - F(T) grows from 0 without bound where the hazard grows
        return shape * t ** (shape - 1) * used(t) + np.expm1(-(t**shape)) - target

    high = 1.0
    while slope(high) < 0:
        high *= 2
        if high > NEVER:
            return ReplacementAge(None, float(worn_out), float(worn_out))
    best = float(optimize.brentq(slope, 0.0, high, xtol=1e-14, rtol=1e-14, maxiter=500))
    hazard = shape / scale_km * best ** (shape - 1)
    return ReplacementAge(best * scale_km, float(hazard * (breakdown - planned)), float(worn_out))
