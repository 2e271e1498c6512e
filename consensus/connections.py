"""What lies between two pins of a unit with a fault, and where a mistake takes each cell of a sheet.

A *point* is (position, at or behind it, one lead, the other lead), numbered in that order.  What a point
shows are four operands x1..x4, read as (x1 parallel x2) in series with (x3 parallel x4): see hypotheses.py.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from consensus.shape import CLOSED, CONSTANTS, OPEN, UNKNOWN, WORN, Fault, Mistake, Shape

LongArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


class Connections:
    """Operands of every pin pair in every slot, and where a mistake takes each cell of a sheet."""

    def __init__(self, shape: Shape) -> None:
        self.shape = shape
        self.slot_of = np.full((shape.positions, 2), -1, dtype=np.int64)
        for index, (position, between) in enumerate(shape.slots):
            self.slot_of[position, int(between)] = index
        self.pair_of = np.full((shape.pins, shape.pins), -1, dtype=np.int64)
        for index, (a, b) in enumerate(shape.pairs):
            self.pair_of[a, b] = self.pair_of[b, a] = index

    def axes_of(self, points: LongArray) -> tuple[LongArray, LongArray, LongArray, LongArray]:
        """Position, at or behind it (0, 1), one lead and the other, of points (n,)."""
        rest, b = np.divmod(points, self.shape.pins)
        rest, a = np.divmod(rest, self.shape.pins)
        position, between = np.divmod(rest, 2)
        return position, between, a, b

    @cached_property
    def axes(self) -> tuple[LongArray, LongArray, LongArray, LongArray]:
        """Those of all points, of which a connector of many pins has millions."""
        return self.axes_of(np.arange(self.shape.positions * 2 * self.shape.pins**2))

    def place(self, slot: LongArray, a: LongArray, b: LongArray) -> LongArray:
        """Place of a pin pair in a slot, UNKNOWN where the pattern has none."""
        pair = self.pair_of[a, b]
        known = (slot >= 0) & (pair >= 0)
        return np.where(known, CONSTANTS + slot * len(self.shape.pairs) + pair, UNKNOWN)

    def touched(self, fault: Fault) -> LongArray:
        """Points at which a unit with this fault may show something else than a good one."""
        position, between, a, b = self.axes
        if fault.kind == "detent_shift":
            return np.arange(len(a))
        lines = [pin for pin in fault.pins if pin != self.shape.common]
        at = np.isin(a, lines) | np.isin(b, lines)
        if fault.kind == "worn_contact":
            at &= (position == fault.positions[0]) & (between == 0)
        return np.flatnonzero(at)

    def operands(self, fault: Fault, points: LongArray | None = None) -> LongArray:
        """(points, 4) operands that a unit with this fault shows; points: all, or those given."""
        position, between, a, b = self.axes if points is None else self.axes_of(points)
        ended = np.zeros(len(position), dtype=bool)
        if fault.kind == "detent_shift":
            moved = position + (1 if fault.detail == "out" else -1)
            ended = (moved < 0) | (moved >= self.shape.positions - between)
            position = np.clip(moved, 0, self.shape.positions - 1)
        slot = self.slot_of[position, between]
        x = np.full((len(position), 4), OPEN, dtype=np.int64)
        x[:, 2] = CLOSED
        x[:, 0] = self.place(slot, a, b)
        common = self.shape.common
        far = np.zeros(len(position), dtype=bool)
        if common is not None:
            far = (self.pair_of[a, b] < 0) & (a != common) & (b != common) & (slot >= 0)
            x[far, 0] = self.place(slot, a, np.full_like(a, common))[far]
            x[far, 2] = self.place(slot, b, np.full_like(b, common))[far]
        self._apply(fault, x, a, b, slot, far)
        x[a == b] = (CLOSED, OPEN, CLOSED, OPEN)
        x[ended] = (OPEN, OPEN, CLOSED, OPEN)
        return x

    def _apply(
        self, fault: Fault, x: LongArray, a: LongArray, b: LongArray, slot: LongArray, far: BoolArray
    ) -> None:
        """Change operands in place for a fault that stays at its pins."""
        common = self.shape.common
        low, high = np.minimum(a, b), np.maximum(a, b)
        if fault.kind == "line_open":
            x[(a == fault.pins[0]) | (b == fault.pins[0])] = (OPEN, OPEN, CLOSED, OPEN)
        elif fault.kind == "line_closed" and common is not None:
            line = fault.pins[0]
            x[((a == line) & (b == common)) | ((b == line) & (a == common)), 0] = CLOSED
            x[far & (a == line), 0] = CLOSED
            x[far & (b == line), 2] = CLOSED
        elif fault.kind == "line_closed":
            x[(low == fault.pins[0]) & (high == fault.pins[1]), 0] = CLOSED
        elif fault.kind == "bridged_lines":
            self._bridge(fault.pins, x, a, b, slot, far)
        elif fault.kind == "worn_contact":
            row = self.slot_of[fault.positions[0], 0]
            x[(slot == row) & (low == fault.pins[0]) & (high == fault.pins[1]), 0] = WORN
            if common in fault.pins:
                line = fault.pins[0] if fault.pins[1] == common else fault.pins[1]
                x[far & (slot == row) & (a == line), 0] = WORN
                x[far & (slot == row) & (b == line), 2] = WORN

    def _bridge(
        self,
        pins: tuple[int, ...],
        x: LongArray,
        a: LongArray,
        b: LongArray,
        slot: LongArray,
        far: BoolArray,
    ) -> None:
        """Each of two bridged pins has the other's contact in parallel to its own."""
        common = self.shape.common
        for here, there in (pins, pins[::-1]):
            other = np.full_like(a, there)
            for end, mate, column in ((a, b, 0), (b, a, 2)):
                direct = ~far & (end == here) & (mate != there)
                x[direct, 1] = self.place(slot, other, mate)[direct]
                if common is not None:
                    series = far & (end == here)
                    x[series, column + 1] = self.place(slot, other, np.full_like(a, common))[series]
            x[(a == here) & (b == there)] = (CLOSED, OPEN, CLOSED, OPEN)
        for column in (1, 3):
            x[:, column] = np.where(x[:, column] == UNKNOWN, OPEN, x[:, column])

    def cells_after(self, mistake: Mistake) -> tuple[LongArray, BoolArray]:
        """For each cell of a sheet the point really under the leads, and whether it repeats another."""
        shape = self.shape
        slots = np.array(shape.slots, dtype=np.int64).reshape(-1, 2)
        named = np.array(shape.named, dtype=np.int64).reshape(-1, 2)
        position, between = np.repeat(slots[:, 0], len(named)), np.repeat(slots[:, 1], len(named))
        a, b = np.tile(named[:, 0], len(slots)), np.tile(named[:, 1], len(slots))
        repeats = np.zeros(len(position), dtype=bool)
        turn = np.arange(shape.pins)
        if mistake.kind == "mirrored_pins":
            turn = turn[::-1]
            if mistake.detail == "lines":
                turn = np.arange(shape.pins)
                turn[list(shape.lines)] = list(shape.lines)[::-1]
        elif mistake.kind == "shifted_positions":
            moved = position + (1 if mistake.detail == "out" else -1)
            position = np.clip(moved, 0, shape.positions - 1 - between)
            repeats = moved != position
        elif mistake.kind == "wrong_common":
            line, common = mistake.pins[0], shape.common
            stayed_a, stayed_b = (a == common) & (b != line), (b == common) & (a != line)
            a, b = np.where(stayed_a, line, a), np.where(stayed_b, line, b)
        elif mistake.detail == "pins":
            turn[list(mistake.pins)] = mistake.pins[::-1]
        elif mistake.detail == "positions":
            swap = np.arange(shape.positions)
            swap[list(mistake.positions)] = mistake.positions[::-1]
            position = np.where(between == 0, swap[position], position)
        index = ((position * 2 + between) * shape.pins + turn[a]) * shape.pins + turn[b]
        return index, repeats
