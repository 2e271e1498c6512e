"""Invitations to moderate: moderators send, agree to and withdraw them; whoever got one takes it, once."""

from __future__ import annotations

from functools import partial
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from registry.errors import RegistryErrors
from registry.moderation.guard import moderator_page, person
from registry.second_factor import second_factor_kept
from registry.selectors.accounts_care import invitations_sent, moderators_named
from registry.services.invitations import (
    invitation_agree,
    invitation_make,
    invitation_of,
    invitation_take,
    invitation_withdraw,
)
from registry.services.signed_in import sessions_end_unproven
from registry.translation import gettext as _


@moderator_page
def invitations(request: HttpRequest) -> HttpResponse:
    """Those sent, the form for one more; a post sends, agrees to or ends one."""
    errors: list[object] = []
    email = request.POST.get("email", "")
    if request.method == "POST":
        try:
            said = _posted(request, email)
        except RegistryErrors as wrong:
            errors = list(wrong)
        else:
            if said:
                messages.success(request, said)
            return redirect("desk_invitations")
    context = {
        "page": "desk",
        "rows": invitations_sent(),
        "people": moderators_named(),
        "errors": errors,
        "email": email,
    }
    return render(request, "moderator/invitations.html", context, status=400 if errors else 200)


def _posted(request: HttpRequest, email: str) -> str:
    """What was done, in words; "" for nothing."""
    by = person(request)
    if "withdraw" in request.POST:
        uuid = _uuid(request.POST["withdraw"])
        gone = uuid is not None and invitation_withdraw(by=by, uuid=uuid)
        return _("The link works no more.") if gone else ""
    if "agree" in request.POST:
        uuid = _uuid(request.POST["agree"])
        sent = uuid is not None and invitation_agree(by=by, uuid=uuid, link=partial(_address, request))
        return _("The invitation is on its way by mail.") if sent else ""
    made, address = invitation_make(by=by, email=email, link=partial(_address, request))
    if not address:
        return _("Another moderator must agree before the invitation is sent.")
    if made.opens_at is None:
        return _("The invitation is on its way by mail.")
    return _(
        "The invitation is on its way by mail. There is no second moderator: it works from {day} on."
    ).format(day=made.opens_at.date().isoformat())


def _address(request: HttpRequest, token: str) -> str:
    return request.build_absolute_uri(reverse("invitation", args=[token]))


def _uuid(text: str) -> UUID | None:
    try:
        return UUID(text)
    except ValueError:
        return None


@login_required
def invitation(request: HttpRequest, token: str) -> HttpResponse:
    """What the link in the mail opens: asked once more, so that no program that follows links uses it up."""
    if request.method != "POST":
        return _page(request, token)
    try:
        invitation_take(by=person(request), token=token)
    except RegistryErrors as wrong:
        return _page(request, token, list(wrong))
    sessions_end_unproven(by=person(request), here=request.session.session_key)
    if second_factor_kept(person(request)):
        messages.success(request, _("You are a moderator now."))
        return redirect("desk")
    messages.success(request, _("You are a moderator once you have a second factor: a passkey or an app."))
    return redirect("mfa_index")


def _page(request: HttpRequest, token: str, errors: list[object] | None = None) -> HttpResponse:
    found = invitation_of(token)
    context = {
        "page": "account",
        "invitation": found,
        "ours": found is not None and found.email == person(request).email,
        "errors": errors or [],
    }
    response = render(request, "moderator/invitation.html", context, status=400 if errors else 200)
    response["Cache-Control"] = "no-store"
    response["Referrer-Policy"] = "no-referrer"
    return response
