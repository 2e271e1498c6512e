"""python -m fixtures_demo.make: writes readings.csv, and what was done to each sheet for the tests.

Run once; both files are committed.  One seed gives the same files for ever.
"""

from __future__ import annotations

import csv
import json
import sys
from collections.abc import Iterator
from itertools import cycle
from pathlib import Path

import numpy as np
from numpy.random import Generator

from fixtures_demo.plan import PLAN, UnitPlan
from fixtures_demo.scenario import Person, people
from tests.simulation.designs import Design
from tests.simulation.sheets import SimulatedSheet, Written, read_sheet
from tests.simulation.switches import Switch, make_fault, make_switch

SEED = 20261125
HERE = Path(__file__).parent
TROUBLES = HERE.parent / "tests" / "data" / "demo_troubles.json"
COLUMNS = [
    *("design", "submission", "unit", "contributor", "step", "position", "pin", "against", "reading"),
    *("sweep", "between", "limit_ohm", "lead_ohm", "class", "held_good"),
]
Row = dict[str, object]


def main() -> None:
    rng = np.random.default_rng(SEED)
    everybody = people()
    turns = _turns(everybody, rng)
    rows: list[Row] = []
    troubles = {}
    for design, units in PLAN:
        initials = design.name.split()[1].lower()
        for number, plan in enumerate(units, start=1):
            unit = f"{initials}-{number:02d}"
            switch = _switch(unit, plan, design, rng)
            for go, name in enumerate(plan.by or (next(turns),)):
                submission = f"{unit}{'ab'[go] if len(plan.by) > 1 else ''}"
                rows += _sheet_rows(
                    submission, unit, design, plan, switch, everybody[name], rng, first=go == 0
                )
                troubles[submission] = plan.label
    with (HERE / "readings.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    TROUBLES.write_text(json.dumps(troubles, indent=1) + "\n", encoding="utf-8")
    sys.stdout.write(f"{len(troubles)} sheets, {len(rows)} readings\n")


def _turns(everybody: dict[str, Person], rng: Generator) -> Iterator[str]:
    """Everybody in turn, in a shuffled order: no unit is read by the same person as its neighbour."""
    return cycle([str(name) for name in rng.permutation(list(everybody))])


def _switch(name: str, plan: UnitPlan, design: Design, rng: Generator) -> Switch:
    design = plan.truly or design
    fault = make_fault(design, plan.variant, plan.fault, rng) if plan.fault else None
    assert fault is not None or not plan.fault, f"{design.name} can't have {plan.fault}"
    return make_switch(name, design, plan.variant, rng, (fault,) if fault else (), table=plan.table)


def _sheet_rows(
    submission: str,
    unit: str,
    design: Design,
    plan: UnitPlan,
    switch: Switch,
    person: Person,
    rng: Generator,
    *,
    first: bool,
) -> Iterator[Row]:
    for sweep in range(1, person.sweeps + 1):
        mistake = plan.mistake if first else None
        sheet = read_sheet(submission, switch, person.reader, mistake, plan.missing, rng)
        for written, between in _with_gaps(sheet, plan.gaps):
            yield {
                "design": design.name,
                "submission": submission,
                "unit": unit,
                "contributor": person.reader.name,
                "step": written.position + 1,
                "position": design.positions[written.position],
                "pin": design.pins[written.pin],
                "against": design.pins[written.against],
                "reading": _as_written(written.text, person.writes),
                "sweep": sweep,
                "between": "yes" if between else "",
                "limit_ohm": f"{person.reader.limit:.0f}",
                "lead_ohm": f"{person.lead:g}",
                "class": plan.source_class,
                "held_good": plan.held_good,
            }


def _with_gaps(sheet: SimulatedSheet, gaps: bool) -> Iterator[tuple[Written, bool]]:
    """The readings, and with `gaps` those between the first two positions: nothing conducts there."""
    for written in sheet.readings:
        yield written, False
        if gaps and written.position == 0:
            yield Written(0, written.pin, written.against, "OL"), True


def _as_written(text: str, style: str) -> str:
    """The same figure in the hand of another person."""
    if text in ("OL", "cont") or style == "plain":
        return text
    if style == "comma":
        return text.replace(".", ",")
    letter = text[-1] if text[-1] in "kM" else "R"
    whole, _, rest = text.rstrip("kM").partition(".")
    return f"{whole}{letter}{rest}" if rest or letter != "R" else text


if __name__ == "__main__":
    main()
