"""What was decided, by whom, and what of it was taken back; each can be undone from here."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from registry.models import Decision
from registry.moderation.guard import moderator_page

A_PAGE = 40


@moderator_page
def log(request: HttpRequest) -> HttpResponse:
    decisions = Decision.objects.select_related(
        "proposer__contributor", "approver__contributor", "undone_by__contributor"
    ).order_by("-pk")
    state = request.GET.get("state", "")
    if state in Decision.State.values:
        decisions = decisions.filter(state=state)
    pages = Paginator(decisions, A_PAGE).get_page(request.GET.get("page", 1))
    return render(
        request, "moderator/log.html", {"page": "desk", "pages": pages, "decisions": pages, "state": state}
    )
