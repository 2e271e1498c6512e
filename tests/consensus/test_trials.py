"""Trials of further tables end where they are decided, and sums over symbols are numpy's own."""

from __future__ import annotations

import numpy as np
import pytest

from consensus import trials
from consensus.symbols import dot, over_symbols, peak
from consensus.trials import FAR, Watch


@pytest.mark.parametrize("size", range(1, 12))
def test_sums_over_symbols_are_those_of_numpy(size: int) -> None:
    random = np.random.default_rng(size)
    x, y = random.normal(size=(2, 7, 2, 5, size))
    assert np.array_equal(over_symbols(x), x.sum(axis=-1, keepdims=True))
    assert np.array_equal(peak(x), x.max(axis=-1, keepdims=True))
    assert np.allclose(dot(x, y), (x * y).sum(axis=-1), rtol=1e-12, atol=1e-12)


@pytest.mark.parametrize(
    ("beyond", "rounds"),
    [
        ((FAR + 1,), 1),  # far enough at first sight
        ((-0.5, FAR + 1, FAR + 1), 3),  # a leap is not yet trusted
        ((-3.0, -3.1), 2),  # stands still below
        ((-3.0, -1.0, -0.6, -0.4), 3),  # rises less than it lacks
        ((-6.9, -1.3, 3.2, 3.2), 4),  # rises by more than it lacks
        ((0.5, 0.6, 0.5), 3),  # above, not far: every round is run
    ],
)
def test_a_trial_ends_as_soon_as_its_outcome_stands(
    monkeypatch: pytest.MonkeyPatch, beyond: tuple[float, ...], rounds: int
) -> None:
    told = iter(beyond)
    monkeypatch.setattr(trials, "log_evidence", lambda _problem, _state: 100.0 + next(told))
    watch = Watch(problem=None, needed=100.0)  # type: ignore[arg-type]
    for _ in beyond:
        if watch(None):  # type: ignore[arg-type]
            break
    assert len(watch.beyond) == rounds
