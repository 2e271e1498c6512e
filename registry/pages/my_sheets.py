"""My sheets, one sheet, and what its contributor can do with it."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from registry.errors import RegistryErrors
from registry.formats.figures import in_unit
from registry.formats.sentences import finding_message
from registry.formats.typed_number import whole_typed
from registry.models import Sheet, SheetVersion, User
from registry.pages.preferences import distance_unit
from registry.pages.sheet_form import AmendForm, meter_values, plain_ohm
from registry.pages.sheet_grid import sheet_grid
from registry.pages.sheet_table import sheet_table
from registry.permissions import may, require
from registry.selectors.bench_page import chart_shown
from registry.selectors.my_sheets import readings_of, sheet_for_page, sheets_of
from registry.services.allowance import allowance_of
from registry.services.pictures import picture_add
from registry.services.sheets import sheet_amend, sheet_restore, sheet_withdraw

A_PAGE = 25


@login_required
def my_sheets(request: HttpRequest) -> HttpResponse:
    assert isinstance(request.user, User)
    page = Paginator(sheets_of(request.user), A_PAGE).get_page(request.GET.get("page", 1))
    rows = [
        {"sheet": sheet, "version": sheet.current[0] if sheet.current else None, "says": finding_of(sheet)}
        for sheet in page
    ]
    context = {"page": "mine", "sheets": page, "rows": rows, "allowance": allowance_of(request.user)}
    return render(request, "contributor/my_sheets.html", context)


def sheet(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """A sheet as typed, what was found of it, and its versions."""
    shown = _sheet(uuid)
    owner = may(request.user, "amend", shown)
    if shown.withdrawn_at is not None and not owner and not may(request.user, "moderate"):
        return render(request, "contributor/sheet_gone.html", {"page": "", "sheet": shown}, status=410)
    versions = list(shown.versions.all())
    number = request.GET.get("version", "")
    version = next((v for v in versions if str(v.number) == number), None) or _current(versions)
    finding = getattr(shown, "finding", None)
    context = {
        "page": "mine",
        "sheet": shown,
        "version": version,
        "versions": versions,
        "is_old": not version.is_current,
        "says": finding_of(shown),
        "table": sheet_table(
            readings_of(version),
            shown.design.connector.common,
            finding.body if finding and version.is_current else None,
        ),
        "owner": owner,
    }
    return render(request, "contributor/sheet.html", context)


@login_required
def amend(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The same form, filled with what was typed; what is sent becomes a new version."""
    assert isinstance(request.user, User)
    shown = _sheet(uuid)
    require(request.user, "amend", shown)
    version = _current(list(shown.versions.all()))
    readings = list(readings_of(version))
    grid = sheet_grid(
        shown.design,
        chart=chart_shown(shown.design),
        sweeps=max((r.sweep for r in readings), default=1),
        between=any(r.place.between for r in readings),
    )
    if request.method != "POST":
        values = _typed(grid, readings)
        form = AmendForm(initial=_values(shown, version, readings, distance_unit(request)))
        return _amend_page(request, shown, grid, form, values)
    form = AmendForm(request.POST)
    filled = form.body(str(shown.design.uuid), grid, None)
    on_version = request.POST.get("on_version", "")
    try:
        sheet_amend(
            by=request.user,
            sheet=shown,
            on_version=whole_typed(on_version),
            body=filled.body,
            reason=request.POST.get("reason", ""),
        )
    except RegistryErrors as errors:
        values = {place.name: request.POST.get(place.name, "") for place in grid.places}
        wrong = filled.lay_errors(form, errors)
        return _amend_page(request, shown, grid, form, values, wrong)
    messages.success(request, _("A new version is in; the old one stays."))
    return redirect("sheet", uuid=shown.uuid)


@login_required
@require_POST
def withdraw(request: HttpRequest, uuid: UUID) -> HttpResponse:
    assert isinstance(request.user, User)
    shown = _sheet(uuid)
    reason = request.POST.get("reason", "").strip()
    require(request.user, "withdraw", shown)
    if not reason:
        messages.error(request, _("Say in a few words why; then it can be withdrawn."))
        return redirect("sheet", uuid=shown.uuid)
    sheet_withdraw(by=request.user, sheet=shown, reason=reason)
    messages.success(request, _("The sheet no longer counts. You can bring it back at any time."))
    return redirect("sheet", uuid=shown.uuid)


@login_required
@require_POST
def restore(request: HttpRequest, uuid: UUID) -> HttpResponse:
    assert isinstance(request.user, User)
    shown = _sheet(uuid)
    try:
        sheet_restore(by=request.user, sheet=shown)
    except RegistryErrors as errors:
        for error in errors:
            messages.error(request, str(error))
    else:
        messages.success(request, _("The sheet counts again."))
    return redirect("sheet", uuid=shown.uuid)


@login_required
@require_POST
def picture(request: HttpRequest, uuid: UUID) -> HttpResponse:
    assert isinstance(request.user, User)
    shown = _sheet(uuid)
    require(request.user, "add_picture", shown)
    try:
        for upload in request.FILES.getlist("pictures"):
            picture_add(by=request.user, sheet=shown, upload=upload)
    except RegistryErrors as errors:
        messages.error(request, " ".join(str(error) for error in errors))
    return redirect("sheet", uuid=shown.uuid)


def picture_file(request: HttpRequest, uuid: UUID, order: int) -> HttpResponse | FileResponse:
    """A picture of a sheet, for its contributor and for moderators."""
    shown = _sheet(uuid)
    if not (may(request.user, "amend", shown) or may(request.user, "moderate")):
        raise Http404
    found = next((p for p in shown.pictures.all() if p.order == order), None)
    if found is None:
        raise Http404
    return FileResponse(found.image.open("rb"), content_type="image/jpeg")


def finding_of(shown: Sheet) -> str:
    """The finding in a sentence; empty where there is none yet."""
    finding = getattr(shown, "finding", None)
    if finding is None:
        return ""
    connector = shown.design.connector
    return finding_message(finding.body, connector.common.label if connector.common else None)


def _sheet(uuid: UUID) -> Sheet:
    shown = sheet_for_page(uuid)
    if shown is None:
        raise Http404
    return shown


def _current(versions: list[SheetVersion]) -> SheetVersion:
    return next(version for version in versions if version.is_current)


def _typed(grid: Any, readings: list[Any]) -> dict[str, str]:
    """Field name → as typed."""
    by_place = {
        (r.place.position_id, r.place.between, r.sweep, frozenset((r.place.pin_a_id, r.place.pin_b_id))): r
        for r in readings
    }
    typed = {}
    for place in grid.places:
        ends = frozenset((place.pin.pk, place.against.pk))
        reading = by_place.get((place.position.pk, place.between, place.sweep, ends))
        if reading is not None:
            typed[place.name] = reading.as_typed
    return typed


def _values(shown: Sheet, version: SheetVersion, readings: list[Any], unit_of: str) -> dict[str, Any]:
    unit = shown.unit
    values = {
        "on_version": version.number,
        "unit_key": unit.key,
        "tag_code": unit.tag_code,
        "date_code": unit.date_code,
        "part_number": unit.part_number.number if unit.part_number else "",
        "held_good": version.held_good,
        "source_class": version.source_class,
        "read_at": version.read_at,
        "read_on": version.read_on.isoformat() if version.read_on else "",
        "distance": "" if version.distance_km is None else f"{in_unit(version.distance_km, unit_of):.12g}",
        "distance_unit": unit_of,
        "units_claimed": version.units_claimed,
        "note": version.note,
        "measured_it_myself": True,
    }
    lead = readings[0].lead_ohm if readings else None
    if version.meter is not None:
        return values | meter_values(version.meter, lead)
    if readings:
        values |= {"lead_ohm": plain_ohm(lead), "limit_ohm": plain_ohm(readings[0].limit_ohm)}
    return values


def _amend_page(
    request: HttpRequest,
    shown: Sheet,
    grid: Any,
    form: AmendForm,
    values: dict[str, str],
    wrong: dict[str, list[str]] | None = None,
) -> HttpResponse:
    context = {
        "page": "mine",
        "sheet": shown,
        "design": shown.design,
        "grid": grid,
        "common": grid.common.label if grid.common else None,
        "rows": grid.table(values, wrong or {}),
        "form": form,
        "wrong": wrong or {},
    }
    status = 200 if wrong is None else 400
    return render(request, "contributor/amend.html", context, status=status)
