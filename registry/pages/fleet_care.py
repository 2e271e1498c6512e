"""An organisation's own matters: policy, members, the calendar's link, vehicles from a file."""

from __future__ import annotations

import base64
import binascii
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.debug import sensitive_variables

from registry.errors import RegistryError, RegistryErrors, refusal
from registry.formats.typed_number import whole_typed
from registry.models import Organisation, User
from registry.models.fleet import MemberRole
from registry.pages.fleet import organisation_or_404, person
from registry.pages.preferences import posted
from registry.permissions import role_in
from registry.selectors.fleet import members_of, wants_digest
from registry.services.fleet.organisations import (
    digest_want,
    feed_make,
    feed_withdraw,
    member_invite,
    member_join,
    member_set,
    organisation_leave,
    organisation_set,
)
from registry.services.fleet.table import HEADS, vehicles_import, vehicles_look

FIGURES = ("name", "policy_km", "next_km", "planned_cost", "breakdown_cost")


@login_required
def fleet_care(request: HttpRequest, uuid: UUID) -> HttpResponse:
    organisation = organisation_or_404(request, uuid)
    errors: list[RegistryError] = []
    shown: dict[str, str] = {}
    if request.method == "POST":
        try:
            shown = _act(request, person(request), organisation)
            if request.POST.get("act") == "leave":
                return redirect("fleets")
            if not shown:
                return redirect("fleet_care", uuid=uuid)
        except RegistryErrors as problems:
            errors = list(problems)
        organisation.refresh_from_db()
    context = {
        "page": "fleet",
        "organisation": organisation,
        "role": role_in(person(request), organisation),
        "members": members_of(organisation),
        "roles": [(code, word()) for code, word in ROLES.items()],
        "wants_digest": wants_digest(person(request), organisation),
        "typed": request.POST if errors else {},
        "shown": shown,
        "errors": errors,
    }
    return render(request, "fleet/care.html", context, status=422 if errors else 200)


ROLES = {
    MemberRole.OWNER: lambda: _("owner: members, policy, links"),
    MemberRole.WORKER: lambda: _("worker: vehicles, distances, units"),
    MemberRole.READER: lambda: _("reader"),
}


def _act(request: HttpRequest, user: User, organisation: Organisation) -> dict[str, str]:
    """What is shown once, if anything: a link."""
    act = request.POST.get("act", "")
    if act == "policy":
        body: dict[str, Any] = posted(request, FIGURES)
        body["shares_units"] = bool(request.POST.get("shares_units"))
        organisation_set(by=user, organisation=organisation, body=body)
        messages.success(request, _("Kept."))
    elif act == "invite":
        token = member_invite(by=user, organisation=organisation, role=request.POST.get("role", ""))
        return {"invitation": request.build_absolute_uri(reverse("fleet_join", args=[token]))}
    elif act == "feed":
        token = feed_make(by=user, organisation=organisation)
        return {"feed": request.build_absolute_uri(reverse("fleet_feed", args=[token]))}
    elif act == "no_feed":
        feed_withdraw(by=user, organisation=organisation)
    elif act == "digest":
        digest_want(by=user, organisation=organisation, wants=bool(request.POST.get("wants")))
    elif act == "member":
        member = organisation.memberships.filter(pk=whole_typed(request.POST.get("member", ""))).first()
        if member is None:
            raise Http404
        member_set(by=user, organisation=organisation, member=member, role=request.POST.get("role", ""))
    elif act == "leave":
        organisation_leave(by=user, organisation=organisation)
    else:
        raise Http404
    return {}


@login_required
@sensitive_variables("token")
def fleet_join(request: HttpRequest, token: str) -> HttpResponse:
    """Asked once more before the link is used: mail programs open links by themselves."""
    errors: list[RegistryError] = []
    if request.method == "POST":
        try:
            organisation = member_join(by=person(request), token=token)
            return redirect("fleet", uuid=organisation.uuid)
        except RegistryErrors as problems:
            errors = list(problems)
    context = {"page": "fleet", "errors": errors}
    return render(request, "fleet/join.html", context, status=422 if errors else 200)


@login_required
def fleet_table(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """First the file with what it would do, then, with the very same bytes, the storing."""
    organisation = organisation_or_404(request, uuid)
    context: dict[str, Any] = {"page": "fleet", "organisation": organisation, "fields": list(HEADS)}
    if request.method != "POST":
        return render(request, "fleet/table.html", context)
    try:
        data = _data(request)
        mapping = _mapping(request)
        if request.POST.get("act") == "store":
            n = vehicles_import(by=person(request), organisation=organisation, data=data, mapping=mapping)
            text = ngettext("{n} vehicle stored.", "{n} vehicles stored.", n).format(n=n)
            messages.success(request, text)
            return redirect("fleet", uuid=uuid)
        look = vehicles_look(by=person(request), organisation=organisation, data=data, mapping=mapping)
        context |= {"look": look, "kept": base64.b64encode(data).decode(), "columns": _columns(look)}
    except RegistryErrors as problems:
        context["errors"] = list(problems)
        return render(request, "fleet/table.html", context, status=422)
    return render(request, "fleet/table.html", context)


def _data(request: HttpRequest) -> bytes:
    kept = request.POST.get("kept")
    if kept:
        try:
            return base64.b64decode(kept, validate=True)
        except binascii.Error:
            raise Http404 from None
    upload = request.FILES.get("file")
    if upload is None:
        raise refusal("value_missing", _("No file was chosen."), _("Choose one."), field="/file")
    return upload.read()


def _mapping(request: HttpRequest) -> dict[str, int] | None:
    """As chosen on the page; None before anybody chose: by the heads of the columns."""
    chosen = {name: request.POST.get(f"column_{name}", "") for name in HEADS}
    if not any(f"column_{name}" in request.POST for name in HEADS):
        return None
    return {name: column for name, text in chosen.items() if (column := whole_typed(text, -1)) >= 0}


def _columns(look: Any) -> list[dict[str, Any]]:
    heads = list(enumerate(look.heads))
    return [{"name": name, "at": look.mapping.get(name), "heads": heads} for name in HEADS]
