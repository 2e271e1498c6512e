"""How long units lasted: an exact failure, one between two readings, or still good; perhaps come used.

Distances are km on the *unit*, not on the vehicle.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from consensus.errors import ConsensusError

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class Lifetimes:
    """n units.  entered: (n,) km at which each came under observation (left truncation); low, high: (n,) km
    between which it failed, high = inf where it has not: low = high exact, low < high somewhere between."""

    entered: FloatArray
    low: FloatArray
    high: FloatArray

    @classmethod
    def from_km(
        cls, good_km: ArrayLike, failed_km: ArrayLike, entered_km: ArrayLike | None = None
    ) -> Lifetimes:
        """From the columns of the file contract; nan in failed_km: it has not failed; nan in good_km: not
        known to be good after it was entered.

        >>> Lifetimes.from_km([5, 7, 9], [5, 8, float("nan")]).failures
        2
        """
        good = np.atleast_1d(np.asarray(good_km, dtype=np.float64))
        failed = np.atleast_1d(np.asarray(failed_km, dtype=np.float64))
        entered = np.zeros_like(good) if entered_km is None else np.asarray(entered_km, dtype=np.float64)
        entered = np.nan_to_num(np.atleast_1d(entered))
        if not len(good) == len(failed) == len(entered):
            raise ConsensusError(
                "columns_differ",
                f"{len(good)}, {len(failed)} and {len(entered)} distances were given.",
                "Give one of each per unit.",
            )
        low = np.where(np.isnan(good), entered, good)
        high = np.where(np.isnan(failed), np.inf, failed)
        if np.any(entered < 0) or np.any(low < entered) or np.any(high < low) or np.any(high <= entered):
            raise ConsensusError(
                "distance_order",
                "Distances must not fall: 0 <= entered <= good <= failed, and a failure after entry.",
                "Check which distance is which.",
            )
        return cls(entered, low, high)

    def __len__(self) -> int:
        return len(self.low)

    @property
    def failed(self) -> BoolArray:
        return np.isfinite(self.high)

    @property
    def exact(self) -> BoolArray:
        return self.low == self.high

    @property
    def failures(self) -> int:
        return int(self.failed.sum())

    def take(self, rows: NDArray[np.int64] | BoolArray) -> Lifetimes:
        """Some of the units, in this order."""
        return Lifetimes(self.entered[rows], self.low[rows], self.high[rows])
