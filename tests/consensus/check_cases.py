"""Made-up charts and sheets of suspects, and what a check of them said, to hold later checks against.

`python -m tests.consensus.check_cases FILE` records anew: right only where checks are meant to change.
"""

from __future__ import annotations

import json
import random
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from consensus import DesignAgreement, DesignReadings, check_sheet
from consensus.check_results import SheetCheck
from tests.consensus.charts import chart, joined, read_at, sheet

RECORDED = Path(__file__).parents[1] / "data" / "suspect_checks.json"
COUNT = 60
SHOWN = {"x": 0.4, "a": 220.4, "b": 1200.4, "c": 6800.4}
Case = tuple[DesignReadings, DesignAgreement, list[DesignAgreement]]


def made_cases(seed: int, count: int) -> Iterator[Case]:
    """Sheets of good units, faulty ones, noise and slips, some read twice, through the harness or in part;
    charts with levels, variants, unread places and others of their shape."""
    chance = random.Random(seed)
    for at in range(count):
        lines, positions = chance.randint(2, 7), chance.randint(2, 7)
        marks = "x." if at % 3 else "x.x.ab"
        rows = _rows(chance, positions, lines, marks + ("?" if at % 4 == 3 else ""))
        variants = [_spoilt(chance, rows, marks, 3)] if at % 5 == 4 else []
        p = round(chance.uniform(0.97, 0.99999), 6)
        like = _doubted(chance, chart(rows, design=f"design {at}", p=p, variants=variants))
        others = [chart(_rows(chance, positions, lines, marks), design=f"other {n}") for n in range(at % 3)]
        unit = _unit(chance, at, rows, marks)
        given = _read(chance, like, unit, 1)
        if at % 6 == 5:
            given = joined(given, _read(chance, like, _spoilt(chance, unit, marks, 1), 2))
        yield read_at(given, ("bench", "connector", "harness")[at // 2 % 3]), like, others


def _rows(chance: random.Random, positions: int, lines: int, marks: str) -> list[str]:
    return ["".join(chance.choice(marks) for _ in range(lines)) for _ in range(positions)]


def _unit(chance: random.Random, at: int, rows: list[str], marks: str) -> list[str]:
    """What the leads meet: the pattern, a line dead or stuck, mirrored, shifted, noise; a few changes."""
    line, kind = chance.randrange(len(rows[0])), at % 8
    known = [row.replace("?", ".") for row in rows]
    if kind in (1, 2):
        known = [row[:line] + ".x"[kind - 1] + row[line + 1 :] for row in known]
    elif kind == 3:
        known = [row[::-1] for row in known]
    elif kind == 4:
        known = [*known[1:], known[-1]]
    elif kind == 5:
        known = _rows(chance, len(rows), len(rows[0]), marks)
    return known if kind == 0 else _spoilt(chance, known, marks, chance.randint(0, 2))


def _spoilt(chance: random.Random, rows: list[str], marks: str, times: int) -> list[str]:
    grid = [list(row) for row in rows]
    for _ in range(times):
        grid[chance.randrange(len(grid))][chance.randrange(len(grid[0]))] = chance.choice(marks)
    return ["".join(row) for row in grid]


def _read(chance: random.Random, like: DesignAgreement, rows: list[str], sweep: int) -> DesignReadings:
    """Each reading as typed, by a mark of its own; now and then a buzzer, a wandering figure or none."""
    marks: dict[str, str] = {}
    signs = iter(chr(0x4E00 + n) for n in range(200))
    typed, common = [], chance.choice((0.0, 0.0, 0.0, 300.0))
    for row in rows:
        line = ""
        for mark in row:
            sign, dice = next(signs), chance.random()
            ohm = SHOWN.get(mark, 0.0) * chance.uniform(0.98, 1.02) + common
            text = f"{ohm:.4g}" if mark in SHOWN else "OL"
            if dice < 0.04:
                text = "cont" if mark == "x" else text
            elif dice < 0.06:
                text = "0.4…350"
            elif dice < 0.08:
                text = "2M"
            marks[sign] = text
            line += "_" if dice > 0.93 else sign
        typed.append(line)
    return sheet(like, typed, sweep, marks)


def _doubted(chance: random.Random, like: DesignAgreement) -> DesignAgreement:
    """Each cell as sure as it may be, so that no two explanations are equally likely by accident."""
    variants = []
    for variant in like.variants:
        cells = []
        for cell in variant.cells:
            less = chance.uniform(0.0, 0.02)
            states = tuple(p - less if p > 0.9 else p + less / 2 for p in cell.states)
            levels = tuple((ohm, p - less) for ohm, p in cell.levels)
            cells.append(replace(cell, states=states, levels=levels))
        variants.append(replace(variant, cells=tuple(cells)))
    return replace(like, variants=tuple(variants))


def told(check: SheetCheck) -> dict[str, Any]:
    """A check in full figures, JSON-ready."""
    return {
        "verdict": [check.verdict, check.reason, check.variant, check.compared, check.agreeing],
        "p": [check.p_good, check.p_unknown],
        "causes": [[one.cause, *one.pins, *one.positions, one.group, one.params] for one in check.causes],
        "causes_p": [one.p for one in check.causes],
        "next": [[one.position, one.pin, one.against, one.repeat, one.excludes] for one in check.next],
        "bits": [bits for one in check.next for bits in (one.bits, one.bits_cause)],
        "unlike": [[one.position, one.pin, one.expected, one.read, one.sweep] for one in check.unlike],
        "not_excluded": len(check.not_excluded),
    }


def checked(case: Case) -> dict[str, Any]:
    return told(check_sheet(*case))


if __name__ == "__main__":
    lines = [json.dumps(checked(case), ensure_ascii=False) for case in made_cases(1, COUNT)]
    Path(sys.argv[1]).write_text("[\n" + ",\n".join(lines) + "\n]\n")
