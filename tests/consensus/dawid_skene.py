"""The label aggregation of Dawid & Skene (1979, Applied Statistics 28:20-28), as a reference for tests."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class LabelModel:
    """posterior: (items, classes); prevalence: (classes,); errors: (observers, true, reported); path: log
    likelihood after each step of maximisation."""

    posterior: FloatArray
    prevalence: FloatArray
    errors: FloatArray
    path: list[float]


def fit_labels(counts: FloatArray, rounds: int = 2000) -> LabelModel:
    """EM from vote fractions.  counts: (items, observers, classes), how often each label was given."""
    votes = counts.sum(axis=1)
    posterior = votes / votes.sum(axis=1, keepdims=True)
    path: list[float] = []
    for _ in range(rounds):
        prevalence = posterior.mean(axis=0)
        errors = np.einsum("it,ioc->otc", posterior, counts)
        errors = errors / np.maximum(errors.sum(axis=2, keepdims=True), 1e-300)
        logs = np.log(np.maximum(prevalence, 1e-300)) + np.einsum(
            "ioc,otc->it", counts, np.log(np.maximum(errors, 1e-300))
        )
        peak = logs.max(axis=1, keepdims=True)
        path.append(float((peak[:, 0] + np.log(np.exp(logs - peak).sum(axis=1))).sum()))
        posterior = np.exp(logs - peak)
        posterior /= posterior.sum(axis=1, keepdims=True)
        if len(path) > 1 and abs(path[-1] - path[-2]) < 1e-12:
            break
    return LabelModel(posterior, prevalence, errors, path)
