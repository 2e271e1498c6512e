"""A whole unit from a file: chosen, looked at, sent."""

from __future__ import annotations

import base64
import binascii
import uuid as ids
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from registry.errors import RegistryErrors, refusal
from registry.formats.matrix_table import MOST_BYTES
from registry.models import Design, User
from registry.models.sheets import HeldGood, ReadAt
from registry.services.bulk_entry import matrix_blank, matrix_preview, matrix_submit

FIELDS = (
    "unit_key",
    "held_good",
    "source_class",
    "read_at",
    "units_claimed",
    "apart_shows",
    "lead_ohm",
    "note",
)


def _design(uuid: UUID) -> Design:
    return get_object_or_404(Design.objects.select_related("connector__common"), uuid=uuid)


@login_required
def matrix(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """First the file with its preview, then, with the very same bytes, the sending."""
    assert isinstance(request.user, User)
    design = _design(uuid)
    typed = {name: request.POST.get(name, "").strip() for name in FIELDS}
    context: dict[str, Any] = {
        "page": "bench",
        "design": design,
        "typed": typed,
        "held": [word for word in HeldGood.values if word != HeldGood.NO],
        "places": ReadAt.values,
        "client_id": request.POST.get("client_id") or str(ids.uuid4()),
    }
    if request.method != "POST":
        return render(request, "contributor/matrix.html", context)
    try:
        data = _data(request)
        context["kept"] = base64.b64encode(
            data
        ).decode()  # whatever else is wrong, it needn't be chosen again
        body = _body(request, typed, context["client_id"])
        if request.POST.get("act") == "send":
            sheet = matrix_submit(by=request.user, design=design, data=data, body=body)
            messages.success(request, _("Sent. What you typed is kept as it is."))
            return redirect("sheet", uuid=sheet.uuid)
        context["preview"] = matrix_preview(design=design, data=data, body=body)
    except RegistryErrors as problems:
        context["errors"] = list(problems)
        if any(error.field.startswith("/file") for error in problems):
            context["kept"] = ""  # it is the file that must be put right
        return render(request, "contributor/matrix.html", context, status=422)
    return render(request, "contributor/matrix.html", context)


def _data(request: HttpRequest) -> bytes:
    upload = request.FILES.get("file")
    if upload is not None:
        return bytes(upload.read(MOST_BYTES + 1))
    try:
        kept = base64.b64decode(request.POST.get("kept", ""), validate=True)
    except (binascii.Error, ValueError):
        kept = b""
    if not kept:
        raise refusal("file_missing", _("There is no file."), _("Choose one."), field="/file")
    return kept


def _body(request: HttpRequest, typed: dict[str, str], client_id: str) -> dict[str, Any]:
    return {
        "client_id": client_id,
        "unit": {"key": typed["unit_key"]},
        "held_good": typed["held_good"],
        "source_class": typed["source_class"],
        "read_at": typed["read_at"],
        "units_claimed": typed["units_claimed"] or "1",
        "note": typed["note"],
        "meter": {"apart_shows": typed["apart_shows"] or "OL", "lead_ohm": typed["lead_ohm"] or "0"},
        "measured_it_myself": bool(request.POST.get("measured_it_myself")),
    }


def blank(request: HttpRequest, uuid: UUID, form: str) -> HttpResponse:
    """The empty matrix of the design."""
    if form not in ("csv", "xlsx"):
        raise Http404
    design = _design(uuid)
    answer = HttpResponse(
        matrix_blank(design, as_xlsx=form == "xlsx"),
        content_type="text/csv; charset=utf-8"
        if form == "csv"
        else "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    )
    answer["Content-Disposition"] = f'attachment; filename="matrix-{design.uuid}.{form}"'
    return answer
