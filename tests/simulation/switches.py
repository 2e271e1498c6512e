"""A physical switch as a network of resistances, faults included, and what a meter finds between two pins."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.random import Generator

from tests.simulation.designs import OPEN, Design

FAULT_SHARES = {  # by the labels of the sample worlds (32 faults there, one of them a worn contact)
    "line_open": 0.17,
    "line_closed": 0.2,
    "worn_contact": 0.07,
    "bridged_lines": 0.24,
    "resistive_common": 0.17,
    "detent_shift": 0.15,
}
CONTACT_OHM, UNIT_SPREAD, PLACE_SPREAD = 0.4, 0.28, 0.45  # lognormal; fitted to the sample worlds
DIRTY, DIRTY_FACTOR = 0.01, (5.0, 40.0)
LADDER_TOLERANCE = 0.012  # relative, per place
SAME_CONTACT, SAME_LEVEL = (
    40.0,
    1.3,
)  # Ω below which two contacts are closed (dirt included); factor of levels


@dataclass(frozen=True)
class Fault:
    kind: str
    pins: tuple[int, ...] = ()
    positions: tuple[int, ...] = ()
    ohm: float = 0.0
    shift: int = 0


@dataclass(frozen=True)
class Switch:
    """conductance: (positions + gaps, nodes, nodes) siemens; node = pin; gaps come after the positions."""

    name: str
    design: Design
    variant: int
    conductance: np.ndarray
    faults: tuple[Fault, ...] = field(default=())

    def resistance(self, position: int, pin: int, against: int, gap: bool = False) -> float:
        """Ω between two pins in a position, or in the gap behind it; inf where nothing connects them."""
        return between(self.conductance[position + gap * len(self.design.positions)], pin, against)


def between(conductance: np.ndarray, pin: int, against: int) -> float:
    """Ω between two nodes: the others are eliminated star by star (Kron: sums of positives only)."""
    g = conductance.copy()
    keep = {pin, against}
    for node in range(len(g)):
        if node in keep:
            continue
        row = g[node].copy()
        total = row.sum()
        if total > 0:
            g += np.outer(row, row) / total
        g[node], g[:, node] = 0.0, 0.0
        np.fill_diagonal(g, 0.0)
    return 1.0 / g[pin, against] if g[pin, against] > 0 else np.inf


def make_switch(
    name: str,
    design: Design,
    variant: int,
    rng: Generator,
    faults: tuple[Fault, ...] = (),
    table: np.ndarray | None = None,
) -> Switch:
    """A switch of `design`; `table` stands in for the variant's own (a colluding block's)."""
    truth = design.tables[variant] if table is None else table
    contact = contact_ohm(truth.shape, rng)
    level = np.where(truth > 0, truth * (1 + LADDER_TOLERANCE * rng.normal(size=truth.shape)), 0.0)
    ohm = np.where(truth == OPEN, np.inf, level + contact)
    ohm = _with_table_faults(ohm, design, faults, rng)
    ohm = np.concatenate([ohm, _gap_ohm(ohm)])
    nodes = len(design.pins) + 1  # the last: the common behind a resistive common
    g = np.zeros((len(ohm), nodes, nodes))
    series = next((fault.ohm for fault in faults if fault.kind == "resistive_common"), 0.0)
    inner = nodes - 1 if series else design.common
    for at, (pin, against) in enumerate(design.pairs):
        other = inner if against == design.common and inner is not None else against
        g[:, pin, other] = g[:, other, pin] = 1.0 / ohm[:, at]
    if series and design.common is not None:
        g[:, design.common, nodes - 1] = g[:, nodes - 1, design.common] = 1.0 / series
    for fault in faults:
        if fault.kind == "bridged_lines":
            a, b = fault.pins
            g[:, a, b] = g[:, b, a] = 1.0 / float(contact_ohm((1,), rng)[0])
    return Switch(name, design, variant, g, faults)


def _gap_ohm(ohm: np.ndarray) -> np.ndarray:
    """(positions - 1, pairs) Ω between the detents: what is alike on both sides stays connected."""
    low, high = np.minimum(ohm[1:], ohm[:-1]), np.maximum(ohm[1:], ohm[:-1])
    return np.where((high < SAME_CONTACT) | (high < SAME_LEVEL * low), low, np.inf)


def contact_ohm(shape: tuple[int, ...], rng: Generator) -> np.ndarray:
    """Contact resistances of one unit, Ω: positive, skewed, now and then dirty."""
    unit = CONTACT_OHM * np.exp(UNIT_SPREAD * rng.normal())
    ohm = unit * np.exp(PLACE_SPREAD * rng.normal(size=shape))
    dirty = rng.random(shape) < DIRTY
    return np.where(dirty, ohm * rng.uniform(*DIRTY_FACTOR, size=shape), ohm)


def _with_table_faults(
    ohm: np.ndarray, design: Design, faults: tuple[Fault, ...], rng: Generator
) -> np.ndarray:
    """Faults that are a change of the table: (positions, pairs) Ω in and out."""
    ohm = ohm.copy()
    for fault in faults:
        touched = [at for at, pair in enumerate(design.pairs) if set(pair) & set(fault.pins)]
        if fault.kind == "line_open":
            ohm[:, touched] = np.inf
        elif fault.kind == "line_closed":
            ohm[:, touched] = np.minimum(ohm[:, touched], contact_ohm((len(ohm), len(touched)), rng))
        elif fault.kind == "worn_contact":
            ohm[np.ix_(fault.positions, touched)] += fault.ohm
        elif fault.kind == "detent_shift":
            moved = np.full_like(ohm, np.inf)  # past the end of travel nothing is connected
            for position in range(len(ohm)):
                if 0 <= position + fault.shift < len(ohm):
                    moved[position] = ohm[position + fault.shift]
            ohm = moved
    return ohm


def make_fault(design: Design, variant: int, kind: str, rng: Generator) -> Fault | None:
    """A fault of this kind that this design can have; None where it can't."""
    lines = design.lines
    if kind in ("line_open", "line_closed"):
        pair = design.pairs[int(rng.integers(len(design.pairs)))]
        return Fault(kind, (pair[0],))
    if kind == "bridged_lines":
        pool = lines if design.common is not None else range(len(design.pins))
        if len(pool) < 2:
            return None
        a, b = sorted(int(pin) for pin in rng.choice(list(pool), 2, replace=False))
        return None if (a, b) in design.pairs else Fault(kind, (a, b))
    if kind == "resistive_common":
        return (
            None if design.common is None else Fault(kind, (design.common,), ohm=rng.uniform(150.0, 1000.0))
        )
    if kind == "detent_shift":
        if len(design.positions) < 2:
            return None
        return Fault(kind, shift=int(rng.choice([-1, 1])))
    closed = np.argwhere(design.tables[variant] != OPEN)
    position, at = closed[int(rng.integers(len(closed)))]
    ohm = np.inf if rng.random() < 0.5 else float(np.exp(rng.uniform(np.log(100.0), np.log(50_000.0))))
    return Fault("worn_contact", (design.pairs[at][0],), (int(position),), ohm)


def random_fault(design: Design, variant: int, rng: Generator) -> Fault:
    while True:
        kind = str(rng.choice(list(FAULT_SHARES), p=list(FAULT_SHARES.values())))
        fault = make_fault(design, variant, kind, rng)
        if fault is not None:
            return fault
