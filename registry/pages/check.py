"""Check a suspect against the pattern, and find the design that readings fit.  Nothing is stored."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render

from registry.errors import RegistryErrors
from registry.models import Design, Job, User
from registry.pages.bench import grid_asked
from registry.pages.bench_words import bench_words
from registry.pages.candidates import candidates_of
from registry.pages.cautions import cautions_for
from registry.pages.front import HEAVY
from registry.pages.jobs.access import job_asked, private
from registry.pages.jobs.benching import check_kept, keep_form, meter_of_job, values_of_job
from registry.pages.jobs.card import job_name
from registry.pages.loose_form import LooseForm
from registry.pages.preferences import distance_unit
from registry.pages.sheet_form import SheetForm, meter_values
from registry.pages.verdict import verdict_words
from registry.selectors.bench_page import chart_shown, design_for_bench, last_meter
from registry.selectors.designs import search_designs
from registry.services.checks import check_suspect
from registry.templatetags.pattern import cell_key

FOUND = 12


def check(request: HttpRequest) -> HttpResponse:
    """Which switch is it?  Then its sheet."""
    query = request.GET.get("q", "").replace("\0", "").strip()[:200]
    context = {
        "page": "check",
        "query": query,
        "results": search_designs(query).filter(current_chart__isnull=False).defer(*HEAVY)[:FOUND],
    }
    return render(request, "technician/check.html", context)


def check_design(request: HttpRequest, uuid: UUID) -> HttpResponseBase:
    """The sheet of a suspect, and above it the verdict on what was typed, which can be kept as a job."""
    design = design_for_bench(uuid)
    if design is None:
        raise Http404
    chart = chart_shown(design)
    asked = request.POST if request.method == "POST" else request.GET
    grid = grid_asked(design, chart, asked)
    found = job_asked(request)
    form = SheetForm(request.POST or None)
    keeping = keep_form(request, distance_unit(request), bound=request.POST.get("act") == "keep")
    wrong: dict[str, list[str]] = {}
    verdict = None
    if request.method == "POST":
        filled = form.body(str(design.uuid), grid, None)
        filled.body["unit"]["key"] = filled.body["unit"]["key"] or "suspect"
        filled.body |= {"purpose": "suspect", "held_good": "", "client_id": None, "units_claimed": 1}
        if keeping.is_bound:
            kept = check_kept(request, found, str(design.uuid), filled.body, keeping)
            if kept is not None:
                return private(kept)
        try:
            verdict = check_suspect(body=filled.body)
        except RegistryErrors as errors:
            wrong = filled.lay_errors(form, errors)
        form.errors.pop("unit_key", None)
    values = {place.name: request.POST.get(place.name, "") for place in grid.places}
    if found is not None and request.method != "POST":
        values |= values_of_job(found[1], grid)
    names = {cell_key(place.row("")): place.name for place in grid.places if place.sweep == 1}
    context = {
        "page": "check",
        "design": design,
        "chart": chart,
        "grid": grid,
        "common": grid.common.label if grid.common else None,
        "rows": grid.table(values, wrong),
        "form": form if form.is_bound else SheetForm(initial=_initial(request, found)),
        "keeping": keeping,
        "job": None if found is None else found[1],
        "job_name": "" if found is None else job_name(found[1]),
        "wrong": wrong,
        "verdict": verdict_words(verdict, chart, design.uuid, names) if verdict and chart else None,
        "sweeps": max((sweep for _p, sweep, _b in grid.rows), default=1),
        "between": any(gap for _p, _s, gap in grid.rows),
        "cautions": cautions_for("check"),
        "bench_data": _bench_data(design, grid, found),
    }
    refused = wrong or keeping.errors or (form.is_bound and form.errors and verdict is None)
    page = render(request, "technician/check_design.html", context, status=400 if refused else 200)
    return page if found is None else private(page)


def _initial(request: HttpRequest, found: tuple[Any, Job] | None) -> dict[str, Any]:
    """Where it is read, and by which meter: the person's last, or the one of the job's other unit."""
    values: dict[str, Any] = {"read_at": "connector"}
    if found is None:
        return values
    values["read_at"] = "bench"
    if isinstance(request.user, User):
        meter, leads = last_meter(request.user)
        values |= {} if meter is None else meter_values(meter, leads)
    return values | meter_of_job(found[1])


def _bench_data(design: Design, grid: Any, found: tuple[Any, Job] | None) -> dict[str, Any]:
    return {
        "design": f"check-{design.uuid}" if found is None else f"check-job-{found[1].uuid}",
        "name": design.name,
        "steps": grid.steps(),
        "words": bench_words(),
    }


def identify(request: HttpRequest) -> HttpResponse:
    """Which switch is this?  From readings alone, pins in any order."""
    form = LooseForm(request.POST or None)
    found, wrong = candidates_of(form) if request.method == "POST" else (None, [])
    context = {
        "page": "check",
        "form": form,
        "wrong": wrong,
        "found": found,
        "cautions": cautions_for("check"),
    }
    return render(request, "technician/identify.html", context, status=400 if wrong else 200)
