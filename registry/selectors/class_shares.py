"""How many replacement units of each source class fit the original's pattern.

The sample are new units, benched before they were fitted.  Equivalents are held against the pattern of the
original parts; they never shape it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from registry.bridge.shares import share_interval
from registry.models import Design, SheetVersion
from registry.selectors.overlays import Overlays, decisions_in_force
from registry.selectors.unit_groups import unit_groups
from registry.selectors.unit_lives import CLASSES, life_versions

LEAST_UNITS, LEAST_VOICES = 5, 3  # below: the count of units alone
# the unit is as the pattern says; the reader may have slipped, or numbered it otherwise
MATCHING = frozenset({"fits", "slip", "mirrored_pins", "wrong_common", "shifted_positions", "exchanged"})
NO_WORD = frozenset({"coordinated"})  # nothing is said of such a unit


@dataclass(frozen=True)
class ClassShare:
    """units: new ones that were read; matching: None where they are too few, or of too few people."""

    source_class: str
    units: int
    voices: int
    matching: int | None

    @property
    def interval(self) -> tuple[float, float] | None:
        return None if self.matching is None else share_interval(self.matching, self.units)

    def to_plain(self) -> dict[str, Any]:
        ends = self.interval
        return {
            "class": self.source_class,
            "units": self.units,
            "matching": self.matching,
            "interval": None if ends is None else [round(end, 5) for end in ends],
        }


def class_shares(design: Design, versions: list[SheetVersion] | None = None) -> list[ClassShare]:
    """One entry a class of which a new unit was read.  A unit read twice counts once, by its newest sheet."""
    if versions is None:
        versions = life_versions(design, Overlays(decisions_in_force()))
    new = [v for v in versions if v.held_good == SheetVersion.HeldGood.NEW and _finding(v)]
    groups = unit_groups(version.sheet.unit_id for version in new)
    newest = {groups.get(v.sheet.unit_id, str(v.sheet.unit_id)): v for v in new}
    shares = []
    for source_class in CLASSES:
        mine = [v for v in newest.values() if v.source_class == source_class]
        voices = {v.sheet.contributor.workshop_id or -v.sheet.contributor_id for v in mine}
        if mine:
            enough = len(mine) >= LEAST_UNITS and len(voices) >= LEAST_VOICES
            matching = sum(_finding(v) in MATCHING for v in mine)
            shares.append(ClassShare(source_class, len(mine), len(voices), matching if enough else None))
    return shares


def _finding(version: SheetVersion) -> str:
    finding = getattr(version.sheet, "finding", None)
    return "" if finding is None or finding.finding in NO_WORD else str(finding.finding)
