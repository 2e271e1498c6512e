"""Prior probabilities of a suspect's faults and of its reader's mistakes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from consensus.chart_table import ChartTable
from consensus.contacts import OPEN
from consensus.settings import Settings
from consensus.shape import Fault
from consensus.unit_table import UnitTable

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class UnitPriors:
    """Log prior probability of each fault of a grid (F,), none first, and of each mistake (M,)."""

    fault: FloatArray
    mistake: FloatArray
    pair: float  # log probability that a faulty unit has two


def unit_priors(unit: UnitTable, mistakes: dict[str, float], settings: Settings) -> UnitPriors:
    """Priors of a suspect: faults that change nothing on this chart are left out (log 0).

    mistakes: share of sheets by kind.  A kind's share is spread evenly over its members.  The last ones are
    kept with the table.
    """
    kept = unit.table.kept.get("priors")
    if kept is None or kept[:2] != (mistakes, settings):
        kept = unit.table.kept["priors"] = (mistakes, settings, _unit_priors(unit, mistakes, settings))
    found: UnitPriors = kept[2]
    return found


def _unit_priors(unit: UnitTable, mistakes: dict[str, float], settings: Settings) -> UnitPriors:
    grid, table, after = unit.grid, unit.table, unit.after
    possible = (after != after[0]).any(axis=1)
    possible &= np.array([not _worn_where_open(fault, table) for fault in grid.faults])
    kinds = grid.kinds
    fault = np.full(len(kinds), -np.inf)
    fault[0] = np.log(1 - settings.suspect_fault_rate)
    shares = dict(settings.suspect_fault_shares)
    for kind in set(kinds) - {"none"}:
        members = possible & (kinds == kind)
        if members.any():
            fault[members] = np.log(settings.suspect_fault_rate * shares[kind] / members.sum())
    rows = [mistake.kind for mistake in grid.mistakes]
    plain = 1.0 - sum(share for kind, share in mistakes.items() if kind in rows)
    spread = {kind: mistakes.get(kind, 0.0) / rows.count(kind) for kind in set(rows)}
    with np.errstate(divide="ignore"):
        mistake = np.log([plain if kind == "none" else spread[kind] for kind in rows])
    return UnitPriors(fault, mistake, float(np.log(settings.suspect_pair_share)))


def _worn_where_open(fault: Fault, table: ChartTable) -> bool:
    """A contact that is open in the pattern can't be found worn."""
    if fault.kind != "worn_contact":
        return False
    shape = table.shape
    slot = shape.slots.index((fault.positions[0], False))
    pair = shape.pairs.index((fault.pins[0], fault.pins[1]))
    return bool(table.symbols[slot * len(shape.pairs) + pair] == OPEN)
