"""Which label each step of a design has, where submissions may call it differently."""

from __future__ import annotations

from collections import defaultdict

import numpy as np

from registry.formats.tidy_table import TidyTable
from registry.translation import gettext as _

Calls = dict[int, dict[str, int]]  # step → label → how many submissions call it so


def step_labels(table: TidyTable) -> tuple[list[tuple[str, ...]], list[str]]:
    """For each design the labels of steps 1, 2, …, and a warning for each step with more than one label.

    The label that most submissions give wins; a step that nobody names (or that is only the far end of a
    "between") is called by its number; no label stands twice in a design.
    """
    calls = _calls_by_design(table)
    warnings = [
        _("Design {design}, step {step}: {calls}; the chart calls it {first}.").format(
            design=table.designs[design], step=step, calls=_counted(names), first=_ranked(names)[0]
        )
        for design, steps in enumerate(calls)
        for step, names in sorted(steps.items())
        if len(names) > 1
    ]
    last = _last_steps(table)
    return [_labels(steps, last[design]) for design, steps in enumerate(calls)], warnings


def _calls_by_design(table: TidyTable) -> list[Calls]:
    design_of = np.array([sheet.design for sheet in table.sheets], dtype=np.int64)
    labels, sheets = len(table.labels), len(table.sheets)
    called = np.unique((table.step.astype(np.int64) * labels + table.position) * sheets + table.sheet)
    sheet, call = called % sheets, called // sheets
    steps_span = int(table.step.max(initial=0)) + 1
    packed, counts = np.unique(design_of[sheet] * (steps_span * labels) + call, return_counts=True)
    calls: list[Calls] = [defaultdict(dict) for _design in table.designs]
    for entry, count in zip(packed.tolist(), counts.tolist(), strict=True):
        design, rest = divmod(entry, steps_span * labels)
        step, label = divmod(rest, labels)
        calls[design][step][table.labels[label]] = count
    return calls


def _last_steps(table: TidyTable) -> list[int]:
    """What is read behind the last step has another step after it."""
    last = np.zeros(len(table.designs), dtype=np.int64)
    design_of = np.array([sheet.design for sheet in table.sheets], dtype=np.int64)
    np.maximum.at(last, design_of[table.sheet], table.step + table.between)
    return [int(step) for step in last]


def _ranked(names: dict[str, int]) -> list[str]:
    return sorted(names, key=lambda name: (-names[name], name))


def _counted(names: dict[str, int]) -> str:
    return ", ".join(f"“{name}” × {names[name]}" for name in _ranked(names))


def _labels(steps: Calls, last: int) -> tuple[str, ...]:
    labels: list[str] = []
    for step in range(1, last + 1):
        free = [name for name in _ranked(steps.get(step, {})) if name not in labels]
        number = str(step) if str(step) not in labels else f"{step} ({step})"
        labels.append(free[0] if free else number)
    return tuple(labels)
