"""Decisions in force as they lie over the sheets: what counts where, read how.  Nothing is rewritten."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from registry.models import Decision

OVERLAYS = (
    Decision.Kind.SET_ASIDE,
    Decision.Kind.CORRECT,
    Decision.Kind.MOVE,
    Decision.Kind.SPLIT_VARIANT,
    Decision.Kind.MERGE_VARIANTS,
    Decision.Kind.SET_ASIDE_ACCOUNT,
    Decision.Kind.MERGE_DESIGNS,
)


def decisions_in_force(kinds: Iterable[str] = OVERLAYS) -> list[Decision]:
    return list(Decision.objects.filter(state=Decision.State.IN_FORCE, kind__in=list(kinds)).order_by("pk"))


class Overlays:
    """Decisions in force, as they lie over the sheets of a design."""

    def __init__(self, decisions: Iterable[Decision]) -> None:
        self.set_aside: dict[UUID, Decision] = {}
        self.accounts_aside: dict[UUID, Decision] = {}
        self.moved: dict[UUID, Decision] = {}
        self.corrected: dict[UUID, Decision] = {}
        self.bound: dict[UUID, Decision] = {}
        self.merged: dict[UUID, Decision] = {}  # by the design that went into another
        kinds = {
            Decision.Kind.SET_ASIDE: self.set_aside,
            Decision.Kind.SET_ASIDE_ACCOUNT: self.accounts_aside,
            Decision.Kind.MOVE: self.moved,
            Decision.Kind.CORRECT: self.corrected,
            Decision.Kind.MERGE_DESIGNS: self.merged,
        }
        for decision in decisions:
            if decision.kind in kinds:
                kinds[Decision.Kind(decision.kind)][decision.target_uuid] = decision
            else:  # a split or a merge binds sheets to a variant
                for sheet in decision.payload.get("sheets", []):
                    self.bound[UUID(sheet)] = decision

    def design_of(self, sheet: UUID | None, design: UUID) -> UUID:
        """The design that a sheet counts for, after moves and merges."""
        steps = self.steps(sheet, design)
        return UUID(steps[-1].payload["design"]) if steps else design

    def steps(self, sheet: UUID | None, design: UUID) -> list[Decision]:
        """The move and the merges that take a sheet (None: any of the design) to where it counts."""
        steps: list[Decision] = []
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
