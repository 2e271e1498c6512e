"""A world: designs, readers and all sheets, from one seed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from zlib import crc32

import numpy as np
from numpy.random import Generator

from tests.simulation.designs import Design, forged_table, make_design
from tests.simulation.rates import ALLOWED, WORLDS, Rates
from tests.simulation.readers import Reader, make_readers
from tests.simulation.sheets import Mistake, SimulatedSheet, make_mistake, read_sheet
from tests.simulation.switches import Switch, make_switch, random_fault


@dataclass(frozen=True)
class World:
    kind: str
    designs: tuple[Design, ...]
    readers: tuple[Reader, ...]
    sheets: tuple[SimulatedSheet, ...]

    def of(self, design: str) -> tuple[SimulatedSheet, ...]:
        return tuple(sheet for sheet in self.sheets if sheet.design.name == design)


def make_world(kind: str, seed: int, designs: int | None = None, rates: Rates | None = None) -> World:
    """The world of this kind and seed; the same call gives the same world for ever."""
    rates = rates or {**WORLDS, **ALLOWED}[kind]
    if designs is not None:
        rates = replace(rates, designs=designs)
    rng = np.random.default_rng([crc32(kind.encode()), seed])
    readers = make_readers(rates, rng)
    made, sheets = [], []
    same = _colluders(readers, rates, rng) if rates.block and rng.random() < rates.same_accounts else None
    for at in range(rates.designs):
        design = make_design(f"D{at:04d}", rates, rng)
        made.append(design)
        sheets += _design_sheets(design, readers, same or _colluders(readers, rates, rng), rates, rng)
    return World(kind, tuple(made), readers, tuple(sheets))


def _design_sheets(
    design: Design, readers: tuple[Reader, ...], colluders: list[Reader], rates: Rates, rng: Generator
) -> list[SimulatedSheet]:
    units = int(rng.integers(rates.units[0], rates.units[1] + 1))
    block = max(rates.block_least, round(rates.block * units)) if rates.block else 0
    forged = forged_table(design, rng) if block else None
    out: list[SimulatedSheet] = []
    for at in range(units):
        name = f"{design.name}-unit{at:02d}"
        if at < block:
            switch = make_switch(name, design, 0, rng, table=forged)
            reader = colluders[at % len(colluders)]
            missing = rng.uniform(*rates.missing)
            out.append(read_sheet(_sheet_name(design, at, 0), switch, reader, None, missing, rng, block=True))
            continue
        variant = int(rng.random() < rates.variant)
        faults = (random_fault(design, variant, rng),) if rng.random() < rates.faulty else ()
        switch = make_switch(name, design, variant, rng, faults)
        goes = 1 + int(rng.random() < rates.second_sheet)
        out += [_one_go(_sheet_name(design, at, go), switch, readers, rates, rng) for go in range(goes)]
    return out


def _colluders(readers: tuple[Reader, ...], rates: Rates, rng: Generator) -> list[Reader]:
    """Three accounts that write down what they agreed on: no slips of their own."""
    if not rates.block:
        return []
    chosen = rng.choice(len(readers), 3, replace=False)
    return [replace(readers[at], missed=0.002, invented=0.001) for at in chosen]


def _sheet_name(design: Design, unit: int, go: int) -> str:
    return f"{design.name}-u{unit:02d}{'abc'[go]}"


def _one_go(
    name: str, switch: Switch, readers: tuple[Reader, ...], rates: Rates, rng: Generator
) -> SimulatedSheet:
    weights = np.array([reader.weight for reader in readers])
    reader = readers[int(rng.choice(len(readers), p=weights / weights.sum()))]
    mistake = draw_mistake(switch.design, reader, rates, rng)
    return read_sheet(name, switch, reader, mistake, rng.uniform(*rates.missing), rng)


def draw_mistake(design: Design, reader: Reader, rates: Rates, rng: Generator) -> Mistake | None:
    shares = {
        "mirrored_pins": rates.mirrored * reader.mirrors,
        "shifted_positions": rates.shifted,
        "wrong_common": rates.wrong_common if design.common is not None else 0.0,
        "exchanged": rates.exchanged,
    }
    draw = rng.random()
    for kind, share in shares.items():
        if draw < share:
            return make_mistake(design, kind, rates.face, rng)
        draw -= share
    return None
