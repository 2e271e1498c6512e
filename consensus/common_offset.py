"""The figure that a resistive common adds to every reading of its unit.

A unit whose common has gone resistive shows R + contact wherever the pattern is closed and R + level
where it is resistive.  R is taken from the sheet itself: the figure that, once taken off, lets most of
its readings fall on the levels of the design (0 Ω among them).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from consensus import contacts
from consensus.encoding import Encoded
from consensus.settings import Settings

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

LEAST, MOST = 20.0, 5000.0  # Ω that a common may add; less is a contact, more is as good as open
EXPLAINED = 0.6  # share of a sheet's figures that the offset must explain
FEWEST = 2  # figures that it must explain


def sheet_offsets(encoded: Encoded, settings: Settings) -> FloatArray:
    """(n,) Ω of a candidate offset for each sheet, nan where its figures suggest none."""
    offsets = np.full(encoded.sheets, np.nan)
    figures = (encoded.ohm >= settings.closed_below_ohm) & (encoded.ohm < settings.open_above_ohm)
    contact = encoded.code == contacts.CONTACT
    strange = figures & (encoded.code == encoded.alphabet.odd_code)
    many = np.bincount(encoded.sheet, figures, encoded.sheets)
    odd = np.bincount(encoded.sheet, strange, encoded.sheets)
    plain = np.bincount(encoded.sheet, contact, encoded.sheets)
    suspects = (many >= FEWEST) & (plain <= 0.25 * many) & ((odd >= 0.5 * many) | (plain == 0))
    levels = np.concatenate([[0.0], encoded.alphabet.levels])
    rows = np.flatnonzero(figures & suspects[encoded.sheet])
    rows = rows[np.argsort(encoded.sheet[rows], kind="stable")]
    for mine in np.split(rows, np.flatnonzero(np.diff(encoded.sheet[rows])) + 1):
        if len(mine):
            offsets[encoded.sheet[mine[0]]] = best_offset(encoded.ohm[mine], levels, settings.level_tolerance)
    return offsets


def best_offset(ohms: FloatArray, levels: FloatArray, tolerance: float) -> float:
    """The offset that explains most figures (the smallest of equals), nan if it explains too few.

    >>> round(best_offset(np.array([571.9, 575.0, 1255.0]), np.array([0.0, 680.0]), 0.03), 1)
    573.5
    """
    candidates = (ohms[:, None] - levels[None, :]).ravel()
    candidates = np.unique(candidates[(candidates >= LEAST) & (candidates <= MOST)])
    if not len(candidates):
        return float("nan")
    rest = ohms[None, :, None] - candidates[:, None, None] - levels[None, None, :]
    near = (np.abs(rest) <= tolerance * ohms[None, :, None] + 1.0).any(axis=2)
    support = near.sum(axis=1)
    best = int(support.argmax())
    if support[best] < max(FEWEST, EXPLAINED * len(ohms)):
        return float("nan")
    members = candidates[np.abs(candidates - candidates[best]) <= tolerance * candidates[best]]
    return float(np.median(members))


def shifted_codes(encoded: Encoded, offsets: FloatArray, settings: Settings) -> IntArray:
    """(R,) codes with the offset of each sheet taken off its figures; a figure below it is a contact."""
    off = offsets[encoded.sheet]
    figures = np.isfinite(encoded.ohm) & np.isfinite(off) & (encoded.ohm < settings.open_above_ohm)
    left = np.where(figures, encoded.ohm - off, encoded.ohm)
    slack = settings.level_tolerance * np.where(figures, encoded.ohm, 0.0)
    left = np.where(figures & (np.abs(left) <= slack + 1.0), 0.0, left)
    below = figures & (left < -slack)
    symbol = contacts.nearest_symbol(np.maximum(left, 0.0), encoded.alphabet.levels, settings)
    codes = np.where(symbol == contacts.CLOSED, contacts.CONTACT, symbol + contacts.FIRST_LEVEL - 2)
    codes = np.where(figures, codes, encoded.code)
    return np.where(
        below | (np.isfinite(off) & (encoded.code == contacts.CONTACT)), encoded.alphabet.odd_code, codes
    )


def with_offsets(encoded: Encoded, settings: Settings) -> Encoded:
    """`encoded` with each sheet's candidate offset and the codes that it would leave."""
    offsets = sheet_offsets(encoded, settings)
    if not np.isfinite(offsets).any():
        return encoded
    return replace(encoded, offset=offsets, shifted_code=shifted_codes(encoded, offsets, settings))
