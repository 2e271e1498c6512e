"""Share of units still good where failures lie between two readings, without a law assumed.

Source: Turnbull (1976), J. R. Stat. Soc. B 38:290-295, left truncation included; the self-consistency rounds
are sped up as in Varadhan & Roland (2008), Scand. J. Stat. 35:335-353 (scheme S3).  A round costs as much as
there are units and intervals: the intervals that a unit may have failed in are neighbours, so that running
sums do.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from consensus.lifetimes import Lifetimes

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

MOST_CYCLES = 5_000
LONGEST_JUMP = 1e4
CONVERGED = 1e-11  # largest change of a mass in a round
LEAST_MASS = 1e-7  # below, an interval carries nothing
MOST_ENDS = 600  # different distances up to which the curve is exact
COARSE = 256  # distances kept beyond that: the curve moves by less than 1 / 256


def turnbull_masses(
    lifetimes: Lifetimes, converged: float = CONVERGED
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(left, right, mass) of the intervals (left, right] that carry the maximum-likelihood estimate.

    Where inside an interval its mass lies can't be known.  Failures between two readings are (low, high], an
    exact failure is a point, units still good are (low, inf); left truncation allowed.
    """
    model = _Model.of(lifetimes)
    mass = model.masses(model.weight[None, :], converged)[0]
    kept = mass > LEAST_MASS
    return model.left[kept], model.right[kept], mass[kept] / mass[kept].sum()


def turnbull_curve(lifetimes: Lifetimes, draws: int, seed: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(km, s, se): survival at the right ends of the intervals, standard error by bootstrap over units."""
    if len(_ends(lifetimes)) > MOST_ENDS:
        lifetimes, draws = _coarse(lifetimes), max(draws // 4, 2)
    model = _Model.of(lifetimes)
    mass = model.masses(model.weight[None, :], 1e-8)[0]
    drawn = np.random.default_rng(seed).multinomial(
        len(lifetimes), model.weight / model.weight.sum(), size=draws
    )
    start = 0.9 * mass + 0.1 / len(mass)
    others = model.masses(drawn.astype(np.float64), 1e-5, start)
    kept = (mass > LEAST_MASS) & np.isfinite(model.right)
    s = np.clip(1 - np.cumsum(mass), 0.0, 1.0)
    spread = np.std(1 - np.cumsum(others, axis=1), axis=0)
    return model.right[kept], s[kept], spread[kept]


def turnbull_scores(lifetimes: Lifetimes) -> FloatArray:
    """(n,) like observed less expected failures: Sun's scores, which sum to about 0.  No unit came used."""
    model = _Model.of(lifetimes)
    mass = model.masses(model.weight[None, :], 1e-9)[0]
    s = np.clip(1 - np.concatenate([[0.0], np.cumsum(mass)]), 0.0, 1.0)
    s[-1] = 0.0
    hazard = np.concatenate([[0.0], np.cumsum(mass / np.maximum(s[:-1], 1e-12))])
    first, last = model.places(lifetimes)
    before, after = s[first], s[last + 1]
    share = before * hazard[first] - after * hazard[last + 1]
    return np.asarray(-share / np.maximum(before - after, 1e-12))


def _ends(lifetimes: Lifetimes) -> FloatArray:
    ends = np.unique(np.concatenate([lifetimes.low, lifetimes.high]))
    return ends[np.isfinite(ends)]


def _coarse(lifetimes: Lifetimes) -> Lifetimes:
    """Each distance moved to the nearest of `COARSE` that lie evenly among the ends; intervals stay such."""
    ends = np.concatenate([lifetimes.low, lifetimes.high, lifetimes.entered])
    grid = np.unique(np.quantile(ends[np.isfinite(ends) & (ends > 0)], np.linspace(0, 1, COARSE)))
    grid = np.concatenate([[0.0], grid])

    def place(km: FloatArray) -> IntArray:
        at = np.clip(np.searchsorted(grid, km), 1, len(grid) - 1)
        return np.where(km - grid[at - 1] < grid[at] - km, at - 1, at)

    failed, exact = lifetimes.failed, lifetimes.exact
    high = place(np.where(failed, lifetimes.high, 0.0))
    high = np.where(failed, np.maximum(high, 1), len(grid))
    low = np.where(exact, high, np.minimum(place(lifetimes.low), high - 1))
    entered = np.minimum(place(lifetimes.entered), np.where(exact, low - 1, low))
    km = np.append(grid, np.inf)
    return Lifetimes(km[entered], km[low], km[high])


@dataclass(frozen=True)
class _Model:
    """Intervals (m,), and kinds of units (k,): first and last interval that each may have failed in, first
    that it could have been seen to fail in, and how many units are of that kind."""

    left: FloatArray
    right: FloatArray
    first: IntArray
    last: IntArray
    eligible: IntArray
    weight: FloatArray

    @classmethod
    def of(cls, lifetimes: Lifetimes) -> _Model:
        left, right = _innermost(lifetimes)
        first, last = _places(left, right, lifetimes)
        eligible = np.searchsorted(right, lifetimes.entered, side="right")
        kinds, count = np.unique(np.stack([first, last, eligible]), axis=1, return_counts=True)
        return cls(left, right, kinds[0], kinds[1], kinds[2], count.astype(np.float64))

    def places(self, lifetimes: Lifetimes) -> tuple[IntArray, IntArray]:
        """First and last interval of each unit, in the units' order."""
        return _places(self.left, self.right, lifetimes)

    def masses(self, weight: FloatArray, converged: float, start: FloatArray | None = None) -> FloatArray:
        """(b, m) masses for each of the (b, k) weights."""
        even = np.full(len(self.left), 1.0 / len(self.left)) if start is None else start
        mass = np.tile(even, (len(weight), 1))
        moving = np.arange(len(weight))
        for _ in range(MOST_CYCLES):
            mass[moving], change = self._cycle(mass[moving], weight[moving])
            moving = moving[change >= converged]
            if not len(moving):
                break
        return mass

    def _cycle(self, mass: FloatArray, weight: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Two rounds and a jump ahead; and the largest change of the second round, for each row."""
        once = self._round(mass, weight)
        twice = self._round(once, weight)
        step, bend = once - mass, twice - 2 * once + mass
        length = np.linalg.norm(step, axis=1) / np.maximum(np.linalg.norm(bend, axis=1), 1e-15)
        length = np.clip(length, 1.0, LONGEST_JUMP)[:, None]
        jumped = mass + 2 * length * step + length**2 * bend
        # a jump out of bounds is no jump; the round after it brings back what was lost
        jumped = np.where((jumped < 0).any(axis=1)[:, None], twice, jumped)
        jumped = self._round(jumped, weight)
        worse = self._log_likelihood(jumped, weight) < self._log_likelihood(twice, weight)
        return np.where(worse[:, None], twice, jumped), np.abs(twice - once).max(axis=1)

    def _round(self, mass: FloatArray, weight: FloatArray) -> FloatArray:
        """One round of self-consistency, units that could not have been seen filled in."""
        sums = _running(mass)
        seen = np.maximum(sums[:, self.last + 1] - sums[:, self.first], 1e-300)
        told = weight / seen
        new = _spread(told, self.first, self.last + 1, mass.shape[1])
        if self.eligible.any():
            could = np.maximum(sums[:, -1:] - sums[:, self.eligible], 1e-300)
            new = new + _spread(weight / could, np.zeros_like(self.eligible), self.eligible, mass.shape[1])
        new = np.maximum(new, 0.0) * mass
        return np.asarray(new / new.sum(axis=1, keepdims=True))

    def _log_likelihood(self, mass: FloatArray, weight: FloatArray) -> FloatArray:
        sums = _running(mass)
        seen = np.maximum(sums[:, self.last + 1] - sums[:, self.first], 1e-300)
        could = np.maximum(sums[:, -1:] - sums[:, self.eligible], 1e-300)
        return np.asarray((weight * (np.log(seen) - np.log(could))).sum(axis=1))


def _places(left: FloatArray, right: FloatArray, lifetimes: Lifetimes) -> tuple[IntArray, IntArray]:
    point = left == right
    # an interval that begins where a unit was good counts, a point there doesn't; points stand first
    first = np.searchsorted(left, lifetimes.low, side="left")
    here = np.minimum(first, len(left) - 1)
    first = first + ((left[here] == lifetimes.low) & point[here] & ~lifetimes.exact)
    last = np.searchsorted(right, lifetimes.high, side="right") - 1
    return first, np.where(lifetimes.exact, first, last)


def _running(mass: FloatArray) -> FloatArray:
    return np.concatenate([np.zeros((len(mass), 1)), np.cumsum(mass, axis=1)], axis=1)


def _spread(amount: FloatArray, begin: IntArray, end: IntArray, count: int) -> FloatArray:
    """(b, count): each amount of a row added to all of begin … end - 1."""
    rows = len(amount)
    offset = (np.arange(rows) * (count + 1))[:, None]
    size, flat = rows * (count + 1), amount.ravel()
    steps = np.bincount((offset + begin).ravel(), flat, size) - np.bincount(
        (offset + end).ravel(), flat, size
    )
    return np.asarray(np.cumsum(steps.reshape(rows, count + 1), axis=1)[:, :count])


def _innermost(lifetimes: Lifetimes) -> tuple[FloatArray, FloatArray]:
    """Intervals from a left end to the next right end with no other end between (Turnbull's set).

    Order at one distance: an exact failure's own left end, right ends, left ends: intervals are open on the
    left and closed on the right.
    """
    exact = lifetimes.exact
    points = np.unique(lifetimes.low[exact])
    lefts = np.unique(lifetimes.low[~exact])
    rights = np.unique(lifetimes.high[~exact])
    # (distance, order at one distance, is it a left end?)
    ends = [(km, 1, False) for km in np.union1d(rights, points)] + [(km, 2, True) for km in lefts]
    ends += [(km, 0, True) for km in points]
    ends.sort()
    found = [(first[0], second[0]) for first, second in pairwise(ends) if first[2] and not second[2]]
    return np.array([low for low, _ in found]), np.array([high for _, high in found])
