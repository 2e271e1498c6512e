"""Centre and spread that a fifth of bad values on one side don't move, and the usual limits of z-scores.

Source of all: ISO 13528:2015, Annex C.3 (Algorithm A) and 9.4 (limits), as quoted by AMC Technical Brief 6.
Values are in any one unit (Ω here); centre, spread and uncertainty come out in the same unit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from consensus.errors import ConsensusError

FloatArray = NDArray[np.float64]

MAD_TO_SD = 1.483  # as printed in the standard; exactly 1.4826022185
WINSOR_TO_SD = 1.134  # as printed in the standard; exactly 1.133392655
CUT = 1.5  # values beyond centre ± CUT * spread are moved to that edge


@dataclass(frozen=True)
class RobustCentre:
    """Algorithm A's answer for each row: x*, s*, and how many values stood behind them."""

    centre: FloatArray  # x*
    spread: FloatArray  # s*
    count: FloatArray  # finite values in the row

    @property
    def uncertainty(self) -> FloatArray:
        """Standard uncertainty of the centre, 1.25 s* / sqrt(n) (ISO 13528:2015, 7.7.3)."""
        return 1.25 * self.spread / np.sqrt(np.maximum(self.count, 1.0))


def algorithm_a(values: ArrayLike, rounds: int = 1000, tolerance: float = 1e-12) -> RobustCentre:
    """Robust mean and standard deviation of each row of `values` (n,) or (rows, n); nan = not taken.

    Starts at the median and 1.483 MAD; each round moves the *original* values that lie beyond
    centre ± 1.5 spread to that edge, and takes their mean and 1.134 sd, until both stand still
    (relative `tolerance`) or `rounds` are done: the standard's own worked figures stop after 4.
    Where more than half of the values are equal, the spread is 0 and the centre is that value.
    A row of one value has spread 0; a row of none gives nan.

    >>> answer = algorithm_a([4.5, 4.9, 5.6, 4.2, 6.2, 5.2, 9.9])
    >>> round(float(answer.centre), 4), round(float(answer.spread), 4)
    (5.3865, 1.146)
    """
    x = np.asarray(values, dtype=np.float64)
    if x.ndim not in (1, 2):
        raise ConsensusError("rows_shape", f"values has {x.ndim} dimensions.", "Give (n,) or (rows, n).")
    rows = np.atleast_2d(x)
    taken = np.isfinite(rows)
    count = taken.sum(axis=1).astype(np.float64)
    centre = _row_median(rows, taken)
    spread = MAD_TO_SD * _row_median(np.abs(rows - centre[:, None]), taken)
    moving = np.flatnonzero((count > 1) & (spread > 0))
    for _ in range(rounds):
        if not moving.size:
            break
        new_centre, new_spread = _round(
            rows[moving], taken[moving], count[moving], centre[moving], spread[moving]
        )
        step = np.maximum(np.abs(new_centre - centre[moving]), np.abs(new_spread - spread[moving]))
        centre[moving], spread[moving] = new_centre, new_spread
        moving = moving[step > tolerance * np.maximum(new_spread, np.abs(new_centre))]
    if x.ndim == 1:
        return RobustCentre(centre[0], spread[0], count[0])
    return RobustCentre(centre, spread, count)


def _row_median(rows: FloatArray, taken: NDArray[np.bool_]) -> FloatArray:
    """Median of the taken values of each row; nan where there are none (numpy's own warns there)."""
    count = taken.sum(axis=1)
    ordered = np.sort(np.where(taken, rows, np.inf), axis=1)
    below, above = np.maximum(count - 1, 0) // 2, count // 2
    above = np.minimum(above, max(rows.shape[1] - 1, 0))
    at = np.arange(len(rows))
    some = count > 0
    low, high = np.where(some, ordered[at, below], 0.0), np.where(some, ordered[at, above], 0.0)
    return np.where(some, (low + high) / 2.0, np.nan)


def _round(
    rows: FloatArray, taken: NDArray[np.bool_], count: FloatArray, centre: FloatArray, spread: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """One round of Algorithm A: winsorise the original values, then mean and scaled sd."""
    edge = CUT * spread[:, None]
    moved = np.clip(np.where(taken, rows, 0.0), centre[:, None] - edge, centre[:, None] + edge)
    mean = np.where(taken, moved, 0.0).sum(axis=1) / count
    squares = np.where(taken, (moved - mean[:, None]) ** 2, 0.0).sum(axis=1)
    return mean, WINSOR_TO_SD * np.sqrt(squares / (count - 1))


def z_limits(z: ArrayLike) -> NDArray[np.str_]:
    """'acceptable' for |z| <= 2, 'warning' below 3, 'action' from 3 on (ISO 13528:2015, 9.4).

    >>> [str(word) for word in z_limits([2.0, 2.001, 3.0])]
    ['acceptable', 'warning', 'action']
    """
    size = np.abs(np.asarray(z, dtype=np.float64))
    return np.where(size <= 2.0, "acceptable", np.where(size < 3.0, "warning", "action"))


def mean_and_sd(values: ArrayLike) -> tuple[float, float]:
    """Plain mean and standard deviation (n - 1) in two passes, good to the last digits of NIST's data sets.

    The deviations' own mean is taken off, which removes the rounding of the first pass
    (Chan, Golub & LeVeque 1983, The American Statistician 37:242-247).

    >>> mean_and_sd([10000001.0, 10000003.0, 10000002.0])
    (10000002.0, 1.0)
    """
    x = np.asarray(values, dtype=np.float64)
    if x.ndim != 1 or len(x) < 2:
        raise ConsensusError("too_few", f"values has shape {x.shape}.", "Give at least two numbers.")
    mean = float(x.mean())
    away = x - mean
    correction = float(away.mean())
    squares = float((away**2).sum()) - len(x) * correction**2
    return mean + correction, float(np.sqrt(squares / (len(x) - 1)))
