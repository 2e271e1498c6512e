"""Bench sheets: which leads the reader held where, against what is written down."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise, product

import numpy as np
from numpy.random import Generator

from tests.simulation.designs import Design, gap_table
from tests.simulation.readers import OPEN_ABOVE, Reader, shown
from tests.simulation.switches import Switch

OTHER_LEVEL = 1.35  # factor from which a figure is of another level of the ladder (neighbours: 1.7)
Place = tuple[int, int, int]  # position (or the gap behind it), pin, against: indices into the design


@dataclass(frozen=True)
class Mistake:
    """kind: as the contract names findings; detail: which of its forms."""

    kind: str
    detail: str = ""
    at: int = 0  # first of two exchanged neighbours, the line a lead stayed on, or the shift


@dataclass(frozen=True)
class Written:
    """One reading: where it is written down, and its text."""

    position: int
    pin: int
    against: int
    text: str
    sweep: int = 1
    between: bool = False


@dataclass(frozen=True)
class SimulatedSheet:
    name: str
    design: Design
    switch: Switch
    reader: Reader
    mistake: Mistake | None
    readings: tuple[Written, ...]
    slips: int  # readings whose state or level is not that of what the leads touched
    differs: int  # readings on the other side of open from the variant's table at the written place
    off: int  # readings of another state or level
    block: bool = False
    held_good: str = "worked"


def true_places(design: Design, between: bool = False) -> list[Place]:
    return [(p, a, b) for p in range(len(design.positions) - between) for a, b in design.pairs]


def across_places(design: Design) -> list[Place]:
    """Neighbouring lines against each other, where they are no pair of the design's own."""
    pairs = [pair for pair in pairwise(design.lines) if pair not in design.pairs]
    return [(p, b, a) for p in range(len(design.positions)) for a, b in pairs]


def written_and_touched(
    design: Design,
    mistake: Mistake | None,
    places: list[Place] | None = None,
    between: bool = False,
) -> list[tuple[Place, Place]]:
    """Pairs of (place as written down, place that the leads really touched) for a full sheet, or for `places`
    (between the detents: of the gap behind the position)."""
    places = true_places(design, between) if places is None else places
    if mistake is None:
        return [(place, place) for place in places]
    if mistake.kind == "mirrored_pins":
        face = _mirror_map(design, mistake.detail)
        return [((p, face[a], face[b]), (p, a, b)) for p, a, b in places]
    if mistake.kind == "wrong_common":
        stuck, common = mistake.at, design.common
        return [
            ((p, a, b), (p, a, b) if b != common else (p, a, stuck if a != stuck else b))
            for p, a, b in places
        ]
    if mistake.kind == "shifted_positions":
        return _shifted(design, mistake, places, between)
    if between and mistake.detail == "positions":
        return [(place, place) for place in places]
    return _exchanged(design, mistake, places)


def _mirror_map(design: Design, detail: str) -> dict[int, int]:
    """Pin touched: pin written down."""
    if detail == "face" or design.common is None:
        return {pin: len(design.pins) - 1 - pin for pin in range(len(design.pins))}
    lines = design.lines
    return {design.common: design.common, **dict(zip(lines, reversed(lines), strict=True))}


def _shifted(
    design: Design, mistake: Mistake, places: list[Place], between: bool
) -> list[tuple[Place, Place]]:
    last = len(design.positions) - 1 - between
    out = []
    for p, a, b in places:
        touched = p + mistake.at
        if 0 <= touched <= last or mistake.detail == "end_twice":
            out.append(((p, a, b), (min(max(touched, 0), last), a, b)))
    return out


def _exchanged(design: Design, mistake: Mistake, places: list[Place]) -> list[tuple[Place, Place]]:
    if mistake.detail == "positions":
        swap = {mistake.at: mistake.at + 1, mistake.at + 1: mistake.at}
        return [((swap.get(p, p), a, b), (p, a, b)) for p, a, b in places]
    lines = design.lines
    first, second = lines[mistake.at], lines[mistake.at + 1]
    swap = {first: second, second: first}
    return [((p, swap.get(a, a), swap.get(b, b)), (p, a, b)) for p, a, b in places]


def make_mistake(design: Design, kind: str, face: float, rng: Generator) -> Mistake | None:
    """A mistake of this kind with its details drawn; None where the design leaves no way to make it."""
    if kind == "mirrored_pins":
        mirrored = Mistake(kind, "face" if rng.random() < face else "lines")
        return mirrored if len(design.lines) > 1 else None
    if kind == "wrong_common":
        return Mistake(kind, at=int(rng.choice(design.lines))) if len(design.lines) > 1 else None
    if kind == "shifted_positions":
        if len(design.positions) < 2:
            return None
        return Mistake(kind, str(rng.choice(["end_twice", "end_missing"])), int(rng.choice([-1, 1])))
    detail = str(rng.choice(["pins", "positions"]))
    count = len(design.lines) if detail == "pins" else len(design.positions)
    return Mistake("exchanged", detail, int(rng.integers(count - 1))) if count > 1 else None


def state_of(ohm: float) -> str:
    return "closed" if ohm < 20.0 else "open" if ohm > OPEN_ABOVE else "resistive"


def text_state(text: str) -> str:
    """State that a text shows, the lower end of what wandered."""
    low = text.partition("…")[0]
    if low in ("OL", "cont"):
        return "open" if low == "OL" else "closed"
    return state_of(figure_of(low))


def reads_other(text: str, ohm: float, limit: float = np.inf) -> bool:
    """Whether a text is of another state than a contact of `ohm` Ω, or of another level; what wandered is not
    where one of its ends is right.  limit: of the meter, above which a level reads as open does."""
    low, _, high = text.partition("…")
    if high:
        return reads_other(low, ohm, limit) and reads_other(high, ohm, limit)
    if text == "OL" or (text != "cont" and figure_of(text) == limit):
        return bool(state_of(ohm) != "open" and ohm <= limit)
    if text_state(text) != state_of(ohm) or state_of(ohm) != "resistive":
        return text_state(text) != state_of(ohm)
    return not OTHER_LEVEL > figure_of(text) / ohm > 1 / OTHER_LEVEL


def figure_of(text: str) -> float:
    """Ω of a written figure."""
    scale = {"k": 1e3, "M": 1e6}.get(text[-1], 1.0)
    return float(text.rstrip("kM")) * scale


def true_ohm(design: Design, table: np.ndarray, place: Place, between: bool, across: bool) -> float | None:
    """Ω of the pattern at a place, `across` also from line to line, in series; None where it says nothing."""
    rows = gap_table(table) if between else table
    column = {frozenset(pair): at for at, pair in enumerate(design.pairs)}
    position, *pins = place
    if frozenset(pins) in column:
        contacts = [rows[position, column[frozenset(pins)]]]
    elif across and design.common is not None:
        contacts = [rows[position, column[frozenset((pin, design.common))]] for pin in pins]
    else:
        return None
    return np.inf if min(contacts) < 0 else float(sum(contacts))


def sheet_plan(design: Design, reader: Reader, mistake: Mistake | None) -> list[tuple[Place, Place, bool]]:
    """What a reader means to read: place as written down, place touched, whether between the detents."""
    plan = [(*both, False) for both in written_and_touched(design, mistake)]
    if reader.gaps:
        plan += [(*both, True) for both in written_and_touched(design, mistake, between=True)]
    if reader.across:
        plan += [(*both, False) for both in written_and_touched(design, mistake, across_places(design))]
    return plan


def read_sheet(
    name: str,
    switch: Switch,
    reader: Reader,
    mistake: Mistake | None,
    missing: float,
    rng: Generator,
    block: bool = False,
    held_good: str = "worked",
) -> SimulatedSheet:
    """One go of one reader over one unit; at least one reading is taken."""
    design = switch.design
    table = design.tables[switch.variant]
    plan = sheet_plan(design, reader, mistake)
    taken = rng.random(len(plan)) >= missing
    if not taken.any():
        taken[int(rng.integers(len(plan)))] = True
    levels = np.unique(table[table > 0])
    readings, slips, differs, off = [], 0, 0, 0
    for sweep, at in product(range(1, reader.sweeps + 1), np.flatnonzero(taken)):
        written, touched, between = plan[at]
        ohm = switch.resistance(*touched, between)
        text = shown(reader, ohm, levels[np.abs(levels - ohm) > 0.1 * levels], rng)
        readings.append(Written(*written, text, sweep, between))
        slips += reads_other(text, ohm, reader.limit)
        truth = true_ohm(design, table, written, between, reader.across)
        if truth is not None:
            off += reads_other(text, truth, reader.limit)
            differs += (text_state(text) == "open") != (state_of(truth) == "open")
    return SimulatedSheet(
        name, design, switch, reader, mistake, tuple(readings), slips, differs, off, block, held_good
    )
