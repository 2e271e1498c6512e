"""Curves as pieces of parabolas: as exact as asked, exact for parabolas, edges kept."""

from __future__ import annotations

import numpy as np
import pytest

from consensus.segments import fit_segments


@pytest.mark.parametrize("tolerance", [1e-2, 1e-4, 1e-6])
def test_no_sample_is_further_off_than_asked(tolerance: float) -> None:
    x = np.linspace(-3.0, 12.0, 4000)
    y = np.log(0.98 * np.exp(-0.5 * ((x - 1) / 0.03) ** 2) + 1e-4 * np.exp(-0.1 * x))  # a ridge over a slope
    assert np.abs(fit_segments(x, y, tolerance).at(x) - y).max() <= tolerance * 1.001


def test_a_parabola_is_one_piece_and_a_step_is_two() -> None:
    x = np.linspace(0.0, 5.0, 501)
    assert len(fit_segments(x, 1 - 2 * x + 0.5 * x**2, 1e-9).start) == 1
    step = fit_segments(x, np.where(x < 2.0, 0.0, 1.0), 1e-9)
    assert step.at(np.array([1.999, 2.0])) == pytest.approx([0.0, 1.0])


def test_fewer_pieces_where_less_is_asked() -> None:
    x = np.linspace(0.0, 20.0, 3000)
    pieces = [len(fit_segments(x, np.sin(x), tolerance).start) for tolerance in (1e-1, 1e-3, 1e-5)]
    assert pieces == sorted(pieces) and pieces[-1] < 400
