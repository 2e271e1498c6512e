"""One's own unit over time: what was read, what became of it; and whether one's workshop reports all."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from registry.errors import RegistryError, RegistryErrors
from registry.formats.figures import KM_A_MILE
from registry.formats.typed_number import typed_number, whole_typed
from registry.models import User
from registry.pages.preferences import distance_unit
from registry.selectors.unit_history import own_unit, reports_of, unit_history
from registry.services.accounts import contributor_of
from registry.services.lives.cohorts import fleet_end, fleet_say
from registry.services.lives.unit_events import unit_event_take_back, unit_event_tell

DISTANCES = ("distance_km", "entered_km", "good_km")


@login_required
def unit(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Readings and events of a unit of one's own, and a form for what became of it."""
    assert isinstance(request.user, User)
    shown = own_unit(request.user, uuid)
    if shown is None:
        raise Http404
    errors: dict[str, list[str]] = {}
    if request.method == "POST":
        try:
            if "take_back" in request.POST:
                _take_back(request, shown)
            else:
                unit_event_tell(by=request.user, unit=shown, body=_body(request))
                messages.success(request, _("Thank you. It counts in how long such units last."))
        except RegistryErrors as found:
            for error in found:
                errors.setdefault(error.field.strip("/"), []).append(str(error))
        else:
            return redirect("unit", uuid=uuid)
    context = {
        "page": "mine",
        "unit": shown,
        "history": unit_history(shown),
        "typed": request.POST if errors else {},
        "errors": errors,
    }
    return render(request, "contributor/unit.html", context, status=422 if errors else 200)


@login_required
def reporting(request: HttpRequest) -> HttpResponse:
    """Whether one's workshop reports every unit of its fleet."""
    assert isinstance(request.user, User)
    own = contributor_of(request.user)
    report = reports_of(own)
    errors: list[Any] = []
    if request.method == "POST":
        try:
            if "end" in request.POST and report is not None:
                fleet_end(by=request.user, report=report)
            elif "end" not in request.POST:
                fleet_say(by=request.user, units=whole_typed(request.POST.get("units", "").strip()))
        except RegistryErrors as found:
            errors = list(found)
        else:
            return redirect("reporting")
    context = {"page": "account", "own": own, "report": report, "errors": errors}
    return render(request, "contributor/reporting.html", context, status=422 if errors else 200)


def _body(request: HttpRequest) -> dict[str, Any]:
    """The form as the service takes it: distances in km, "noticed at once" as good up to the failure."""
    body: dict[str, Any] = {name: request.POST.get(name, "") for name in ("kind", "happened_on")}
    factor = KM_A_MILE if distance_unit(request) == "mi" else 1.0
    for name in DISTANCES:
        typed = request.POST.get(name, "").strip()
        try:
            body[name] = typed_number(typed) * factor if typed else None
        except RegistryError:
            body[name] = typed
    if request.POST.get("noticed") == "at_once":
        body["good_km"] = body["distance_km"]
    return body


def _take_back(request: HttpRequest, shown: Any) -> None:
    assert isinstance(request.user, User)
    number = request.POST["take_back"]
    events = {str(event.uuid): event for event in shown.events.all()}
    if number not in events:
        raise Http404
    unit_event_take_back(by=request.user, event=events[number])
