"""The bench sheet: one form for everybody.  A module asks one reading at a time where scripts run.

The same post compares (nothing stored) and sends; the pattern is shown only after the readings are in.
"""

from __future__ import annotations

import json
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.views import redirect_to_login
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from registry.errors import RegistryErrors
from registry.formats.typed_number import whole_typed
from registry.models import Design, Job, User
from registry.models.jobs import JobStep, JobUnit
from registry.pages.bench_words import bench_words
from registry.pages.cautions import cautions_for
from registry.pages.comparison import compare_words
from registry.pages.jobs.access import job_asked, private
from registry.pages.jobs.benching import meter_of_job
from registry.pages.jobs.card import job_name
from registry.pages.preferences import distance_unit
from registry.pages.sheet_form import SheetFilled, SheetForm, first_pass, initial_values
from registry.pages.sheet_grid import SheetGrid, sheet_grid
from registry.permissions import Actor, require_here
from registry.selectors.bench_page import chart_shown, design_for_bench, last_meter
from registry.services.checks import sheet_preview
from registry.services.jobs.benching import unit_bench, unit_key
from registry.services.jobs.pictures import job_picture_add
from registry.services.pictures import picture_add
from registry.services.sheets import sheet_submit
from registry.templatetags.pattern import cell_key

MOST_SWEEPS = 5


def bench(request: HttpRequest, uuid: UUID) -> HttpResponseBase:
    """Empty on GET; on POST `act=compare` shows how it compares, `act=send` stores it.

    Opened for a job it is the new unit's sheet, which stays with the job until its people send it.
    """
    found = job_asked(request)
    if found is not None:
        return private(_bench(request, uuid, found))
    require_here("submit")  # said before anybody signs in or types
    if not isinstance(request.user, User):
        return redirect_to_login(request.get_full_path())
    return _bench(request, uuid, None)


def _bench(request: HttpRequest, uuid: UUID, found: tuple[Actor, Job] | None) -> HttpResponseBase:
    design = design_for_bench(uuid)
    if design is None:
        raise Http404
    chart = chart_shown(design)
    asked = request.POST if request.method == "POST" else request.GET
    grid = grid_asked(design, chart, asked)
    if request.method != "POST":
        return _page(request, design, grid, SheetForm(initial=_opening(request, found)), found=found)
    form = SheetForm(request.POST)
    first = first_pass(request.POST.get("first", ""))
    filled = form.body(str(design.uuid), grid, first)
    try:
        if request.POST.get("act") == "send":
            return _send(request, filled) if found is None else _keep(request, filled, *found)
        preview = sheet_preview(body=filled.body)
    except RegistryErrors as errors:
        wrong = filled.lay_errors(form, errors)
        return _page(request, design, grid, form, wrong=wrong, first=first, found=found)
    names = {cell_key(_place(place)): place.name for place in grid.places if place.sweep == 1}
    if first is None and chart is not None:  # from now on the pattern has been seen
        first = {place.name: request.POST.get(place.name, "").strip() for place in grid.places}
    compared = compare_words(preview, chart, names)
    return _page(request, design, grid, form, compared=compared, first=first, found=found)


def _opening(request: HttpRequest, found: tuple[Actor, Job] | None) -> dict[str, Any]:
    """The person's last meter, or the one of the job's other unit; what a link brings along."""
    meter, leads = last_meter(request.user) if isinstance(request.user, User) else (None, None)
    values = initial_values(meter, leads, distance_unit(request))
    values["rereads"] = request.GET.get("rereads", "")
    values["name"] = request.GET.get("number", "")[:200]  # of a blank sheet that was filled in by pencil
    if found is not None:
        values |= {"held_good": "new", "unit_key": unit_key(found[1], "new")} | meter_of_job(found[1])
    return values


def _keep(request: HttpRequest, filled: SheetFilled, actor: Actor, job: Job) -> HttpResponseBase:
    """The new unit's sheet stays with its job."""
    unit_bench(by=actor, job=job, of=JobUnit.NEW, body=filled.body)
    for upload in request.FILES.getlist("pictures"):
        try:
            job_picture_add(by=actor, job=job, step=JobStep.NEW_BENCHED, upload=upload)
        except RegistryErrors as errors:
            messages.warning(request, " ".join(str(error) for error in errors))
    messages.success(request, _("The new unit's sheet is kept in the job."))
    return redirect("job", uuid=job.uuid)


def _send(request: HttpRequest, filled: SheetFilled) -> HttpResponse:
    assert isinstance(request.user, User)
    sheet = sheet_submit(by=request.user, body=filled.body)
    for upload in request.FILES.getlist("pictures"):
        try:
            picture_add(by=request.user, sheet=sheet, upload=upload)
        except RegistryErrors as errors:
            messages.warning(request, " ".join(str(error) for error in errors))
    messages.success(request, _("Your sheet is in. The chart has been computed again."))
    return redirect("sheet", uuid=sheet.uuid)


def grid_asked(design: Design, chart: dict[str, Any] | None, asked: Any) -> SheetGrid:
    """Out-and-back and the gaps between detents are asked for in the address, and kept in the form."""
    sweeps = whole_typed(str(asked.get("sweeps", "1")), 1)
    return sheet_grid(
        design,
        chart=chart,
        sweeps=min(max(sweeps, 1), MOST_SWEEPS),
        between=asked.get("between") == "1",
    )


def _place(place: Any) -> dict[str, Any]:
    return place.row("")


def _page(
    request: HttpRequest,
    design: Design,
    grid: SheetGrid,
    form: SheetForm,
    *,
    wrong: dict[str, list[str]] | None = None,
    compared: dict[str, Any] | None = None,
    first: dict[str, str] | None = None,
    found: tuple[Actor, Job] | None = None,
) -> HttpResponse:
    values = {place.name: request.POST.get(place.name, "") for place in grid.places}
    context = {
        "design": design,
        "job": None if found is None else found[1],
        "job_name": "" if found is None else job_name(found[1]),
        "common": grid.common.label if grid.common else None,
        "grid": grid,
        "rows": grid.table(values, wrong or {}),
        "form": form,
        "wrong": wrong or {},
        "wrong_count": len(wrong or {}) + sum(len(errors) for errors in form.errors.values())
        if form.is_bound
        else 0,
        "compared": compared,
        "first": "" if first is None else json.dumps(first),
        "sweeps": max((sweep for _p, sweep, _b in grid.rows), default=1),
        "between": any(gap for _p, _s, gap in grid.rows),
        "bench_data": {
            "design": str(design.uuid) if found is None else f"job-{found[1].uuid}",
            "name": design.name,
            "steps": grid.steps(),
            "words": bench_words(),
        },
        "cautions": cautions_for("bench"),
        "may_ask_meter": True,
    }
    status = 400 if wrong is not None else 200
    return render(request, "contributor/bench.html", context, status=status)
