"""Designs and their true tables: which contacts are closed in which position, with what resistance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

from tests.simulation.rates import Rates

LADDER_LEVELS = (0.0, 56.0, 120.0, 220.0, 390.0, 680.0, 1200.0, 2200.0, 3900.0, 6800.0, 12000.0)
RANGES = ("P", "R", "N", "D", "4", "3", "2", "1")
OPEN = -1.0


@dataclass(frozen=True)
class Design:
    """pairs: contacts of the chart as two pin indices; tables: per variant (positions, pairs) Ω, -1 open."""

    name: str
    kind: str  # contact | ladder | no_common
    positions: tuple[str, ...]
    pins: tuple[str, ...]
    common: int | None
    pairs: tuple[tuple[int, int], ...]
    tables: tuple[np.ndarray, ...]

    @property
    def lines(self) -> tuple[int, ...]:
        return tuple(pin for pin in range(len(self.pins)) if pin != self.common)


def make_design(name: str, rates: Rates, rng: Generator) -> Design:
    draw = rng.random()
    kind = (
        "no_common"
        if draw < rates.no_common
        else "ladder"
        if draw < rates.no_common + rates.ladder
        else "contact"
    )
    positions = _position_labels(rates, rng)
    lines = int(rng.integers(rates.lines[0], rates.lines[1] + 1))
    pins = tuple(str(pin + 1) for pin in range(lines + 1 if kind != "no_common" else 2 * max(2, lines // 2)))
    common: int | None = None
    if kind == "no_common":
        pairs = tuple((2 * at, 2 * at + 1) for at in range(len(pins) // 2))
    else:
        common = 0 if rng.random() < 0.6 else int(rng.integers(0, len(pins)))
        pairs = tuple((pin, common) for pin in range(len(pins)) if pin != common)
    table = _table(kind, len(positions), len(pairs), rng)
    tables = (table,) if rates.variant == 0 else (table, _second_table(kind, table, rng))
    return Design(name, kind, positions, pins, common, pairs, tables)


def _position_labels(rates: Rates, rng: Generator) -> tuple[str, ...]:
    count = int(rng.integers(rates.positions[0], rates.positions[1] + 1))
    return RANGES[:count] if rng.random() < 0.5 else tuple(f"S{at + 1}" for at in range(count))


def _table(kind: str, positions: int, pairs: int, rng: Generator) -> np.ndarray:
    """A table in which neighbouring positions differ: otherwise no one could tell a shift."""
    while True:
        if kind == "ladder":
            table = rng.choice(LADDER_LEVELS, (positions, pairs))
            table[rng.random((positions, pairs)) < 0.25] = OPEN
        else:
            table = np.where(rng.random((positions, pairs)) < 0.5, 0.0, OPEN)
        if np.all(np.any(table[1:] != table[:-1], axis=1)) and np.any(table != OPEN):
            return table


def gap_table(table: np.ndarray) -> np.ndarray:
    """(positions - 1, pairs) Ω between the detents: what is alike on both sides stays connected."""
    return np.where(table[1:] == table[:-1], table[:-1], OPEN)


def _changed(kind: str, table: np.ndarray, share: float, rng: Generator) -> np.ndarray:
    """Another table that differs in about `share` of its cells, in two at the least."""
    other = table.copy()
    flat = other.reshape(-1)
    count = max(2, round(share * flat.size))
    for cell in rng.choice(flat.size, count, replace=False):
        if flat[cell] == OPEN:
            flat[cell] = 0.0 if kind != "ladder" else rng.choice(LADDER_LEVELS)
        else:
            flat[cell] = OPEN
    return other


def _second_table(kind: str, table: np.ndarray, rng: Generator) -> np.ndarray:
    """A second table as the sample worlds have them: two lines differ, each in one or two positions."""
    other = table.copy()
    for line in rng.choice(table.shape[1], 2, replace=False):
        for row in rng.choice(len(table), 1 + int(rng.random() < 0.8), replace=False):
            other[row, line] = OPEN if other[row, line] != OPEN else 0.0
    return other


def forged_table(design: Design, rng: Generator) -> np.ndarray:
    """What a colluding block claims: the true table with up to two fifths of its cells turned over, or a
    table that differs in as few places as a second variant does."""
    if rng.random() < 0.3:
        return _second_table(design.kind, design.tables[0], rng)
    return _changed(design.kind, design.tables[0], rng.uniform(0.15, 0.4), rng)
