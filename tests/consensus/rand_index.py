"""How alike two partitions are, as a measure for tests."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import comb


def adjusted_rand(one: ArrayLike, other: ArrayLike) -> float:
    """Adjusted Rand index (Hubert & Arabie 1985, J. Classification 2:193-218); 1 for two trivial ones."""
    u, v = (np.unique(np.asarray(labels), return_inverse=True)[1] for labels in (one, other))
    table = np.zeros((u.max() + 1, v.max() + 1))
    np.add.at(table, (u, v), 1)
    both = comb(table, 2).sum()
    rows, columns = comb(table.sum(axis=1), 2).sum(), comb(table.sum(axis=0), 2).sum()
    chance = rows * columns / comb(len(u), 2)
    most = (rows + columns) / 2
    return 1.0 if most == chance else float((both - chance) / (most - chance))
