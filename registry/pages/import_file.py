"""A file with many units of a design: what each column means, what becomes of each cell, then the import."""

from __future__ import annotations

import base64
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry.errors import RegistryErrors
from registry.formats.column_roles import IGNORE, PIN
from registry.formats.design_template import design_template
from registry.models import Design, User
from registry.selectors.labels import DesignLabels
from registry.services.imports.files import MOST_CONTENT, file_import, file_preview

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
ROLE_WORDS = {
    IGNORE: gettext_lazy("left out"),
    "unit": gettext_lazy("the unit"),
    "submission": gettext_lazy("name of the sheet"),
    "position": gettext_lazy("position"),
    "pin": gettext_lazy("pin"),
    "against": gettext_lazy("against pin"),
    "reading": gettext_lazy("reading"),
    "sweep": gettext_lazy("sweep"),
    "between": gettext_lazy("between positions: yes or no"),
    "class": gettext_lazy("source class"),
    "held_good": gettext_lazy("why it is held good"),
    "limit_ohm": gettext_lazy("limit of the meter"),
    "lead_ohm": gettext_lazy("resistance of the leads"),
}
FATE_WORDS = {
    "taken": gettext_lazy("is taken"),
    "not_taken": gettext_lazy("not taken"),
    "left_out": gettext_lazy("left out"),
    "wrong": gettext_lazy("can't be read"),
}


@login_required
def import_file(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The file, then its preview with the columns to choose, then, with the very same bytes, the import."""
    assert isinstance(request.user, User)
    design = _design(uuid)
    context: dict[str, Any] = {"page": "bench", "design": design}
    if request.method != "POST":
        return render(request, "contributor/import.html", context)
    asked = _asked(request, design)
    try:
        if request.POST.get("act") == "import":
            done = file_import(by=request.user, asked=asked)
            messages.success(request, _("{n} sheets are stored, {known} were here already.").format(
                n=done["sheets_new"], known=done["sheets_known"]))  # fmt: skip
            return redirect("my_sheets")
        status = 200
    except RegistryErrors as problems:
        context["errors"], status = list(problems), 422
    try:
        context |= _shown(file_preview(by=request.user, asked=asked), design)
        context["kept"], context["measured"] = asked["content"], asked["measured_it_myself"]
    except RegistryErrors as problems:
        context["errors"], status = list(problems), 422
    return render(request, "contributor/import.html", context, status=status)


def _asked(request: HttpRequest, design: Design) -> dict[str, Any]:
    upload = request.FILES.get("file")
    kept = request.POST.get("kept", "")
    content = base64.b64encode(upload.read(MOST_CONTENT)).decode() if upload is not None else kept
    heads = request.POST.getlist("head")
    head_row = request.POST.get("head_row", "").strip()
    moved = head_row != request.POST.get("was_head_row", "")  # other heads: what they mean is guessed anew
    columns = (
        None
        if upload is not None or not heads or moved
        else dict(zip(heads, request.POST.getlist("role"), strict=False))
    )
    return {
        "content": content,
        "encoding": "base64",
        "design": str(design.uuid),
        "columns": columns,
        "head_row": int(head_row) if head_row.isdecimal() and upload is None and len(head_row) < 6 else None,
        "measured_it_myself": bool(request.POST.get("measured_it_myself")),
    }


def _shown(preview: dict[str, Any], design: Design) -> dict[str, Any]:
    pins = list(DesignLabels(design).pins)
    chosen = {column["role"] for column in preview["columns"]}
    roles = [
        *ROLE_WORDS.items(),
        *((f"{PIN}{pin}", _("readings of pin {pin}").format(pin=pin)) for pin in pins),
    ]
    pairs = sorted(role for role in chosen if role.startswith(PIN) and "/" in role)
    roles += [(role, _("readings of pin {pin}").format(pin=role.removeprefix(PIN))) for role in pairs]
    for error in preview["errors"]:
        at = str(error.get("column") or "")
        heads = preview["columns"]
        error["head"] = heads[int(at) - 1]["head"] if at.isdecimal() and 0 < int(at) <= len(heads) else ""
    for row in preview["rows"]:
        for cell in row["cells"]:
            cell["word"] = FATE_WORDS[cell["fate"]]
    return {"preview": preview, "roles": roles}


def template(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The design's own spreadsheet, to be filled in."""
    design = _design(uuid)
    common = design.connector.common
    pins = [pin.label for pin in design.connector.pins.all() if not pin.empty]
    if common is not None:
        pairs = [(pin, common.label) for pin in pins if pin != common.label]
    else:
        pairs = [(a, b) for n, a in enumerate(pins) for b in pins[n + 1 :]]
    positions = [position.label for position in design.positions.all()]
    answer = HttpResponse(design_template(positions=positions, pairs=pairs, pins=pins), content_type=XLSX)
    answer["Content-Disposition"] = f'attachment; filename="readings-{design.uuid}.xlsx"'
    return answer


def _design(uuid: UUID) -> Design:
    return get_object_or_404(Design.objects.select_related("connector__common"), uuid=uuid)
