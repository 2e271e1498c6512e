"""What may have happened between the pattern and the figure on the sheet.

A sheet went through at most one *mistake* of its reader and its unit has at most one *fault*.  Either
is a rule that says which places of the pattern a reading really shows, so that all of them together
are index arrays: for hypothesis h and cell c the reading shows

    (x1 parallel x2) in series with (x3 parallel x4)

where each x is a place of the pattern or one of the constants OPEN (neutral in parallel), CLOSED
(neutral in series), UNKNOWN and WORN.  Star topology is assumed only where a design has a common pin:
a pair of lines that is not a place of its own is then its two contacts in series.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from consensus.connections import Connections
from consensus.shape import (
    CLOSED,
    CONSTANTS,
    NO_FAULT,
    NO_MISTAKE,
    OPEN,
    RESISTIVE_COMMON,
    UNEXPLAINED,
    UNKNOWN,
    WORN,
    Fault,
    Mistake,
    Pair,
    Shape,
)

IntArray = NDArray[np.int32]
LongArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

__all__ = [
    "CLOSED",
    "CONSTANTS",
    "OPEN",
    "UNKNOWN",
    "WORN",
    "Fault",
    "HypothesisSet",
    "Mistake",
    "Pair",
    "Shape",
    "enumerate_hypotheses",
]
BRIDGED_LINES_UP_TO = 16  # more lines than that: only neighbouring pins are taken as bridged
EXCHANGES_UP_TO = 40  # longer lists of pins or positions: exchanges are not looked for
MOST_FIGURES = 20_000_000  # faults × mistakes × cells, above which those of single lines are not looked for
LARGE_FROM = 10_000  # cells × (pairs + pins) from which only the hypotheses of a few shapes are kept
MOST_SINGLE_FIGURES = 300_000  # (faults + mistakes) × cells, which every sheet is weighed by: the same


@dataclass(frozen=True)
class HypothesisSet:
    """Index arrays of H hypotheses.

    source: (H, cells) indices of sources, where the first CONSTANTS are the constants and the next `places`
    the places themselves; operands: (sources, 4) as x1..x4 above, in the same numbering; silent: (H, cells)
    readings that are predicted but are no evidence of their own (end of travel read twice); repeating: (H,)
    has such readings; composite: (H,) readings of the design's own pairs show more than one contact.
    """

    mistakes: tuple[Mistake, ...]
    faults: tuple[Fault, ...]
    source: IntArray
    operands: IntArray
    silent: BoolArray
    repeating: BoolArray
    composite: BoolArray


def sheet_mistakes(shape: Shape) -> tuple[Mistake, ...]:
    """All sheet mistakes that a shape allows, "none" first, "unexplained" last."""
    lines = shape.lines
    found = [NO_MISTAKE]
    if shape.common is not None and len(lines) > 1:
        found.append(Mistake("mirrored_pins", "lines"))
    if shape.pins > 2:  # a pair of two pins is the same from either face
        found.append(Mistake("mirrored_pins", "face"))
    if shape.positions > 1:
        found += [Mistake("shifted_positions", "out"), Mistake("shifted_positions", "back")]
    if shape.common is not None and len(lines) > 1:
        found += [Mistake("wrong_common", pins=(line,)) for line in lines]
    if len(lines) <= EXCHANGES_UP_TO:
        found += [Mistake("exchanged", "pins", pins=pair) for pair in pairwise(lines)]
    if shape.positions <= EXCHANGES_UP_TO:
        found += [
            Mistake("exchanged", "positions", positions=(row, row + 1)) for row in range(shape.positions - 1)
        ]
    found.append(UNEXPLAINED)
    return tuple(found)


def unit_faults(shape: Shape, worn: bool = False) -> tuple[Fault, ...]:
    """All single unit faults, "none" first, the resistive common last; `worn` adds one per place."""
    lines = shape.lines
    found = [NO_FAULT] + [Fault("line_open", pins=(line,)) for line in lines]
    if shape.common is not None:
        found += [Fault("line_closed", pins=(line,)) for line in lines]
    else:
        found += [Fault("line_closed", pins=pair) for pair in shape.pairs]
    apart = len(lines) if len(lines) <= BRIDGED_LINES_UP_TO else 1
    found += [
        Fault("bridged_lines", pins=(a, b)) for i, a in enumerate(lines) for b in lines[i + 1 : i + 1 + apart]
    ]
    if shape.positions > 1:
        found += [Fault("detent_shift", detail="out"), Fault("detent_shift", detail="back")]
    if worn:
        rows = [position for position, between in shape.slots if not between]
        found += [Fault("worn_contact", pins=pair, positions=(row,)) for row in rows for pair in shape.pairs]
    found.append(RESISTIVE_COMMON)
    return tuple(found)


def weighed(shape: Shape, worn: bool = False) -> tuple[tuple[Mistake, ...], tuple[Fault, ...]]:
    """The mistakes and faults that a design of this shape is weighed under.

    Where each with each would fill the memory (many pins, many pairs of them) those of single lines are left
    out: wrong common, exchanged pins, and the faults but for a shifted detent and a resistive common.
    """
    mistakes, faults = sheet_mistakes(shape), unit_faults(shape, worn)
    crossed, single = len(mistakes) * len(faults), len(mistakes) + len(faults)
    if crossed * shape.cells <= MOST_FIGURES and single * shape.cells <= MOST_SINGLE_FIGURES:
        return mistakes, faults
    return tuple(one for one in mistakes if not one.pins), tuple(one for one in faults if not one.pins)


def _number_sources(
    shape: Shape, faults: tuple[Fault, ...], grid: Connections, touched: LongArray
) -> tuple[IntArray, IntArray]:
    """(faults, mistakes, cells) source of each reading, and the operands of each source (constants and places
    first).  touched: (mistakes, cells) points under the leads.

    A fault is laid on each point once, not on each cell under each mistake.
    """
    base = CONSTANTS + shape.places
    points, at = np.unique(touched, return_inverse=True)
    shown = np.empty((len(faults), len(points)), dtype=np.int32)
    found, where = [np.zeros((0, 4), dtype=np.int64)], [np.zeros(0, dtype=np.int64)]
    for number, fault in enumerate(faults):
        x = grid.operands(fault, points)
        shown[number] = x[:, 0]
        several = np.flatnonzero((x[:, 1] != OPEN) | (x[:, 2] != CLOSED) | (x[:, 3] != OPEN))
        found.append(x[several])
        where.append(several + number * len(points))
    operands, index = _distinct_rows(np.concatenate(found), base)
    shown.ravel()[np.concatenate(where)] = base + index
    simple = np.full((base, 4), OPEN, dtype=np.int64)
    simple[:, 0], simple[:, 2] = np.arange(base), CLOSED
    source = shown.take(at.reshape(touched.shape), axis=1)
    return source, np.concatenate([simple, operands]).astype(np.int32)


def _distinct_rows(rows: LongArray, base: int) -> tuple[LongArray, LongArray]:
    """Distinct rows of (n, 4) numbers below `base` in their order, and which of them each one is.

    Each half of a row is one number; `base`⁴ would not fit into one where places are many."""
    halves = np.stack([rows[:, 0] * base + rows[:, 1], rows[:, 2] * base + rows[:, 3]])
    kinds, rank = np.unique(halves, return_inverse=True)
    rank = rank.reshape(halves.shape)
    _keys, first, index = np.unique(rank[0] * len(kinds) + rank[1], return_index=True, return_inverse=True)
    return rows[first], index


def enumerate_hypotheses(shape: Shape, worn: bool = False) -> HypothesisSet:
    """Each fault with each mistake: hypothesis fault * len(mistakes) + mistake, the first is "as read".

    The last mistake is "unexplained"; the last fault is the resistive common, which reads as no fault
    does once its figure is taken off.  `worn` adds a worn contact at each place.

    >>> shape = Shape(2, 3, 0, ((0, False), (1, False)), ((0, 1), (0, 2)), ((0, 1), (0, 2)))
    >>> [(m.kind, m.detail) for m in enumerate_hypotheses(shape).mistakes][:3]
    [('none', ''), ('mirrored_pins', 'lines'), ('mirrored_pins', 'face')]
    """
    large = shape.cells * (len(shape.pairs) + shape.pins) > LARGE_FROM
    return (_kept_large if large else _kept)(shape, worn)


def _enumerated(shape: Shape, worn: bool) -> HypothesisSet:
    mistakes, faults = weighed(shape, worn)
    grid = Connections(shape)
    moved = [grid.cells_after(mistake) for mistake in mistakes]
    touched, repeats = np.stack([points for points, _ in moved]), np.stack([silent for _, silent in moved])
    source, operands = _number_sources(shape, faults, grid, touched)
    pairs = set(shape.pairs)
    own = np.tile([pair in pairs for pair in shape.named], len(shape.slots))
    composite = (source[..., own] >= CONSTANTS + shape.places).any(axis=-1)
    composite |= np.array([m.kind == "wrong_common" for m in mistakes])
    return HypothesisSet(
        mistakes=mistakes,
        faults=faults,
        source=source.reshape(-1, shape.cells),
        operands=operands,
        silent=np.tile(repeats, (len(faults), 1)),
        repeating=np.tile(repeats.any(axis=1), len(faults)),
        composite=composite.ravel(),
    )


_kept, _kept_large = lru_cache(maxsize=256)(_enumerated), lru_cache(maxsize=12)(_enumerated)
