"""A workshop's vehicles: the due list, a vehicle, a file of them, the calendar.  Nothing here is public."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from registry.errors import RegistryError, RegistryErrors
from registry.formats.due_calendar import DueDay, due_calendar
from registry.formats.fleet_words import chance_says, due_csv, due_says
from registry.formats.job_words import symptom_text
from registry.models import Organisation, User, Vehicle
from registry.models.jobs import JobSymptom
from registry.pages.preferences import posted
from registry.permissions import role_in
from registry.selectors.fleet import (
    DueLine,
    due_line,
    due_list,
    organisation_for,
    organisation_of_feed,
    organisations_of,
    vehicle_for,
    vehicle_history,
)
from registry.services.fleet.fittings import unit_fit, unit_remove
from registry.services.fleet.job_fittings import vehicle_job
from registry.services.fleet.organisations import organisation_make
from registry.services.fleet.vehicles import distance_add, distance_remove, vehicle_add, vehicle_retire

A_PAGE = 50
SHOWN = ("all", "overdue", "unknown")


def person(request: HttpRequest) -> User:
    assert isinstance(request.user, User)
    return request.user


def organisation_or_404(request: HttpRequest, uuid: UUID) -> Organisation:
    """Whoever is no member finds nothing here: not found, never forbidden."""
    found = organisation_for(person(request), uuid)
    if found is None:
        raise Http404
    return found


@login_required
def fleets(request: HttpRequest) -> HttpResponse:
    errors: list[RegistryError] = []
    if request.method == "POST":
        try:
            made = organisation_make(by=person(request), body={"name": request.POST.get("name", "")})
            return redirect("fleet", uuid=made.uuid)
        except RegistryErrors as problems:
            errors = list(problems)
    context = {"page": "fleet", "memberships": organisations_of(person(request)), "errors": errors}
    return render(request, "fleet/fleets.html", context, status=422 if errors else 200)


@login_required
def fleet(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The due list; a vehicle is added here."""
    organisation = organisation_or_404(request, uuid)
    errors: list[RegistryError] = []
    if request.method == "POST":
        body = posted(request, ("label", "family", "design", "km", "fitted_km"))
        try:
            vehicle = vehicle_add(by=person(request), organisation=organisation, body=body)
            return redirect("vehicle", uuid=vehicle.uuid)
        except RegistryErrors as problems:
            errors = list(problems)
    shown, words = request.GET.get("show", "all"), request.GET.get("q", "").strip()[:100]
    lines = [line for line in due_list(organisation) if _wanted(line, shown, words.casefold())]
    pages = Paginator(lines, A_PAGE).get_page(request.GET.get("page", 1))
    context = {
        "page": "fleet",
        "organisation": organisation,
        "role": role_in(person(request), organisation),
        "pages": pages,
        "lines": [_line_words(line, organisation, person(request)) for line in pages],
        "count": len(lines),
        "shown": shown if shown in SHOWN else "all",
        "words": words,
        "typed": request.POST,
        "errors": errors,
    }
    return render(request, "fleet/fleet.html", context, status=422 if errors else 200)


def _wanted(line: DueLine, shown: str, words: str) -> bool:
    if shown == "overdue" and not line.overdue:
        return False
    if shown == "unknown" and line.chance is not None:
        return False
    vehicle = line.vehicle
    said = (
        f"{vehicle.label} {vehicle.family_label} {vehicle.design.name if vehicle.design else ''}".casefold()
    )
    return words in said


def _line_words(line: DueLine, organisation: Organisation, user: User) -> dict[str, Any]:
    unit = user.distance_unit
    return {
        "line": line,
        "chance": chance_says(line, organisation.next_km, unit),
        "due": due_says(line, unit),
        "costs": organisation.planned_cost is not None,
    }


@login_required
def fleet_csv(request: HttpRequest, uuid: UUID) -> HttpResponse:
    organisation = organisation_or_404(request, uuid)
    response = HttpResponse(due_csv(due_list(organisation)), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = 'attachment; filename="due.csv"'
    response["Cache-Control"] = "private, no-store"
    return response


def fleet_feed(request: HttpRequest, token: str) -> HttpResponse:
    """The calendar, by its private link alone."""
    organisation = organisation_of_feed(token)
    if organisation is None:
        raise Http404
    body = due_calendar(organisation.name, _days(request, organisation), made_at=_made_at())
    response = HttpResponse(body, content_type="text/calendar; charset=utf-8")
    response["Cache-Control"] = "private, max-age=3600"
    return response


def _made_at() -> datetime:
    return timezone.now().replace(microsecond=0)


def _days(request: HttpRequest, organisation: Organisation) -> list[DueDay]:
    days = []
    for line in due_list(organisation):
        day = timezone.localdate() if line.overdue else line.due_on
        if day is None:
            continue
        address = request.build_absolute_uri(reverse("vehicle", args=[line.vehicle.uuid]))
        days.append(
            DueDay(
                uid=f"{line.vehicle.uuid}@benchquorum",
                day=max(day, timezone.localdate()),
                title=_("{label}: replace the lever switch").format(label=line.vehicle.label),
                says=" ".join([due_says(line), chance_says(line, organisation.next_km), address]),
            )
        )
    return days


ACTS = {
    "distance": lambda user, vehicle, body: distance_add(by=user, vehicle=vehicle, body=body),
    "fit": lambda user, vehicle, body: unit_fit(by=user, vehicle=vehicle, body=body),
    "remove": lambda user, vehicle, body: unit_remove(by=user, vehicle=vehicle, body=body),
    "retire": lambda user, vehicle, body: vehicle_retire(by=user, vehicle=vehicle),
    "back": lambda user, vehicle, body: vehicle_retire(by=user, vehicle=vehicle, back=True),
    "wrong": lambda user, vehicle, body: distance_remove(
        by=user, vehicle=vehicle, reading=int(body.get("reading") or 0)
    ),
}
GIVEN = (
    "km",
    "read_on",
    "fitted_km",
    "fitted_on",
    "unit_km",
    "removed_km",
    "removed_on",
    "because",
    "reading",
)


@login_required
@require_POST
def vehicle_begin(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """A job on this vehicle, with all that is known of it."""
    found = vehicle_for(person(request), uuid)
    if found is None:
        raise Http404
    try:
        job = vehicle_job(by=person(request), vehicle=found, symptom=request.POST.get("symptom", ""))
    except RegistryErrors as problems:
        return render(
            request, "fleet/vehicle.html", _vehicle_context(request, found, list(problems)), status=422
        )
    return redirect("job", uuid=job.uuid)


@login_required
def vehicle(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Distances, what is fitted, and what is due of one vehicle."""
    found = vehicle_for(person(request), uuid)
    if found is None:
        raise Http404
    errors: list[RegistryError] = []
    if request.method == "POST":
        act = ACTS.get(request.POST.get("act", ""))
        if act is None:
            raise Http404
        body = posted(request, GIVEN)
        try:
            act(person(request), found, body)
            messages.success(request, _("Kept."))
            return redirect("vehicle", uuid=uuid)
        except RegistryErrors as problems:
            errors = list(problems)
        except ValueError:
            raise Http404 from None
    return render(
        request, "fleet/vehicle.html", _vehicle_context(request, found, errors), status=422 if errors else 200
    )


def _vehicle_context(request: HttpRequest, found: Vehicle, errors: list[RegistryError]) -> dict[str, Any]:
    distances, fittings = vehicle_history(found)
    line = due_line(found)
    return {
        "page": "fleet",
        "vehicle": found,
        "organisation": found.organisation,
        "role": role_in(person(request), found.organisation),
        "told": None if line is None else _line_words(line, found.organisation, person(request)),
        "distances": distances[:50],
        "fittings": fittings,
        "in_place": next((fitting for fitting in fittings if fitting.removed_km is None), None),
        "jobs": list(found.jobs.filter(contributor__user=person(request)).order_by("-pk")[:10]),
        "symptoms": [(code, symptom_text(code)) for code in JobSymptom.values],
        "today": timezone.localdate().isoformat(),
        "typed": request.POST,
        "errors": errors,
    }
