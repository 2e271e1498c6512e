"""Contributors, their meters, their two slip rates and their habits."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.random import Generator

from tests.simulation.rates import Rates

LIMITS = (2e7, 4e7, 6e7)
LOW_LIMITS = (2e3, 2e4)
WANDERING = 0.08  # of the figures of a reader who writes down that they wander
LEAK = 0.028  # of true opens: damp or dirt lets some megohm through
CLOSED_BELOW = 20.0
OPEN_ABOVE = 100_000.0


@dataclass(frozen=True)
class Reader:
    name: str
    weight: float  # share of sheets
    missed: float  # a closed contact read open, per reading
    invented: float  # an open one read closed, per reading
    limit: float  # Ω
    bare: bool  # writes `cont` for a closed contact
    unzeroed: float  # Ω of lead resistance in every figure
    mirrors: float  # factor on the rate of numbering from the other face
    lead: float = 0.0  # Ω given as lead resistance, to be subtracted
    limit_as_number: bool = False  # writes the limit itself where the meter shows that it is exceeded
    wanders: bool = False
    gaps: bool = False  # also reads between the detents
    sweeps: int = 1
    across: bool = False  # also reads neighbouring lines against each other

    @property
    def careless(self) -> bool:
        return self.missed >= 0.03


def make_readers(rates: Rates, rng: Generator) -> tuple[Reader, ...]:
    readers = []
    for at in range(rates.contributors):
        careless = rng.random() < rates.careless
        reader = Reader(
            name=f"c{at:03d}",
            weight=1.0 / (at + 1) ** 0.6,
            missed=rng.uniform(0.03, 0.12) if careless else rng.gamma(1.5, 0.005),
            invented=rng.uniform(0.01, 0.06) if careless else rng.gamma(1.0, 0.003),
            limit=float(rng.choice(LIMITS)),
            bare=rng.random() < rates.bare_continuity,
            unzeroed=rng.uniform(0.2, 0.6) if rng.random() < rates.leads_unzeroed else 0.0,
            mirrors=float(rng.choice([0.6, 2.6], p=[0.8, 0.2])),
        )
        readers.append(with_habits(reader, rates, rng))
    return tuple(readers)


def with_habits(reader: Reader, rates: Rates, rng: Generator) -> Reader:
    """Habits that the worlds of the bars do not have; nothing is drawn for those that nobody has."""

    def has(share: float) -> bool:
        return share > 0 and bool(rng.random() < share)

    if has(rates.leads_given):
        ohm = round(rng.uniform(0.2, 0.9), 1)
        reader = replace(reader, lead=ohm, unzeroed=ohm)
    elif has(rates.leads_twice):
        reader = replace(reader, lead=round(rng.uniform(0.2, 0.6), 1), unzeroed=0.0)
    if has(rates.low_limit):
        limit = float(rng.choice(LOW_LIMITS))
        reader = replace(reader, limit=limit, limit_as_number=bool(rng.random() < 0.5))
    return replace(
        reader,
        wanders=has(rates.wanders),
        gaps=has(rates.gaps),
        sweeps=int(rng.choice([2, 3])) if has(rates.several_sweeps) else 1,
        across=has(rates.across),
    )


def shown(reader: Reader, ohm: float, other_levels: np.ndarray, rng: Generator) -> str:
    """What is written down for a true resistance, slips of eye and hand included.

    other_levels: Ω that the reader could have caught by mistake (another row or line of the same switch).
    """
    if ohm >= OPEN_ABOVE:
        if rng.random() < reader.invented:
            return _figure(reader, float(np.exp(np.log(0.4) + 0.5 * rng.normal())), rng)
        if rng.random() < LEAK:
            return _figure(reader, float(np.exp(rng.uniform(np.log(9e5), np.log(1.5e7)))), rng)
        return _over(reader)
    if rng.random() < reader.missed:
        level = ohm >= CLOSED_BELOW and rng.random() < 0.6 and len(other_levels) > 0
        return _figure(reader, float(rng.choice(other_levels)), rng) if level else _over(reader)
    return _figure(reader, ohm, rng)


def _over(reader: Reader) -> str:
    return _digits(reader.limit) if reader.limit_as_number else "OL"


def _figure(reader: Reader, ohm: float, rng: Generator) -> str:
    if ohm > reader.limit:
        return _over(reader)
    ohm += reader.unzeroed
    if reader.wanders and rng.random() < WANDERING:
        return _wandering(ohm, rng)
    return "cont" if reader.bare and ohm < 30.0 else _digits(ohm)


def _wandering(ohm: float, rng: Generator) -> str:
    """Mostly within a state, as dirt does; now and then out of it, as probes do that lose the contact."""
    leaves = rng.random() < 0.3
    if ohm < CLOSED_BELOW:
        low, high = ohm * rng.uniform(0.6, 0.95), min(ohm * rng.uniform(1.05, 2.5), CLOSED_BELOW - 1)
        if leaves:
            return f"{_digits(low)}…{_digits(rng.uniform(22.0, 90.0)) if rng.random() < 0.6 else 'OL'}"
    elif ohm < OPEN_ABOVE:
        low, high = ohm * rng.uniform(0.96, 0.99), ohm * rng.uniform(1.01, 1.04)
        if leaves:
            return f"{_digits(low)}…OL"
    else:
        low, high = ohm * rng.uniform(0.4, 0.9), ohm * rng.uniform(1.1, 2.5)
        if leaves:
            low = rng.uniform(3e4, 9e4)
    return f"{_digits(low)}…{_digits(high)}"


def _digits(ohm: float) -> str:
    if ohm < 1000.0:
        return f"{ohm:.1f}"
    scale, letter = (1e3, "k") if ohm < 1e6 else (1e6, "M")
    return f"{float(f'{ohm / scale:.3g}'):g}{letter}"
