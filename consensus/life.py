"""Service life of one group of units: what may be said, and silence where there is too little."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from consensus.errors import ConsensusError
from consensus.life_interval import life_interval
from consensus.lifetimes import Lifetimes
from consensus.results import rounded
from consensus.survival import SurvivalCurve, kaplan_meier, turnbull
from consensus.weibull import WeibullFit, fit_weibull

Plain = dict[str, Any]

LEAST_UNITS, LEAST_FAILURES = 10, 3  # below: counts only
MOST_STEPS = 60  # steps of the curve that are given out


@dataclass(frozen=True)
class LifeEstimate:
    """Distance by which a share has failed, km; low, high: profile likelihood, None where not bounded."""

    estimate: float
    low: float | None
    high: float | None

    def to_plain(self) -> Plain:
        ends = {name: None if end is None else rounded(end, 5) for name, end in self._ends().items()}
        return {"estimate": rounded(self.estimate, 5), **ends}

    def _ends(self) -> dict[str, float | None]:
        return {"low": self.low, "high": self.high}


@dataclass(frozen=True)
class GroupLife:
    """Life of one group.

    method: "kaplan_meier" or "turnbull" (where failures lie between two readings), "" where there is too
    little; reason: "" | "too_few" | "no_law" (failures all at one distance, or no unit ever seen good).
    """

    units: int
    failures: int
    method: str = ""
    reason: str = ""
    curve: SurvivalCurve | None = None
    weibull: WeibullFit | None = None
    b5: LifeEstimate | None = None
    b10: LifeEstimate | None = None
    params: Plain = field(default_factory=dict)

    def to_plain(self) -> Plain:
        """The fields of a group in `benchquorum/life/1`, without design, class and message."""
        law = self.weibull
        return {
            "units": self.units,
            "failures": self.failures,
            "survival": self._survival(),
            "weibull": None
            if law is None
            else {"shape": rounded(law.shape, 5), "scale_km": rounded(law.scale_km, 6)},
            "b5_km": None if self.b5 is None else self.b5.to_plain(),
            "b10_km": None if self.b10 is None else self.b10.to_plain(),
            "method": self.method,
            "reason": self.reason,
        }

    def _survival(self) -> list[Plain]:
        if self.curve is None:
            return []
        count = len(self.curve.km)
        steps = np.unique(np.linspace(0, count - 1, min(count, MOST_STEPS)).round().astype(int))
        return [
            {
                "km": rounded(float(self.curve.km[at]), 7),
                "s": rounded(float(self.curve.s[at]), 5),
                "low": rounded(float(self.curve.low[at]), 5),
                "high": rounded(float(self.curve.high[at]), 5),
            }
            for at in steps
        ]


def group_life(lifetimes: Lifetimes, level: float = 0.95) -> GroupLife:
    """Curve, Weibull law and B5 and B10 lives of one group.

    Fewer than 10 units or 3 failures: counts only.  Units that were brought in because they failed make any
    of this look worse than it is: that is for the page to say.
    """
    units, failures = len(lifetimes), lifetimes.failures
    if units < LEAST_UNITS or failures < LEAST_FAILURES:
        return GroupLife(units, failures, reason="too_few")
    between = bool((lifetimes.failed & ~lifetimes.exact).any())
    curve = turnbull(lifetimes, level) if between else kaplan_meier(lifetimes, level)
    method = "turnbull" if between else "kaplan_meier"
    try:
        law = fit_weibull(lifetimes)
    except ConsensusError:
        return GroupLife(units, failures, method, "no_law", curve)
    return GroupLife(
        units=units,
        failures=failures,
        method=method,
        curve=curve,
        weibull=law,
        b5=_estimate(life_interval(lifetimes, 0.05, level, law)),
        b10=_estimate(life_interval(lifetimes, 0.10, level, law)),
    )


def _estimate(ends: tuple[float, float, float]) -> LifeEstimate:
    estimate, low, high = ends
    return LifeEstimate(estimate, low if 0 < low < np.inf else None, high if np.isfinite(high) else None)
