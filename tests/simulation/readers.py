"""Contributors, their meters, their two slip rates and their habits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

from tests.simulation.rates import Rates

LIMITS = (2e7, 4e7, 6e7)
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

    @property
    def careless(self) -> bool:
        return self.missed >= 0.03


def make_readers(rates: Rates, rng: Generator) -> tuple[Reader, ...]:
    readers = []
    for at in range(rates.contributors):
        careless = rng.random() < rates.careless
        readers.append(
            Reader(
                name=f"c{at:03d}",
                weight=1.0 / (at + 1) ** 0.6,
                missed=rng.uniform(0.03, 0.12) if careless else rng.gamma(1.5, 0.005),
                invented=rng.uniform(0.01, 0.06) if careless else rng.gamma(1.0, 0.003),
                limit=float(rng.choice(LIMITS)),
                bare=rng.random() < rates.bare_continuity,
                unzeroed=rng.uniform(0.2, 0.6) if rng.random() < rates.leads_unzeroed else 0.0,
                mirrors=float(rng.choice([0.6, 2.6], p=[0.8, 0.2])),
            )
        )
    return tuple(readers)


def shown(reader: Reader, ohm: float, other_levels: np.ndarray, rng: Generator) -> str:
    """What is written down for a true resistance, slips of eye and hand included.

    other_levels: Ω that the reader could have caught by mistake (another row or line of the same switch).
    """
    if ohm >= OPEN_ABOVE:
        if rng.random() < reader.invented:
            return _figure(reader, float(np.exp(np.log(0.4) + 0.5 * rng.normal())))
        if rng.random() < LEAK:
            return _figure(reader, float(np.exp(rng.uniform(np.log(9e5), np.log(1.5e7)))))
        return "OL"
    if rng.random() < reader.missed:
        level = ohm >= CLOSED_BELOW and rng.random() < 0.6 and len(other_levels) > 0
        return _figure(reader, float(rng.choice(other_levels))) if level else "OL"
    return _figure(reader, ohm)


def _figure(reader: Reader, ohm: float) -> str:
    if ohm > reader.limit:
        return "OL"
    ohm += reader.unzeroed
    if reader.bare and ohm < 30.0:
        return "cont"
    if ohm < 1000.0:
        return f"{ohm:.1f}"
    scale, letter = (1e3, "k") if ohm < 1e6 else (1e6, "M")
    return f"{float(f'{ohm / scale:.3g}'):g}{letter}"
