"""Sums over symbols."""

from __future__ import annotations

import numpy as np
import pytest

from consensus.symbols import MOST_COLUMNS, sums_at


@pytest.mark.parametrize("size", [3, MOST_COLUMNS, MOST_COLUMNS + 1, 13])
def test_rows_are_summed_by_their_targets_in_their_order(size):
    rng = np.random.default_rng(4)
    target, rows = rng.integers(0, 9, 200), rng.normal(size=(200, size))
    expected = np.zeros((12, size))
    np.add.at(expected, target, rows)
    assert (sums_at(target, rows, 12) == expected).all()


def test_nothing_to_sum():
    assert (sums_at(np.zeros(0, np.int64), np.zeros((0, 9)), 3) == np.zeros((3, 9))).all()
