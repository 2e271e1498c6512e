"""What a check costs beside the consensus of its design; the ratios are asserted, the times reported.

A switch of 8 positions and 7 lines to a common.  The consensus is that of 25 units, one sheet each, readers
and meters as in a simulated typical world; the check is of a full sheet of a suspect with every fault, every
pair of plausible faults and every mistake.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from consensus import Settings, agree_design, check_sheet, diagnosis, learn_reliability
from tests.simulation.designs import OPEN, Design
from tests.simulation.files import sheets_readings
from tests.simulation.rates import WORLDS
from tests.simulation.readers import make_readers
from tests.simulation.sheets import read_sheet
from tests.simulation.switches import make_switch

UNITS, POSITIONS, LINES, ROUNDS = 25, 8, 7, 15


def made_design(rng: np.random.Generator) -> Design:
    table = np.where(rng.random((POSITIONS, LINES)) < 0.5, 0.0, OPEN)
    pins = tuple(str(pin + 1) for pin in range(LINES + 1))
    pairs = tuple((line + 1, 0) for line in range(LINES))
    return Design("bench", "contact", tuple("PRND4321"), pins, 0, pairs, (table,))


def best_of(work: Callable[[], object]) -> float:
    """Shortest of ROUNDS runs, s: what the work costs when nothing else runs."""
    spent = []
    for _ in range(ROUNDS):
        started = time.perf_counter()
        work()
        spent.append(time.perf_counter() - started)
    return min(spent)


def test_a_check_costs_no_more_than_the_consensus_of_25_units(monkeypatch) -> None:
    rng = np.random.default_rng(8)
    design = made_design(rng)
    readers = make_readers(replace(WORLDS["typical"], contributors=12), rng)
    sheets = [
        read_sheet(f"s{at}", make_switch(f"u{at}", design, 0, rng), readers[at % 12], None, 0.2, rng)
        for at in range(UNITS)
    ]
    given = sheets_readings(sheets)
    snapshot = learn_reliability([given], Settings())
    chart = agree_design(given, snapshot, Settings())
    suspect = read_sheet("x", make_switch("x", design, 0, rng), readers[0], None, 0.0, rng, held_good="no")
    sheet = sheets_readings([suspect])
    consensus = best_of(lambda: agree_design(given, snapshot, Settings()))
    whole = best_of(lambda: check_sheet(sheet, chart))
    with monkeypatch.context() as patched:
        patched.setattr(diagnosis, "next_readings", lambda *_: ())
        check = best_of(lambda: check_sheet(sheet, chart))
    print(
        f"\nconsensus of {UNITS} units {1e3 * consensus:.1f} ms, check {1e3 * check:.1f} ms "
        f"({check / consensus:.2f}), with its next readings {1e3 * whole:.1f} ms ({whole / consensus:.2f})"
    )
    assert check <= consensus
    assert whole <= 3 * consensus


def test_a_check_of_forty_pins_read_each_to_each_takes_seconds() -> None:
    """6240 readings; 431 faults and 89 mistakes, of which most can't matter."""
    rng = np.random.default_rng(40)
    closed = rng.random((8, 39)) < 0.5
    table = np.where(closed, 0.0, OPEN)
    pins = tuple(str(pin + 1) for pin in range(40))
    design = Design(
        "wide", "contact", tuple("PRND4321"), pins, 0, tuple((pin, 0) for pin in range(1, 40)), (table,)
    )
    readers = make_readers(WORLDS["typical"], rng)
    sheets = [
        read_sheet(f"s{at}", make_switch(f"u{at}", design, 0, rng), readers[at], None, 0.0, rng)
        for at in range(6)
    ]
    given = sheets_readings(sheets)
    chart = agree_design(given, learn_reliability([given], Settings()), Settings())
    each = replace(design, pairs=tuple((b, a) for a in range(40) for b in range(a + 1, 40)))
    both = np.stack(
        [closed[:, b - 1] if a == 0 else closed[:, a - 1] & closed[:, b - 1] for b, a in each.pairs], axis=1
    )
    full = replace(each, tables=(np.where(both, 0.0, OPEN),))
    star = make_switch("x", design, 0, rng)
    suspect = read_sheet("x", replace(star, design=full), readers[0], None, 0.0, rng, held_good="no")
    sheet = sheets_readings([suspect])
    started = time.perf_counter()
    check = check_sheet(sheet, chart)
    spent = time.perf_counter() - started
    print(f"\n{len(sheet.readings)} readings in {spent:.1f} s")
    assert check.verdict == "good"
    assert spent <= 5.0
