"""Which column is which, when the numbering is unknown: the sum and the best over all assignments."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment
from scipy.special import gammaln

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

EXACT_UP_TO = 10  # columns: 2^columns sums; beyond, the best assignment stands for the sum


def log_mean_assignments(log_weight: FloatArray) -> FloatArray:
    """(B,) log of the mean, over all ways to give each row a column of its own, of the product of weights.

    log_weight: (B, rows, columns).  The sum is the permanent of a rectangular matrix, built up over subsets
    of columns (dynamic programming: Bellman 1962, J. ACM 9:61-63).  -inf where there are more rows than
    columns.

    >>> round(float(np.exp(log_mean_assignments(np.log([[[0.5, 0.25], [0.1, 0.2]]])))[0]), 6)
    0.0625
    """
    batch, rows, columns = log_weight.shape
    if rows > columns:
        return np.full(batch, -np.inf)
    log_count = gammaln(columns + 1) - gammaln(columns - rows + 1)
    if columns > EXACT_UP_TO:
        best = [log_weight[b][best_assignment(log_weight[b])].sum() for b in range(batch)]
        return np.array(best) - log_count
    # each row is scaled by its largest weight, so that products stay within the range of doubles
    largest = np.max(log_weight, axis=2, keepdims=True)
    largest = np.where(np.isfinite(largest), largest, 0.0)
    weight = np.exp(log_weight - largest)
    subsets = np.arange(1 << columns)
    sizes = np.array([int(s).bit_count() for s in subsets])
    total = np.zeros((batch, len(subsets)))
    total[:, 0] = 1.0
    for row in range(rows):
        new = np.zeros_like(total)
        for column in range(columns):
            with_it = subsets[((subsets >> column) & 1 == 1) & (sizes == row + 1)]
            new[:, with_it] += total[:, with_it ^ (1 << column)] * weight[:, row, column][:, None]
        total = new
    with np.errstate(divide="ignore"):
        sums: FloatArray = np.log(total[:, sizes == rows].sum(axis=1))
    return sums + largest.sum(axis=(1, 2)) - log_count


def best_assignment(log_weight: FloatArray) -> tuple[IntArray, IntArray]:
    """Rows and their columns of the likeliest assignment of a (rows, columns) matrix (Kuhn 1955; scipy)."""
    rows, columns = linear_sum_assignment(np.maximum(log_weight, -1e6), maximize=True)
    return np.asarray(rows), np.asarray(columns)
