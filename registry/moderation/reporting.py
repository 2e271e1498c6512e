"""Workshops that say they report a whole fleet: confirm it, or end it."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from registry.errors import RegistryErrors
from registry.moderation.guard import moderator_page, person
from registry.selectors.unit_history import reports_for_care
from registry.services.lives.cohorts import fleet_confirm, fleet_end

ACTS = {"confirm": fleet_confirm, "end": fleet_end}


@moderator_page
def reporting(request: HttpRequest) -> HttpResponse:
    rows = list(reports_for_care())
    if request.method == "POST":
        act, _colon, asked = request.POST.get("act", "").partition(":")
        report = next((row for row in rows if str(row.uuid) == asked), None)
        if report is None or act not in ACTS:
            raise Http404
        try:
            ACTS[act](by=person(request), report=report)
            messages.success(request, _("Done."))
        except RegistryErrors as errors:
            messages.error(request, " ".join(str(error) for error in errors))
        return redirect("desk_reporting")
    return render(request, "moderator/reporting.html", {"page": "desk", "rows": rows})
