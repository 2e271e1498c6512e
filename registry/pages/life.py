"""The page of a design's evidence over time: how long units last, whether wear shows, which parts fit."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from registry.formats.drift_words import drift_messages
from registry.formats.life_words import (
    age_message,
    chance_message,
    class_text,
    comparison_message,
    ends_text,
    far_text,
    life_message,
    method_text,
)
from registry.models import Design
from registry.pages.before_pulling import SYMPTOMS
from registry.pages.life_form import LifeForm
from registry.pages.preferences import distance_unit
from registry.pages.survival_plot import survival_plot
from registry.selectors.outcomes import OutcomeCount, outcomes_by_symptom
from registry.selectors.unit_lives import COHORTS, FLEET, VOLUNTEERS
from registry.services.lives.evidence import NEXT_KM, LifeEvidence, age_of, chance_of, life_evidence
from registry.services.lives.export import export_lives

Plain = dict[str, Any]


def life(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Everything that is known of a design's units over time, and what it can't say."""
    shown = get_object_or_404(Design.objects.select_related("merged_into"), uuid=uuid)
    if shown.merged_into is not None:
        return redirect("life", shown.merged_into.uuid)
    unit = distance_unit(request)
    form = LifeForm(request.GET)
    within = form.km("next", unit) or NEXT_KM
    evidence = life_evidence(shown, within)
    who = _cohort(request, evidence)
    context = {
        "page": "search",
        "design": shown,
        "form": form,
        "who": who,
        "cohorts": [_cohort_link(request, name, evidence) for name in COHORTS],
        "groups": [_group(group, unit) for group in evidence.cohorts[who]["groups"]],
        "comparisons": [
            (comparison_message(found), method_text(found["method"]))
            for found in evidence.cohorts[who]["comparisons"]
        ],
        "chances": _chances(evidence, who, form, unit, within),
        "ages": _ages(evidence, who, form, unit),
        "drift": drift_messages(evidence.drift, unit),
        "shares": [(class_text(share.source_class), share) for share in evidence.shares],
        "outcomes": known_outcomes(shown),
    }
    return render(request, "technician/life.html", context)


def known_outcomes(design: Design | None) -> list[tuple[Any, OutcomeCount]]:
    """Symptoms of which enough outcomes are known, in the order in which they are asked: no ranking."""
    counts = outcomes_by_symptom(design)
    return [(words, counts[key]) for key, words in SYMPTOMS.items() if key in counts and counts[key].known]


def _cohort(request: HttpRequest, evidence: LifeEvidence) -> str:
    """The one asked for; else fleets that report all, once they say more than counts."""
    asked = request.GET.get("who", "")
    if asked in COHORTS:
        return asked
    fleets = any(not group["reason"] for group in evidence.cohorts[FLEET]["groups"])
    return FLEET if fleets else VOLUNTEERS


def _cohort_link(request: HttpRequest, name: str, evidence: LifeEvidence) -> Plain:
    asked = {name: request.GET[name] for name in LifeForm.base_fields if name in request.GET}
    count = sum(life.cohort == name for life in evidence.lives)
    return {"name": name, "units": count, "query": urlencode({"who": name, **asked})}


def _group(group: Plain, unit: str) -> Plain:
    lives = {
        name: None
        if group[name] is None
        else {"at": far_text(group[name]["estimate"], unit), "ends": ends_text(group[name], unit)}
        for name in ("b5_km", "b10_km")
    }
    return {
        **group,
        **lives,
        "name": class_text(group["class"]),
        "message": life_message(group, unit),
        "plot": survival_plot(group, unit),
    }


def _with_law(evidence: LifeEvidence, who: str) -> list[Plain]:
    return [group for group in evidence.cohorts[who]["groups"] if group["weibull"] is not None]


def _chances(
    evidence: LifeEvidence, who: str, form: LifeForm, unit: str, within: float
) -> list[tuple[str, str]] | None:
    """For each class the chance that a unit at hand fails within the next distance; None: not asked."""
    at = form.km("at", unit)
    if at is None:
        return None
    return [
        (
            class_text(group["class"]),
            chance_message(chance_of(evidence, who, group, at, within), at, within, unit),
        )
        for group in _with_law(evidence, who)
    ]


def _ages(evidence: LifeEvidence, who: str, form: LifeForm, unit: str) -> list[tuple[str, str]] | None:
    if form.costs is None:
        return None
    return [
        (class_text(group["class"]), age_message(age_of(evidence, who, group, *form.costs), unit))
        for group in _with_law(evidence, who)
    ]


def life_csv(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The design's units in the tidy form of `benchquorum life`, under ids that say nothing."""
    shown = get_object_or_404(Design, uuid=uuid)
    response = HttpResponse("".join(export_lives(shown)), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = 'attachment; filename="units.csv"'
    return response
