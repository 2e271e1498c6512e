"""A smooth curve as few pieces of parabolas: small enough to send, as exact as asked."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Segments:
    """y(x) = a + b (x - start) + c (x - start)² on each piece, which reaches to the next start.

    start: (S,) ascending; coefficients: (S, 3).
    """

    start: FloatArray
    coefficients: FloatArray

    def at(self, x: FloatArray) -> FloatArray:
        """Values at x (n,); before the first start the first piece goes on."""
        piece = np.maximum(np.searchsorted(self.start, x, side="right") - 1, 0)
        t = x - self.start[piece]
        a, b, c = self.coefficients[piece].T
        return np.asarray(a + t * (b + t * c))


def fit_segments(x: FloatArray, y: FloatArray, tolerance: float) -> Segments:
    """Pieces through samples (x ascending), none further off than `tolerance`.

    A piece goes through its first, middle and last sample and is made as long as it can be.

    >>> x = np.linspace(0.0, 1.0, 101)
    >>> len(fit_segments(x, 3.0 - x + 2.0 * x**2, 1e-9).start)
    1
    """
    starts, found = [], []
    first = 0
    while first < len(x):
        piece = _through(x, y, first, first)
        step = 1
        last = first
        while step >= 1:
            tried = min(last + step, len(x) - 1)
            made = _through(x, y, first, tried)
            if tried > last and _fits(x, y, first, tried, made, tolerance):
                last, piece, step = tried, made, step * 2
            else:
                step //= 2
        starts.append(x[first])
        found.append(piece)
        first = last + 1
    return Segments(np.array(starts), np.array(found))


def _through(x: FloatArray, y: FloatArray, first: int, last: int) -> tuple[float, float, float]:
    """Coefficients of the parabola through the first, the middle and the last sample."""
    middle = (first + last) // 2
    t1, t2 = x[middle] - x[first], x[last] - x[first]
    d1, d2 = y[middle] - y[first], y[last] - y[first]
    if t2 == 0:
        return float(y[first]), 0.0, 0.0
    if t1 == 0:
        return float(y[first]), float(d2 / t2), 0.0
    c = (d2 / t2 - d1 / t1) / (t2 - t1)
    return float(y[first]), float(d1 / t1 - c * t1), float(c)


def _fits(
    x: FloatArray,
    y: FloatArray,
    first: int,
    last: int,
    piece: tuple[float, float, float],
    tolerance: float,
) -> bool:
    t = x[first : last + 1] - x[first]
    a, b, c = piece
    return bool((np.abs(a + t * (b + t * c) - y[first : last + 1]) <= tolerance).all())
