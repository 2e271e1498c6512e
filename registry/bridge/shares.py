"""A share with its interval."""

from __future__ import annotations

from consensus.intervals import clopper_pearson


def share_interval(hits: int, trials: int, level: float = 0.95) -> tuple[float, float]:
    """Exact two-sided interval of hits in trials (Clopper & Pearson 1934).

    >>> low, high = share_interval(4, 4)
    >>> round(low, 4), high
    (0.3976, 1.0)
    """
    interval = clopper_pearson(hits, trials, level)
    return float(interval.low), float(interval.high)
