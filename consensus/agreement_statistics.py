"""How far readers agree beyond chance, for a whole design.

An *item* is a place of the design, an *observer* whoever gave at most one label to each item (here: a
switch).  What charts state, alpha and its interval of states told for sure, is in `design_figures`.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from consensus.errors import ConsensusError

FloatArray = NDArray[np.float64]
Metric = Literal["nominal", "ordinal", "interval", "ratio"]


def fleiss_kappa(counts: ArrayLike) -> float:
    """Fleiss' kappa of counts (items, categories): how many observers put the item into the category.

    Every item needs the same number of observers, at least two.  kappa = (P - Pe) / (1 - Pe), with P the
    mean share of agreeing pairs and Pe the same by chance.  Where all labels are one category, Pe = 1 and
    the ratio is 0/0: everybody agrees, so it is defined as 1.
    Source: Fleiss (1971), Psychological Bulletin 76:378-382.

    >>> round(fleiss_kappa([[0, 4], [4, 0], [2, 2]]), 4)
    0.5556
    >>> fleiss_kappa([[5, 0], [5, 0]])
    1.0
    """
    n = np.asarray(counts, dtype=np.float64)
    observers = n.sum(axis=1)
    if n.ndim != 2 or len(n) == 0 or observers[0] < 2 or np.any(observers != observers[0]):
        raise ConsensusError(
            "unequal_observers",
            "Fleiss' kappa needs items with the same number of observers, at least two.",
            "Use krippendorff_alpha where readings are missing.",
        )
    m = observers[0]
    agreement = ((n**2).sum() - n.sum()) / (len(n) * m * (m - 1))
    chance = ((n.sum(axis=0) / n.sum()) ** 2).sum()
    return 1.0 if chance >= 1.0 else float((agreement - chance) / (1.0 - chance))


def krippendorff_alpha(values: ArrayLike, metric: Metric = "nominal") -> float:
    """Krippendorff's alpha of values (observers, items); nan = missing, any pattern of missing values.

    alpha = 1 - Do / De from the coincidence matrix; items with fewer than two values drop out.
    Where all pairable values are one and the same it is defined as 1 (nobody disagrees); where no item has
    two values it is nan (nothing can be said).
    Source: Krippendorff (2011), Computing Krippendorff's Alpha-Reliability.

    >>> round(krippendorff_alpha([[0, 0, 1, 1], [0, 0, 1, 0], [0, float("nan"), 1, 1]]), 4)
    0.6667
    """
    x = np.asarray(values, dtype=np.float64)
    domain = np.unique(x[np.isfinite(x)])
    labels = np.where(np.isfinite(x), np.searchsorted(domain, np.where(np.isfinite(x), x, np.inf)), -1)
    coincidences = _coincidences(labels, len(domain))
    return _alpha(coincidences, _differences(domain, coincidences.sum(axis=1), metric))


def _coincidences(labels: NDArray[np.int_], categories: int) -> FloatArray:
    """Coincidence matrix (categories, categories): an item of m values adds each ordered pair of them, none
    with itself, with 1 / (m - 1)."""
    many = (labels[None] == np.arange(categories)[:, None, None]).sum(axis=1).astype(np.float64)
    total = many.sum(axis=0)
    scale = np.where(total > 1, 1.0 / np.maximum(total - 1, 1.0), 0.0)
    matrix: FloatArray = np.einsum("ci,di,i->cd", many, many, scale)
    return matrix - np.diag(many @ scale)


def _differences(domain: FloatArray, totals: FloatArray, metric: Metric) -> FloatArray:
    """Squared difference of each pair of categories in the metric."""
    first, second = domain[:, None], domain[None, :]
    if metric == "nominal":
        return (first != second).astype(np.float64)
    if metric == "interval":
        return (first - second) ** 2
    if metric == "ratio":
        total = first + second
        return np.where(total != 0, (first - second) / np.where(total != 0, total, 1.0), 0.0) ** 2
    upto = np.cumsum(totals)
    middle = upto - totals / 2.0  # sum from g to k less half of both ends = difference of the mid-ranks
    return (middle[:, None] - middle[None, :]) ** 2


def _alpha(coincidences: FloatArray, differences: FloatArray) -> float:
    totals = coincidences.sum(axis=1)
    n = totals.sum()
    if n < 2:
        return float("nan")
    expected = (np.outer(totals, totals) * differences).sum() / (n - 1)
    return 1.0 if expected == 0 else float(1.0 - (coincidences * differences).sum() / expected)
