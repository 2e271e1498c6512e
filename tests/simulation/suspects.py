"""Suspects: switches that somebody brought to the bench, half of them faulty, and charts to check them by.

Crossed, as the tracker asks: faulty or not × a full sheet or a part × careful or careless hands, with
mirrored, wrong-common and other troubled sheets among them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.random import Generator

from consensus import CellAgreement, DesignAgreement, OhmFigures, ReadingModel, VariantPattern
from tests.simulation.designs import Design
from tests.simulation.readers import LEAK, Reader
from tests.simulation.sheets import (
    Mistake,
    SimulatedSheet,
    make_mistake,
    read_sheet,
    text_state,
    true_places,
    written_and_touched,
)
from tests.simulation.switches import Fault, Switch, make_switch, random_fault
from tests.simulation.worlds import World

MISTAKES = ("mirrored_pins", "wrong_common", "shifted_positions", "exchanged")


@dataclass(frozen=True)
class Mixture:
    """Shares of a set of suspects.  troubled: sheets with a mistake, spread over MISTAKES by `shares`;
    missing: readings not taken on a sheet in part (uniform between the two); known: they are read by
    contributors of the world, of whom the charts know the slip rates."""

    troubled: float = 0.15
    shares: tuple[float, ...] = (0.35, 0.3, 0.25, 0.1)
    missing: tuple[float, float] = (0.15, 0.55)
    known: bool = False


HARDER = Mixture()
# "mirrored and wrong-common sheets among them", sheets in part as in the worlds
AS_ASKED = Mixture(troubled=0.25, shares=(0.5, 0.5, 0.0, 0.0), missing=(0.0, 0.5))
MIXTURES = {"harder": HARDER, "asked": AS_ASKED, "known": replace(AS_ASKED, known=True)}


@dataclass(frozen=True)
class Suspect:
    sheet: SimulatedSheet
    full: bool
    fault_shows: bool  # a reading taken is, by the unit's true state, not what a good unit shows


def make_suspects(world: World, seed: int, per_design: int = 8, mixture: Mixture = HARDER) -> list[Suspect]:
    """`per_design` suspects of each design; the first 8 hold every combination once."""
    rng = np.random.default_rng([77, seed])
    return [
        _suspect(f"{design.name}-s{at:03d}", world, at_design, at, mixture, rng)
        for at_design, design in enumerate(world.designs)
        for at in range(per_design)
    ]


def _suspect(name: str, world: World, at_design: int, at: int, mixture: Mixture, rng: Generator) -> Suspect:
    design = world.designs[at_design]
    variant = 0
    faulty, full, careless = bool(at & 1), bool(at & 2), rng.random() < 1 / 3
    faults = (_telling_fault(design, variant, rng),) if faulty else ()
    switch = make_switch(f"{name}-unit", design, variant, rng, faults)
    reader = _known(world, careless, rng) if mixture.known else _stranger(world, careless, rng)
    mistake: Mistake | None = None
    if rng.random() < mixture.troubled:
        shares = np.array(mixture.shares)
        shares[MISTAKES.index("wrong_common")] *= design.common is not None
        mistake = make_mistake(design, str(rng.choice(MISTAKES, p=shares / shares.sum())), 0.65, rng)
    missing = 0.0 if full else rng.uniform(*mixture.missing)
    sheet = read_sheet(name, switch, reader, mistake, missing, rng, held_good="no")
    return Suspect(sheet, full, faulty and _fault_shows(sheet, switch))


def _telling_fault(design: Design, variant: int, rng: Generator) -> Fault:
    """A fault that a full sheet would show: lines that always close together may well be bridged."""
    good = make_switch("good", design, variant, np.random.default_rng(0))
    while True:
        fault = random_fault(design, variant, rng)
        unit = make_switch("faulty", design, variant, np.random.default_rng(0), (fault,))
        if any(_coarse(unit.resistance(*at)) != _coarse(good.resistance(*at)) for at in true_places(design)):
            return fault


def _known(world: World, careless: bool, rng: Generator) -> Reader:
    """A contributor of the world, careless or not; anybody where nobody is."""
    pool = [one for one in world.readers if one.careless == careless] or list(world.readers)
    return pool[int(rng.integers(len(pool)))]


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


def ideal_chart(design: Design, readers: list[Reader]) -> DesignAgreement:
    """A chart that knows the true table and these readers' true rates: no check can do better."""
    table = design.tables[0]
    cells = []
    for row, position in enumerate(design.positions):
        for column, (pin, against) in enumerate(design.pairs):
            ohm = float(table[row, column])
            state = "open" if ohm < 0 else "closed" if ohm < 20 else "resistive"
            states = tuple(0.999999 if word == state else 5e-7 for word in ("open", "closed", "resistive"))
            figures = None if ohm < 0 else OhmFigures(ohm + 0.4, 0.05, (0.0, ohm * 1.1 + 3), 0.5, 20)
            levels = ((ohm, 0.999999),) if state == "resistive" else ()
            pins = (design.pins[pin], design.pins[against])
            standing = ("agreed", 20, 20, 9)
            cells.append(CellAgreement(position, *pins, False, state, states, *standing, figures, levels))
    shares = {"mirrored_pins": 0.0525, "wrong_common": 0.045, "shifted_positions": 0.0375, "exchanged": 0.015}
    model = ReadingModel(
        miss=0.03,
        invent=0.015,
        leak=LEAK,
        dirty=1e-4,
        misread_level=0.002,
        contact_ohm=0.4,
        contact_spread=0.53,
        level_spread=0.012,
        contributors=tuple((reader.name, reader.missed, reader.invented) for reader in readers),
        evidence=tuple((reader.name, 1e5, 1e5) for reader in readers),
        mistakes=tuple(shares.items()),
    )
    common = None if design.common is None else design.pins[design.common]
    variant = VariantPattern("a", 1.0, 20, 20, 9, tuple(cells))
    return DesignAgreement(design.name, design.positions, design.pins, common, (variant,), (), model)
