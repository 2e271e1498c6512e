"""What is known of a design over time: lives by cohort and class, drift, classes.

Worked out once for the same evidence, and kept.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.core.cache import cache

from registry.bridge.life import (
    chance_of_failure,
    drift_figures,
    life_comparisons,
    life_figures,
    replacement_age,
)
from registry.formats.canonical import canonical
from registry.models import Design
from registry.selectors.class_shares import ClassShare, class_shares
from registry.selectors.contact_drift import SheetContacts, failed_soon, sheet_contacts
from registry.selectors.overlays import Overlays, decisions_in_force
from registry.selectors.unit_lives import COHORTS, UnitLife, life_versions, lives_by_class, unit_lives

Plain = dict[str, Any]
KEPT = 24 * 3600  # s; the key holds all that the figures depend on
NEXT_KM = 20_000.0  # the next distance, where nobody asks for another


@dataclass(frozen=True)
class LifeEvidence:
    """lives: of all cohorts; cohorts: name → groups by class and their comparisons, figures without words."""

    lives: list[UnitLife]
    cohorts: dict[str, Plain]
    contacts: list[SheetContacts]
    drift: Plain
    shares: list[ClassShare]

    def rows(self, cohort: str, source_class: str) -> list[tuple[float, float | None, float | None]]:
        return [life.row for life in self.lives if (life.cohort, life.source_class) == (cohort, source_class)]


def life_evidence(design: Design, within_km: float = NEXT_KM) -> LifeEvidence:
    """All that the design's page, API and export say of its units over time."""
    lives = unit_lives(design)
    versions = life_versions(design, Overlays(decisions_in_force()))
    contacts = sheet_contacts(design, versions)
    return LifeEvidence(
        lives=lives,
        cohorts={name: cohort_figures([life for life in lives if life.cohort == name]) for name in COHORTS},
        contacts=contacts,
        drift=_drift(contacts, lives, within_km),
        shares=class_shares(design, versions),
    )


def chance_of(evidence: LifeEvidence, cohort: str, group: Plain, at_km: float, further_km: float) -> Plain:
    """Chance that a unit of the group, good at `at_km`, fails within `further_km`; with its interval."""
    rows = evidence.rows(cohort, group["class"])
    return chance_of_failure(rows, group["weibull"], at_km, further_km)


def age_of(evidence: LifeEvidence, cohort: str, group: Plain, planned: float, breakdown: float) -> Plain:
    """The distance at which replacing costs least in the long run; with its interval."""
    rows = evidence.rows(cohort, group["class"])
    return replacement_age(rows, group["weibull"], planned, breakdown)


def cohort_figures(lives: list[UnitLife]) -> Plain:
    """Groups by class and how they compare; sentences are made when shown."""
    rows = {name: [life.row for life in mine] for name, mine in lives_by_class(lives).items()}

    def made() -> Plain:
        groups = [{"class": name, **life_figures(mine)} for name, mine in rows.items()]
        return {"groups": groups, "comparisons": life_comparisons(rows)}

    return _kept("life", rows, made)


def _drift(contacts: list[SheetContacts], lives: list[UnitLife], within_km: float) -> Plain:
    """The trend of units that were held good when read: what failed reads otherwise by itself."""
    held_good = [(one.unit, one.km, one.middle, one.middle_over) for one in contacts if not one.suspect]
    worst = failed_soon(contacts, lives, within_km)
    return _kept("drift", [held_good, worst, within_km], lambda: drift_figures(held_good, worst, within_km))


def _kept(name: str, inputs: Any, make: Callable[[], Plain]) -> Plain:
    key = f"life-{name}-{hashlib.sha256(canonical(inputs)).hexdigest()}"
    found: Plain | None = cache.get(key)
    if found is None:
        found = make()
        cache.set(key, found, KEPT)
    return found
