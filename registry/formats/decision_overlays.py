"""Decisions in force as they lie over the sheets: what counts where, read how.  Nothing is rewritten.

A decision may be a row of the database or of a package.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any
from uuid import UUID

Laid = Any  # has kind, target_uuid and payload


class Overlays:
    """Decisions in force, as they lie over the sheets of a design."""

    def __init__(self, decisions: Iterable[Laid]) -> None:
        self.set_aside: dict[UUID, Laid] = {}
        self.accounts_aside: dict[UUID, Laid] = {}
        self.moved: dict[UUID, Laid] = {}
        self.corrected: dict[UUID, Laid] = {}
        self.bound: dict[UUID, Laid] = {}
        self.merged: dict[UUID, Laid] = {}  # by the design that went into another
        kinds: dict[str, dict[UUID, Laid]] = {
            "set_aside": self.set_aside,
            "set_aside_account": self.accounts_aside,
            "move": self.moved,
            "correct": self.corrected,
            "merge_designs": self.merged,
        }
        for decision in decisions:
            if decision.kind == "set_aside" and "sheets" in decision.payload:  # a group in one act
                self.set_aside.update({UUID(sheet): decision for sheet in decision.payload["sheets"]})
            elif decision.kind in kinds:
                kinds[decision.kind][decision.target_uuid] = decision
            else:  # a split or a merge binds sheets to a variant
                for sheet in decision.payload.get("sheets", []):
                    self.bound[UUID(sheet)] = decision

    def design_of(self, sheet: UUID | None, design: UUID) -> UUID:
        """The design that a sheet counts for, after moves and merges."""
        steps = self.steps(sheet, design)
        return UUID(steps[-1].payload["design"]) if steps else design

    def steps(self, sheet: UUID | None, design: UUID) -> list[Laid]:
        """The move and the merges that take a sheet (None: any of the design) to where it counts."""
        steps: list[Laid] = []
        if sheet in self.moved:
            steps.append(self.moved[sheet])
            design = UUID(steps[-1].payload["design"])
        passed: set[UUID] = set()
        while design in self.merged and design not in passed:
            passed.add(design)
            steps.append(self.merged[design])
            design = UUID(steps[-1].payload["design"])
        return steps

    def labels(self, sheet: UUID | None, design: UUID) -> dict[str, Any] | None:
        """What positions and pins of the sheet's own design are called where it counts."""
        composed: dict[str, dict[str, str]] = {"positions": {}, "pins": {}}
        for step in self.steps(sheet, design):
            given = step.payload.get("labels") or {}
            for kind, names in composed.items():
                renamed = given.get(kind, {})
                for label, name in names.items():
                    names[label] = renamed.get(name, name)
                for label, name in renamed.items():
                    names.setdefault(label, name)
        return composed if composed["positions"] or composed["pins"] else None

    def is_aside(self, sheet: UUID, contributor: UUID) -> bool:
        return sheet in self.set_aside or contributor in self.accounts_aside
