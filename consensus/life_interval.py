"""Interval of the distance by which a share of the units has failed, from the profile likelihood.

Sources: Lawless (2003), Statistical Models and Methods for Lifetime Data, ch. 4.4; ends found as in Venzon &
Moolgavkar (1988), Applied Statistics 37:87-94: likelihood at the limit and stationary along the other
parameter, two equations for two unknowns.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, stats

from consensus.lifetimes import Lifetimes
from consensus.weibull import STEEPEST, WeibullFit, WeibullLikelihood, fit_weibull

FloatArray = NDArray[np.float64]

FLATTEST = -4.0  # ln(shape)
STEP = 1e-4  # of numeric second derivatives, in ln(life) and ln(shape)
FARTHEST = 12.0  # in ln(life) from the estimate: beyond, an end counts as not bounded


def allowed_ratio(failures: int, level: float) -> float:
    """Largest 2 ln(likelihood ratio) inside: r / (r - 1) times the squared t quantile of r - 2 degrees of
    freedom, for r failures and two parameters (at least one degree).

    The chi-square quantile is its limit, but covers 92.7 % where it says 95 % with some dozens of failures
    (600 simulated fleets); this form is the usual repair of a normal law's variance, checked by simulation.
    """
    r = max(failures, 3)
    return float(r / (r - 1) * stats.t.ppf(0.5 + level / 2, r - 2) ** 2)


def life_interval(
    lifetimes: Lifetimes, share: float = 0.10, level: float = 0.95, fit: WeibullFit | None = None
) -> tuple[float, float, float]:
    """(estimate, low, high) km by which `share` has failed, low and high from the profile likelihood.

    All laws are in whose likelihood ratio to the best stays below `allowed_ratio`.  An end that the data
    don't bound is 0 or inf.  fit: of the same lifetimes, where it is known already.
    """
    profile = _Profile(
        lifetimes, fit or fit_weibull(lifetimes), share, allowed_ratio(lifetimes.failures, level)
    )
    ends = (profile.estimate, profile.end(-1), profile.end(1))
    return tuple(float(np.exp(value) * profile.unit) for value in ends)  # type: ignore[return-value]


class _Profile:
    """The likelihood in (ln life, ln shape) around its best point; lives in units of `unit` km."""

    def __init__(self, lifetimes: Lifetimes, fit: WeibullFit, share: float, allowed: float) -> None:
        self._likelihood = WeibullLikelihood(lifetimes)
        self.unit = self._likelihood.unit
        log_scale, self._log_shape = float(np.log(fit.scale_km / self.unit)), float(np.log(fit.shape))
        self._quantile = float(np.log(-np.log1p(-share)))  # ln life = ln scale + quantile / shape
        self.estimate = log_scale + self._quantile / np.exp(self._log_shape)
        self._floor = self._value(self.estimate, self._log_shape)[0] - allowed / 2
        self._allowed = allowed

    def _value(self, log_life: float, log_shape: float) -> tuple[float, float, float]:
        """The log likelihood and its slopes along ln(life) and ln(shape)."""
        turn = self._quantile / float(np.exp(np.clip(log_shape, -20, 8)))
        total, slopes = self._likelihood.value(log_life - turn, log_shape)
        return total, float(slopes[0]), float(slopes[1] + slopes[0] * turn)

    def end(self, side: int) -> float:
        """ln(life) where the profile falls to the floor below (side -1) or above (1) the estimate."""
        found = self._solved(side)
        return self._walked(side) if found is None else found

    def _solved(self, side: int) -> float | None:
        """By the two equations, from the ends of a normal approximation; None where that leads astray."""
        best, b = self.estimate, self._log_shape
        _, up_life, up_cross = self._value(best + STEP, b)
        _, down_life, down_cross = self._value(best - STEP, b)
        _, _, up_shape = self._value(best, b + STEP)
        _, _, down_shape = self._value(best, b - STEP)
        curved = -np.array([up_life - down_life, up_cross - down_cross, up_shape - down_shape]) / (2 * STEP)
        left = curved[0] - curved[1] ** 2 / curved[2] if curved[2] > 0 else 0.0
        if left <= 0:
            return None
        away = side * np.sqrt(self._allowed / left)

        def equations(point: FloatArray) -> list[float]:
            total, _, along_shape = self._value(float(point[0]), float(point[1]))
            return [total - self._floor, along_shape]

        start = [best + away, b - curved[1] / curved[2] * away]
        answer = optimize.root(equations, start, method="hybr", options={"xtol": 1e-9})
        life, shape = float(answer.x[0]), float(answer.x[1])
        if not answer.success or not FLATTEST < shape < STEEPEST or not 0 < side * (life - best) < FARTHEST:
            return None
        here = self._value(life, shape)[0]
        is_top = all(self._value(life, shape + step)[0] < here for step in (-0.05, 0.05))
        return life if is_top and abs(here - self._floor) < 1e-5 else None

    def _walked(self, side: int) -> float:
        """Walking from the estimate in growing steps, the best shape looked for at each."""
        shortfall, step = self._shortfall(), side * 0.05
        inside, outside = self.estimate, self.estimate + step
        while shortfall(outside) < 0:
            step *= 1.6
            inside, outside = outside, outside + step
            if abs(outside - self.estimate) > FARTHEST:
                return side * np.inf
        while abs(outside - inside) > 1e-5:  # the data may end at a bound, where the profile is not smooth
            middle = (inside + outside) / 2
            inside, outside = (middle, outside) if shortfall(middle) < 0 else (inside, middle)
        return (inside + outside) / 2

    def _shortfall(self) -> Callable[[float], float]:
        """How far the profile lies below the floor; the best shape moves smoothly with the life."""
        near = self._log_shape

        def shortfall(log_life: float) -> float:
            nonlocal near
            answer = optimize.minimize_scalar(
                lambda b: -self._value(log_life, b)[0],
                bounds=(max(near - 1.5, FLATTEST), min(near + 1.5, STEEPEST)),
                method="bounded",
                options={"xatol": 1e-5},
            )
            near = float(answer.x)
            return float(self._floor + answer.fun)

        return shortfall
