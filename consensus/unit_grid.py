"""The faults and mistakes that a shape allows, and what each of them changes, as index arrays.

A fault changes few of the points of connections.py, so only those are kept: a switch of 40 pins, read from
each pin to each, has 25 000 points and 430 faults.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from consensus.connections import Connections
from consensus.hypotheses import sheet_mistakes, unit_faults
from consensus.shape import Fault, Mistake, Shape

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

# the order in which faults act on a unit
ORDER = ("none", "worn_contact", "detent_shift", "line_open", "line_closed", "bridged_lines")


@dataclass(frozen=True)
class Grid:
    """Hypotheses of a shape without "unexplained" and resistive common, which have no operands.

    faults: F, none first, in the order in which they act on a unit; mistakes: M, none first; operands:
    (points, 4) of a good unit; changes: (faults + 1,) where each fault's entries begin in changed_point
    (K,) and changed (K, 4), the points that it changes and their operands; touched: (M, cells) point really
    under the leads; leads: (points, 2) pins; at_common: (points,) one lead is on the common and the pattern
    has the place; place_points: (places,) point of each place.
    """

    shape: Shape
    mistakes: tuple[Mistake, ...]
    faults: tuple[Fault, ...]
    operands: NDArray[np.int32]
    changes: IntArray
    changed_point: NDArray[np.int32]
    changed: NDArray[np.int32]
    touched: NDArray[np.int32]
    leads: NDArray[np.int32]
    at_common: BoolArray
    place_points: IntArray

    @cached_property
    def changed_fault(self) -> NDArray[np.int16]:
        """(K,) fault of each entry."""
        return np.repeat(np.arange(len(self.faults), dtype=np.int16), np.diff(self.changes))

    @cached_property
    def kinds(self) -> NDArray[np.str_]:
        """(F,) kind of each fault."""
        return np.array([fault.kind for fault in self.faults])

    @cached_property
    def fault_lines(self) -> BoolArray:
        """(F, pins) True at the pins of a fault, the common apart."""
        member = np.zeros((len(self.faults), self.shape.pins), dtype=bool)
        for row, fault in enumerate(self.faults):
            member[row, [pin for pin in fault.pins if pin != self.shape.common]] = True
        return member

    def entries_at(self, points: IntArray) -> NDArray[np.int32]:
        """(F, n) entry of each fault at points (n,), -1 where it changes nothing."""
        asked, which = np.unique(points, return_inverse=True)
        column = np.full(len(self.leads), -1, dtype=np.int32)
        column[asked] = np.arange(len(asked))
        at = column[self.changed_point]
        found = np.flatnonzero(at >= 0)
        entries = np.full((len(self.faults), len(asked)), -1, dtype=np.int32)
        entries[self.changed_fault[found], at[found]] = found
        return entries[:, which]


@lru_cache(maxsize=128)
def grid_of(shape: Shape) -> Grid:
    """The hypotheses of a shape, worn contacts among them."""
    connections = Connections(shape)
    mistakes = [mistake for mistake in sheet_mistakes(shape) if mistake.kind != "unexplained"]
    faults = sorted(
        (fault for fault in unit_faults(shape, True) if fault.kind in ORDER),
        key=lambda fault: ORDER.index(fault.kind),
    )
    points = [connections.touched(fault) if fault.kind != "none" else np.empty(0, int) for fault in faults]
    changed = [connections.operands(fault, at) for fault, at in zip(faults, points, strict=True)]
    position, between, a, b = connections.axes
    slot = connections.slot_of[position, between]
    has_place = (slot >= 0) & (connections.pair_of[a, b] >= 0)
    is_common = np.full(len(a), False) if shape.common is None else (a == shape.common) | (b == shape.common)
    return Grid(
        shape=shape,
        mistakes=tuple(mistakes),
        faults=tuple(faults),
        operands=connections.operands(faults[0]).astype(np.int32),
        changes=np.concatenate([[0], np.cumsum([len(at) for at in points])]),
        changed_point=np.concatenate(points).astype(np.int32),
        changed=np.concatenate(changed).astype(np.int32),
        touched=np.stack([connections.cells_after(one)[0] for one in mistakes]).astype(np.int32),
        leads=np.stack([a, b], axis=1).astype(np.int32),
        at_common=is_common & has_place,
        place_points=_place_points(shape),
    )


def _place_points(shape: Shape) -> IntArray:
    slots = np.array(shape.slots, dtype=np.int64).reshape(-1, 2)
    pairs = np.array(shape.pairs, dtype=np.int64).reshape(-1, 2)
    row = slots[:, 0] * 2 + slots[:, 1]
    points = (row[:, None] * shape.pins + pairs[None, :, 0]) * shape.pins + pairs[None, :, 1]
    return np.asarray(points.ravel())


def place_cells(shape: Shape) -> IntArray:
    """(places,) cell of each place of the chart."""
    named_at = {pair: at for at, pair in enumerate(shape.named)}
    pair_cells = np.array([named_at[pair] for pair in shape.pairs], dtype=np.int64)
    return (np.arange(len(shape.slots))[:, None] * len(shape.named) + pair_cells[None, :]).ravel()
