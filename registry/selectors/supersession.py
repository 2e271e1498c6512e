"""Whether two part numbers have the same pattern, as the data themselves say."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from registry.models import CurrentChart, PartNumber
from registry.models.catalogue import SamePattern
from registry.selectors.tolerance import cells_by_place

SETTLED = ("agreed", "provisional")
Cell = dict[str, Any]


@dataclass(frozen=True)
class PatternAnswer:
    """answer: yes, no or unknown; compared: places settled in both; differing: the older's cells there."""

    answer: str
    compared: int
    differing: tuple[Cell, ...]

    def confirms(self, said: str) -> bool | None:
        """Whether the data confirm (True) or deny (False) what people said; None where they can't tell."""
        if SamePattern.UNKNOWN in (self.answer, said):
            return None
        return self.answer == said


def pattern_answer(older: PartNumber, newer: PartNumber) -> PatternAnswer:
    """Settled cells of the largest variants compared, over the designs of both numbers.

    yes: every settled cell of either is settled in the other with the same state; no: one of them differs;
    unknown: nothing differs, but not everything is settled in both.  Numbers of one design have its pattern.
    """
    answers = [_compared(before, after) for before in _charts(older) for after in _charts(newer)]
    if not answers:
        return PatternAnswer(SamePattern.UNKNOWN, 0, ())
    order = [SamePattern.YES, SamePattern.NO, SamePattern.UNKNOWN]
    return min(answers, key=lambda one: (order.index(SamePattern(one.answer)), -one.compared))


def _charts(part: PartNumber) -> Iterator[dict[str, Any]]:
    charts = CurrentChart.objects.filter(design__part_numbers=part).select_related("revision")
    for chart in charts.order_by("design"):
        yield json.loads(bytes(chart.revision.content))


def _compared(before: dict[str, Any], after: dict[str, Any]) -> PatternAnswer:
    first, second = (_settled(chart) for chart in (before, after))
    both = first.keys() & second.keys()
    differing = tuple(
        first[place] for place in sorted(both) if first[place]["state"] != second[place]["state"]
    )
    if differing:
        return PatternAnswer(SamePattern.NO, len(both), differing)
    whole = bool(both) and first.keys() == second.keys()
    return PatternAnswer(SamePattern.YES if whole else SamePattern.UNKNOWN, len(both), ())


def _settled(chart: dict[str, Any]) -> dict[Any, Cell]:
    if not chart["variants"]:
        return {}
    cells = cells_by_place(chart["variants"][0])
    return {place: cell for place, cell in cells.items() if cell["standing"] in SETTLED}
