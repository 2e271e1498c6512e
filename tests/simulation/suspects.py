"""Suspects: switches that somebody brought to the bench, half of them faulty, against charts of a typical world.

Crossed, as the tracker asks: faulty or not × a full sheet or a part × careful or careless hands, with mirrored,
wrong-common and other troubled sheets among them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.random import Generator

from tests.simulation.readers import Reader
from tests.simulation.sheets import (
    Mistake,
    SimulatedSheet,
    make_mistake,
    read_sheet,
    text_state,
    written_and_touched,
)
from tests.simulation.switches import Switch, make_switch, random_fault
from tests.simulation.worlds import World

MISTAKES = ("mirrored_pins", "wrong_common", "shifted_positions", "exchanged")


@dataclass(frozen=True)
class Suspect:
    sheet: SimulatedSheet
    full: bool
    fault_shows: bool  # a reading taken is, by the unit's true state, not what a good unit shows


def make_suspects(world: World, seed: int, per_design: int = 8, troubled: float = 0.15) -> list[Suspect]:
    """`per_design` suspects of each design; the first 8 hold every combination once."""
    rng = np.random.default_rng([77, seed])
    return [
        _suspect(f"{design.name}-s{at:03d}", world, at_design, at, troubled, rng)
        for at_design, design in enumerate(world.designs)
        for at in range(per_design)
    ]


def _suspect(name: str, world: World, at_design: int, at: int, troubled: float, rng: Generator) -> Suspect:
    design = world.designs[at_design]
    variant = 0
    faulty, full, careless = bool(at & 1), bool(at & 2), rng.random() < 1 / 3
    faults = (random_fault(design, variant, rng),) if faulty else ()
    switch = make_switch(f"{name}-unit", design, variant, rng, faults)
    reader = _stranger(world, careless, rng)
    mistake: Mistake | None = None
    if rng.random() < troubled:
        kinds = MISTAKES if design.common is not None else ("mirrored_pins", "shifted_positions", "exchanged")
        mistake = make_mistake(design, str(rng.choice(kinds, p=_shares(len(kinds)))), 0.65, rng)
    missing = 0.0 if full else rng.uniform(0.3, 0.7)
    sheet = read_sheet(name, switch, reader, mistake, missing, rng, held_good="no")
    return Suspect(sheet, full, faulty and _fault_shows(sheet, switch))


def _shares(count: int) -> list[float]:
    return [0.35, 0.3, 0.25, 0.1] if count == 4 else [0.5, 0.35, 0.15]


def _stranger(world: World, careless: bool, rng: Generator) -> Reader:
    """A reader of whom nothing is known: name and meter drawn anew."""
    like = world.readers[int(rng.integers(len(world.readers)))]
    missed = rng.uniform(0.03, 0.12) if careless else rng.gamma(1.5, 0.005)
    invented = rng.uniform(0.01, 0.06) if careless else rng.gamma(1.0, 0.003)
    return replace(like, name=f"s{int(rng.integers(1_000_000)):06d}", missed=missed, invented=invented)


def _fault_shows(sheet: SimulatedSheet, switch: Switch) -> bool:
    """Whether any place that the leads touched is in another state than in a good unit."""
    design = sheet.design
    good = make_switch("good", design, switch.variant, np.random.default_rng(0))
    touched = dict(written_and_touched(design, sheet.mistake))
    for written in sheet.readings:
        place = touched[(written.position, written.pin, written.against)]
        if _coarse(switch.resistance(*place)) != _coarse(good.resistance(*place)):
            return True
    return False


def _coarse(ohm: float) -> str:
    """A state, levels told apart by a tenth: 200 Ω more in a line of 6800 Ω does not show."""
    if ohm < 20.0:
        return "closed"
    return "open" if ohm > 1e5 else f"level {round(np.log(ohm) / 0.1)}"


def suspect_truth(suspect: Suspect) -> dict[str, Any]:
    sheet = suspect.sheet
    return {
        "design": sheet.design.name,
        "faults": [
            {
                "cause": fault.kind,
                "pins": [sheet.design.pins[pin] for pin in fault.pins],
                "positions": [sheet.design.positions[row] for row in fault.positions],
            }
            for fault in sheet.switch.faults
        ],
        "mistake": None if sheet.mistake is None else sheet.mistake.kind,
        "full": suspect.full,
        "shows": suspect.fault_shows,
        "careless": sheet.reader.careless,
        "misread": sum(text_state(w.text) == "open" for w in sheet.readings),
    }
