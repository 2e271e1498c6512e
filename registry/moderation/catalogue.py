"""Care of the catalogue: a design's data, merges, part numbers and what took whose place."""

from __future__ import annotations

from functools import partial
from uuid import UUID

from django.core.paginator import Paginator
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from registry.errors import RegistryError, RegistryErrors, refuse
from registry.models import Decision, Design, PartNumber, Supersession, part_key
from registry.models.catalogue import ConnectorViewing, DesignActuation
from registry.moderation.deciding import Asked, decide_posted
from registry.moderation.forms import design_changes, design_values
from registry.moderation.guard import moderator_page
from registry.selectors.designs import design_named
from registry.selectors.seen import case_seen
from registry.selectors.supersession import pattern_answer

A_PAGE = 30
Kind = Decision.Kind


@moderator_page
def catalogue(request: HttpRequest) -> HttpResponse:
    query = request.GET.get("q", "").replace("\0", "").strip()[:80]
    designs = Design.objects.select_related("maker", "merged_into").order_by("name")
    parts = PartNumber.objects.select_related("merged_into").order_by("number")
    if query:
        key = part_key(query) or "-"  # which no key holds
        designs = designs.filter(Q(name__icontains=query) | Q(key__contains=key))
        parts = parts.filter(key__contains=key)
    return render(
        request,
        "moderator/catalogue.html",
        {
            "page": "desk",
            "query": query,
            "designs": Paginator(designs, A_PAGE).get_page(request.GET.get("page", 1)),
            "parts": parts[:A_PAGE],
        },
    )


@moderator_page
def design(request: HttpRequest, uuid: UUID) -> HttpResponse:
    chosen = get_object_or_404(Design.objects.select_related("merged_into", "connector__common"), uuid=uuid)
    errors: list[RegistryError] = []
    if request.method == "POST":
        errors = decide_posted(request, "design", uuid, partial(_asked, chosen))
        if not errors:
            return redirect("desk_design", uuid=uuid)
    context = {
        "page": "desk",
        "design": chosen,
        "values": {**design_values(chosen), **({k: request.POST[k] for k in request.POST} if errors else {})},
        "viewings": ConnectorViewing.values,
        "actuations": DesignActuation.values,
        "errors": errors,
        "reason": request.POST.get("reason", ""),
        "decisions": _history("design", uuid),
        "seen": case_seen("design", uuid),
    }
    return render(request, "moderator/design.html", context, status=409 if errors else 200)


def _asked(chosen: Design, request: HttpRequest) -> Asked:
    act = request.POST.get("act", "")
    if act == "edit":
        try:
            on_edit = int(request.POST.get("on_edit", ""))
        except ValueError:
            on_edit = -1
        return Kind.EDIT_DESIGN, {"on_edit": on_edit, "set": design_changes(chosen, request.POST)}
    if act == "merge":
        try:
            return Kind.MERGE_DESIGNS, {"design": str(design_named(request.POST.get("design", "")).uuid)}
        except RegistryError as error:
            raise RegistryErrors([error.at(field="/payload/design")]) from None
    return Kind.CONFIRM_DESIGN, {}


def _history(target_kind: str, uuid: UUID) -> list[Decision]:
    about = Decision.objects.filter(target_kind=target_kind, target_uuid=uuid)
    return list(about.select_related("proposer__contributor", "undone_by__contributor").order_by("-pk"))


@moderator_page
def part(request: HttpRequest, uuid: UUID) -> HttpResponse:
    chosen = get_object_or_404(PartNumber.objects.select_related("merged_into"), uuid=uuid)
    errors: list[RegistryError] = []
    if request.method == "POST":
        errors = decide_posted(request, "part_number", uuid, _asked_of_part)
        if not errors:
            return redirect("desk_part", uuid=uuid)
    links = Supersession.objects.filter(Q(older=chosen) | Q(newer=chosen)).select_related("older", "newer")
    answered = [(link, pattern_answer(link.older, link.newer)) for link in links]
    context = {
        "page": "desk",
        "part": chosen,
        "designs": chosen.designs.all(),
        "links": [(link, answer, answer.confirms(link.same_pattern)) for link, answer in answered],
        "decisions": _history("part_number", uuid),
        "errors": errors,
        "reason": request.POST.get("reason", ""),
    }
    return render(request, "moderator/part.html", context, status=409 if errors else 200)


def _asked_of_part(request: HttpRequest) -> Asked:
    text = request.POST.get("other", "")
    other = PartNumber.objects.filter(key=part_key(text)).first()
    if other is None:
        message = _("There is no part number “{text}”.").format(text=text[:60])
        refuse("/payload/other", "part_unknown", message, _("Add it to its design first."))
    if request.POST.get("act") == "supersede":
        return Kind.SUPERSEDE, {
            "newer": str(other.uuid),
            "same_pattern": request.POST.get("same_pattern", "unknown"),
        }
    return Kind.MERGE_PARTS, {"part": str(other.uuid)}
