"""Groups of units that agree more with each other than with the rest, as starts of further tables."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.cluster.hierarchy import linkage
from scipy.spatial.distance import squareform

from consensus.symbols import over_symbols, peak

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

MOST_CLUSTERED = 300  # units clustered; of more the most outspoken
MOST_OF_UNITS = 0.8  # larger groups are the pattern itself
SAYS_SOMETHING = 0.5  # nats from which a unit has a view of a place


def candidate_groups(said: FloatArray) -> list[BoolArray]:
    """(U,) masks of two or more units that agree more with each other than with the rest.

    said: (U, Q, A) log messages.  Units are clustered (average linkage) by the share of places on which
    they contradict each other; of many units only the most outspoken are clustered, others join later.
    """
    spoken = np.abs(said).sum(axis=(1, 2))
    chosen = np.sort(np.argsort(-spoken, kind="stable")[:MOST_CLUSTERED])
    chosen = chosen[spoken[chosen] > 0]
    if len(chosen) < 3:
        return []
    view = np.exp(said[chosen] - peak(said[chosen]))
    view /= over_symbols(view)
    told = (peak(np.abs(said[chosen]))[..., 0] > SAYS_SOMETHING).astype(np.float64)
    split = _split_places(view, told)
    flat = (view * (told * split)[..., None]).reshape(len(chosen), -1)
    both = (told * split) @ told.T
    same = flat @ (view * told[..., None]).reshape(len(chosen), -1).T
    distance = (both - same + 0.05) / (both + 0.5)
    distance = (distance + distance.T) / 2
    np.fill_diagonal(distance, 0.0)
    tree = linkage(squareform(distance, checks=False), "average")
    groups = []
    members = [[at] for at in range(len(chosen))]
    for left, right, _, _ in tree[:-1]:
        members.append(members[int(left)] + members[int(right)])
        if len(members[-1]) <= MOST_OF_UNITS * len(chosen):
            group = np.zeros(len(said), dtype=bool)
            group[chosen[members[-1]]] = True
            groups.append(group)
    return groups


def _split_places(view: FloatArray, told: FloatArray) -> FloatArray:
    """(Q,) how split the units are about each place: 1 - sum of squared shares."""
    many = np.maximum(told.sum(axis=0), 1e-9)
    share = (view * told[..., None]).sum(axis=0) / many[:, None]
    return np.asarray(1 - (share**2).sum(axis=-1))
