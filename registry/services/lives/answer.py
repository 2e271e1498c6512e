"""What the API gives of a design's units over time: the same figures as its page, with the same cautions."""

from __future__ import annotations

from typing import Any

from registry.formats.documents import LIFE
from registry.formats.drift_words import drift_messages
from registry.formats.life_words import (
    age_message,
    chance_message,
    comparison_message,
    life_message,
    selection_caution,
)
from registry.models import Design
from registry.selectors.outcomes import OutcomeCount, outcomes_by_symptom
from registry.selectors.unit_lives import COHORTS, VOLUNTEERS
from registry.services.lives.evidence import NEXT_KM, LifeEvidence, age_of, chance_of, life_evidence

Plain = dict[str, Any]


def life_answer(
    design: Design,
    *,
    at_km: float | None = None,
    next_km: float | None = None,
    costs: tuple[float, float] | None = None,
) -> Plain:
    """at_km: of a unit at hand; next_km: the next distance; costs: planned, breakdown."""
    within = next_km or NEXT_KM
    evidence = life_evidence(design, within)
    trend, level = drift_messages(evidence.drift)
    return {
        "format": LIFE,
        "design": str(design.uuid),
        "name": design.name,
        "caution": selection_caution(),
        "cohorts": [_cohort(design, evidence, name, at_km, within, costs) for name in COHORTS],
        "drift": {
            "trend": {**evidence.drift["trend"], "message": trend},
            "replace": {**evidence.drift["replace"], "message": level},
        },
        "class_shares": [share.to_plain() for share in evidence.shares],
        "outcomes": [
            _outcome(key, count) for key, count in outcomes_by_symptom(design).items() if count.known
        ],
    }


def _cohort(
    design: Design,
    evidence: LifeEvidence,
    name: str,
    at_km: float | None,
    within: float,
    costs: tuple[float, float] | None,
) -> Plain:
    figures = evidence.cohorts[name]
    groups = []
    for group in figures["groups"]:
        told = {**group, "design": design.name, "message": life_message(group)}
        if group["weibull"] is not None and at_km is not None:
            chance = chance_of(evidence, name, group, at_km, within)
            told["next_failure"] = {**chance, "message": chance_message(chance, at_km, within)}
        if group["weibull"] is not None and costs is not None:
            age = age_of(evidence, name, group, *costs)
            told["replacement_km"] = {**age, "message": age_message(age)}
        groups.append(told)
    return {
        "reported_by": name,
        "caution": selection_caution() if name == VOLUNTEERS else "",
        "groups": groups,
        "comparisons": [{**found, "message": comparison_message(found)} for found in figures["comparisons"]],
    }


def _outcome(symptom: str, count: OutcomeCount) -> Plain:
    return {
        "symptom": symptom,
        "checked": count.checked,
        "at_fault": count.at_fault,
        "interval": [round(end, 5) for end in count.interval()],
    }
