"""Accounts under care: what one sent, suspension, all its sheets set aside or brought back in one act."""

from __future__ import annotations

from uuid import UUID

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from registry.errors import RegistryError
from registry.models import Decision
from registry.moderation.deciding import decide_posted
from registry.moderation.guard import moderator_page, person
from registry.selectors.accounts_care import account_care, accounts_for_care
from registry.services.habits import habits_of

A_PAGE = 30
ACTS = {
    "suspend": Decision.Kind.SUSPEND,
    "set_aside": Decision.Kind.SET_ASIDE_ACCOUNT,
    "end_moderating": Decision.Kind.END_MODERATING,
}


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
    errors: list[RegistryError] = []
    if request.method == "POST" and request.POST.get("act") in ACTS:
        errors = decide_posted(request, "account", uuid, lambda asked: (ACTS[asked.POST["act"]], {}))
        if not errors:
            return redirect("desk_account", uuid=uuid)
        care = account_care(uuid) or care
    context = {
        "page": "desk",
        "care": care,
        "habits": habits_of(care.contributor, by=person(request)),
        "errors": errors,
        "reason": request.POST.get("reason", ""),
    }
    return render(request, "moderator/account.html", context, status=409 if errors else 200)
