"""Invitations to moderate: whoever moderates sends and withdraws them; whoever got one takes it, once."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from registry.errors import RegistryErrors
from registry.moderation.guard import moderator_page, person
from registry.second_factor import second_factor_kept
from registry.selectors.accounts_care import invitations_sent
from registry.services.invitations import (
    invitation_make,
    invitation_of,
    invitation_take,
    invitation_withdraw,
)
from registry.translation import gettext as _


@moderator_page
def invitations(request: HttpRequest) -> HttpResponse:
    """Those sent, the form for one more; a post sends or, with `withdraw`, ends one."""
    errors, email = [], request.POST.get("email", "")
    if request.method == "POST" and request.POST.get("withdraw"):
        try:
            gone = invitation_withdraw(by=person(request), uuid=UUID(request.POST["withdraw"]))
        except ValueError:
            gone = False
        if gone:
            messages.success(request, _("The link works no more."))
        return redirect("desk_invitations")
    if request.method == "POST":
        try:
            invitation_make(
                by=person(request),
                email=email,
                link=lambda token: request.build_absolute_uri(reverse("invitation", args=[token])),
            )
        except RegistryErrors as wrong:
            errors = list(wrong)
        else:
            messages.success(request, _("The invitation is on its way by mail."))
            return redirect("desk_invitations")
    context = {"page": "desk", "rows": invitations_sent(), "errors": errors, "email": email}
    return render(request, "moderator/invitations.html", context, status=400 if errors else 200)


@login_required
def invitation(request: HttpRequest, token: str) -> HttpResponse:
    """What the link in the mail opens: asked once more, so that no program that follows links uses it up."""
    if request.method != "POST":
        return _page(request, token)
    try:
        invitation_take(by=person(request), token=token)
    except RegistryErrors as wrong:
        return _page(request, token, list(wrong))
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
