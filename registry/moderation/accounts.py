"""Accounts under care: what one sent, suspension, all its sheets set aside or brought back in one act."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from registry.errors import RegistryErrors
from registry.models import Decision
from registry.moderation.guard import moderator_page, person
from registry.moderation.words import decided_words
from registry.selectors.accounts_care import account_care, accounts_for_care
from registry.services.decisions import decide

A_PAGE = 30
ACTS = {"suspend": Decision.Kind.SUSPEND, "set_aside": Decision.Kind.SET_ASIDE_ACCOUNT}


@moderator_page
def accounts(request: HttpRequest) -> HttpResponse:
    query = request.GET.get("q", "").replace("\0", "").strip()[:80]
    pages = Paginator(accounts_for_care(query), A_PAGE).get_page(request.GET.get("page", 1))
    return render(
        request, "moderator/accounts.html", {"page": "desk", "query": query, "pages": pages, "rows": pages}
    )


@moderator_page
def account(request: HttpRequest, uuid: UUID) -> HttpResponse:
    care = account_care(uuid)
    if care is None:
        raise Http404
    errors = []
    if request.method == "POST" and request.POST.get("act") in ACTS:
        try:
            decision = decide(
                by=person(request),
                kind=ACTS[request.POST["act"]],
                target_kind="account",
                target_uuid=uuid,
                reason=request.POST.get("reason", ""),
                seen=request.POST.get("seen") or None,
            )
        except RegistryErrors as problems:
            errors = list(problems)
            care = account_care(uuid)
        else:
            messages.success(request, decided_words(decision))
            return redirect("desk_account", uuid=uuid)
    context = {"page": "desk", "care": care, "errors": errors, "reason": request.POST.get("reason", "")}
    return render(request, "moderator/account.html", context, status=409 if errors else 200)
