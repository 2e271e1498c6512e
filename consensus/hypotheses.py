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

IntArray = NDArray[np.int32]
LongArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
Pair = tuple[int, int]

OPEN, CLOSED, UNKNOWN, WORN = range(4)
CONSTANTS = 4
BRIDGED_LINES_UP_TO = 16  # more lines than that: only neighbouring pins are taken as bridged
EXCHANGES_UP_TO = 40  # longer lists of pins or positions: exchanges are not looked for


@dataclass(frozen=True)
class Mistake:
    """A sheet mistake: kind is a finding of the contract or "none"; detail: lines, face, out, back, pins,
    positions; pins and positions are 0-based indices."""

    kind: str
    detail: str = ""
    pins: tuple[int, ...] = ()
    positions: tuple[int, ...] = ()


@dataclass(frozen=True)
class Fault:
    """A unit fault: kind is a cause of the contract or "none"; pins and positions are 0-based indices."""

    kind: str
    pins: tuple[int, ...] = ()
    positions: tuple[int, ...] = ()
    detail: str = ""


NO_MISTAKE = Mistake("none")
UNEXPLAINED = Mistake("unexplained")
NO_FAULT = Fault("none")
RESISTIVE_COMMON = Fault("resistive_common")


@dataclass(frozen=True)
class Shape:
    """The grid on which hypotheses act.

    slots: (position, between) in detent order; pairs: pin pairs (a < b) that are places of their own;
    named: pin pairs as sheets name them (a superset of what is read).  A place is slot * len(pairs) +
    pair, a cell slot * len(named) + named.
    """

    positions: int
    pins: int
    common: int | None
    slots: tuple[tuple[int, bool], ...]
    pairs: tuple[Pair, ...]
    named: tuple[Pair, ...]

    @property
    def places(self) -> int:
        return len(self.slots) * len(self.pairs)

    @property
    def cells(self) -> int:
        return len(self.slots) * len(self.named)

    @property
    def lines(self) -> tuple[int, ...]:
        """Pins other than the common, in connector order."""
        return tuple(pin for pin in range(self.pins) if pin != self.common)


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
    if shape.pins > 1:
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


class _Grid:
    """Operands of every pin pair in every slot, and where a mistake takes each cell of a sheet."""

    def __init__(self, shape: Shape) -> None:
        self.shape = shape
        self.slot_of = np.full((shape.positions, 2), -1, dtype=np.int64)
        for index, (position, between) in enumerate(shape.slots):
            self.slot_of[position, int(between)] = index
        self.pair_of = np.full((shape.pins, shape.pins), -1, dtype=np.int64)
        for index, (a, b) in enumerate(shape.pairs):
            self.pair_of[a, b] = self.pair_of[b, a] = index
        pins = np.arange(shape.pins)
        grid = np.meshgrid(np.arange(shape.positions), np.arange(2), pins, pins, indexing="ij")
        self.position, self.between, self.a, self.b = (axis.ravel() for axis in grid)

    def place(self, slot: LongArray, a: LongArray, b: LongArray) -> LongArray:
        """Place of a pin pair in a slot, UNKNOWN where the pattern has none."""
        pair = self.pair_of[a, b]
        known = (slot >= 0) & (pair >= 0)
        return np.where(known, CONSTANTS + slot * len(self.shape.pairs) + pair, UNKNOWN)

    def operands(self, fault: Fault) -> LongArray:
        """(positions * 2 * pins * pins, 4) operands that a unit with this fault shows."""
        position, between, a, b = self.position, self.between, self.a, self.b
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
        self._apply(fault, x, slot, far)
        x[a == b] = (CLOSED, OPEN, CLOSED, OPEN)
        x[ended] = (OPEN, OPEN, CLOSED, OPEN)
        return x

    def _apply(self, fault: Fault, x: LongArray, slot: LongArray, far: BoolArray) -> None:
        """Change operands in place for a fault that stays at its pins."""
        a, b, common = self.a, self.b, self.shape.common
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
            self._bridge(fault.pins, x, slot, far)
        elif fault.kind == "worn_contact":
            row = self.slot_of[fault.positions[0], 0]
            x[(slot == row) & (low == fault.pins[0]) & (high == fault.pins[1]), 0] = WORN
            if common in fault.pins:
                line = fault.pins[0] if fault.pins[1] == common else fault.pins[1]
                x[far & (slot == row) & (a == line), 0] = WORN
                x[far & (slot == row) & (b == line), 2] = WORN

    def _bridge(self, pins: tuple[int, ...], x: LongArray, slot: LongArray, far: BoolArray) -> None:
        """Each of two bridged pins has the other's contact in parallel to its own."""
        a, b, common = self.a, self.b, self.shape.common
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
        """For each cell of a sheet the grid index really under the leads, and whether it repeats another."""
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


def _assemble(
    shape: Shape, mistakes: tuple[Mistake, ...], faults: tuple[Fault, ...]
) -> tuple[LongArray, BoolArray]:
    """(faults, mistakes, cells, 4) operands and (mistakes, cells) repeated readings."""
    grid = _Grid(shape)
    shown = np.stack([grid.operands(fault) for fault in faults])
    moved = [grid.cells_after(mistake) for mistake in mistakes]
    index = np.stack([cells for cells, _ in moved])
    operands = shown[:, index]
    return operands, np.stack([repeats for _, repeats in moved])


def _number_sources(shape: Shape, operands: LongArray) -> tuple[LongArray, LongArray]:
    """Source index of each reading, and the operands of each source (constants and places first)."""
    base = CONSTANTS + shape.places
    x1, x2, x3, x4 = np.moveaxis(operands, -1, 0)
    plain = (x2 == OPEN) & (x3 == CLOSED) & (x4 == OPEN)
    simple = np.full((base, 4), OPEN, dtype=np.int64)
    simple[:, 0], simple[:, 2] = np.arange(base), CLOSED
    source = x1.copy()
    key = (((x1 * base + x2) * base + x3) * base + x4)[~plain]
    keys, inverse = np.unique(key, return_inverse=True)
    source[~plain] = base + inverse
    parts = (keys // base**3, keys // base**2 % base, keys // base % base, keys % base)
    return source, np.concatenate([simple, np.stack(parts, axis=1)])


@lru_cache(maxsize=256)
def enumerate_hypotheses(shape: Shape, worn: bool = False) -> HypothesisSet:
    """Each fault with each mistake: hypothesis fault * len(mistakes) + mistake, the first is "as read".

    The last mistake is "unexplained"; the last fault is the resistive common, which reads as no fault
    does once its figure is taken off.  `worn` adds a worn contact at each place.

    >>> shape = Shape(2, 3, 0, ((0, False), (1, False)), ((0, 1), (0, 2)), ((0, 1), (0, 2)))
    >>> [(m.kind, m.detail) for m in enumerate_hypotheses(shape).mistakes][:3]
    [('none', ''), ('mirrored_pins', 'lines'), ('mirrored_pins', 'face')]
    """
    mistakes, faults = sheet_mistakes(shape), unit_faults(shape, worn)
    operands, repeats = _assemble(shape, mistakes, faults)
    source, operands_of = _number_sources(shape, operands)
    own = np.tile([pair in shape.pairs for pair in shape.named], len(shape.slots))
    composite = (source[..., own] >= CONSTANTS + shape.places).any(axis=-1)
    composite |= np.array([m.kind == "wrong_common" for m in mistakes])
    source = source.reshape(-1, shape.cells)
    return HypothesisSet(
        mistakes=mistakes,
        faults=faults,
        source=source.astype(np.int32),
        operands=operands_of.astype(np.int32),
        silent=np.tile(repeats, (len(faults), 1)),
        repeating=np.tile(repeats.any(axis=1), len(faults)),
        composite=composite.ravel(),
    )
