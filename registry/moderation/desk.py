"""The desk: the queue at the left, one case at the right; decided by a form, or by key."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_POST

from registry.errors import RegistryError, RegistryErrors
from registry.models import Decision, Design, Dispute
from registry.moderation.guard import moderator_page, person
from registry.moderation.words import KINDS, case_line, decided_words
from registry.selectors.queue import Case, parked_designs, queue
from registry.services.case_decide import bulk_correct, case_decide, claim_leave, claim_take
from registry.services.cases import CasePage, case_page
from registry.services.decisions import undo
from registry.services.disputes import dispute_write
from registry.services.refreshes import refresh_retry

UNDO_WITHIN = timedelta(hours=12)


@moderator_page
@require_GET
def desk(request: HttpRequest) -> HttpResponse:
    """The queue with its heaviest case."""
    cases = _queue(request)
    if not cases:
        return _screen(request, cases, None)
    return _screen(request, cases, _page(request, cases[0].kind, cases[0].uuid))


@moderator_page
@require_GET
def case(request: HttpRequest, kind: str, uuid: UUID) -> HttpResponse:
    return _screen(request, _queue(request), _page(request, kind, uuid))


def _queue(request: HttpRequest) -> list[Case]:
    kind = request.GET.get("kind", "")
    try:
        design = UUID(request.GET["design"]) if request.GET.get("design") else None
    except ValueError:
        design = None
    mine = person(request) if request.GET.get("mine") else None
    return queue(kind=kind if kind in KINDS else "", design=design, mine=mine)


def _page(request: HttpRequest, kind: str, uuid: UUID) -> CasePage:
    try:
        return case_page(by=person(request), kind=kind, uuid=uuid)
    except RegistryError as error:
        raise Http404(str(error)) from None


def _screen(
    request: HttpRequest,
    cases: list[Case],
    page: CasePage | None,
    errors: list[RegistryError] | None = None,
    typed: dict[str, str] | None = None,
) -> HttpResponse:
    named = None if page is None else (page.kind, page.uuid)
    lines = [case_line(one, current=(one.kind, one.uuid) == named) for one in cases]
    place = next((n for n, line in enumerate(lines) if line.current), None)
    context: dict[str, Any] = {
        "page": "desk",
        "lines": lines,
        "case": page,
        "claim": None if place is None else lines[place].case.claimed_by,
        "earlier": lines[place - 1].case if place else None,
        "later": lines[place + 1].case if place is not None and place + 1 < len(lines) else None,
        "kinds": [(word, name()) for word, name in KINDS.items()],
        "several": [line for line in lines if line.several],
        "query": _kept_query(request),
        "last": _last(request),
        "parked": parked_designs(),
        "errors": errors or [],
        "typed": typed or {},
    }
    return render(request, "moderator/desk.html", context, status=409 if errors else 200)


def _kept_query(request: HttpRequest) -> str:
    kept = request.GET.copy()
    for name in list(kept):
        if name not in ("kind", "design", "mine"):
            del kept[name]
    return f"?{kept.urlencode()}" if kept else ""


def _last(request: HttpRequest) -> Decision | None:
    """The decision that the person made last, while it can be taken back at once."""
    mine = Decision.objects.filter(proposer=person(request), created_at__gt=timezone.now() - UNDO_WITHIN)
    last = mine.exclude(kind=Decision.Kind.UNDO, state="in_force").order_by("-pk").first()
    return last if last is not None and last.state in ("in_force", "waiting") else None


@moderator_page
@require_POST
def case_act(request: HttpRequest, kind: str, uuid: UUID) -> HttpResponse:
    """Decide; then the next case.  A stale page comes back as it is now, with what was typed."""
    act = request.POST.get("act", "")
    reason = request.POST.get("reason", "")
    try:
        decision = case_decide(
            by=person(request),
            kind=kind,
            uuid=uuid,
            act=act,
            reason=reason,
            seen=request.POST.get("seen") or None,
            asked=request.POST.get(f"asked_{act}", ""),
        )
    except RegistryErrors as problems:
        typed = {"act": act, "reason": reason, "asked": request.POST.get(f"asked_{act}", "")}
        return _screen(request, _queue(request), _page(request, kind, uuid), list(problems), typed)
    except RegistryError as error:
        raise Http404(str(error)) from None
    messages.success(request, decided_words(decision))
    return redirect(_next_address(request))


def _next_address(request: HttpRequest) -> str:
    cases = _queue(request)
    query = _kept_query(request)
    if not cases:
        return reverse("desk") + query
    return reverse("case", args=[cases[0].kind, cases[0].uuid]) + query


@moderator_page
@require_POST
def decision_undo(request: HttpRequest, uuid: UUID) -> HttpResponse:
    decision = get_object_or_404(Decision, uuid=uuid)
    try:
        done = undo(by=person(request), decision=decision, reason=request.POST.get("reason", ""))
    except RegistryErrors as problems:
        for problem in problems:
            messages.error(request, str(problem))
    else:
        waits = done.state == Decision.State.WAITING
        said = decided_words(done) if waits else _("Taken back. What was there before is there again.")
        messages.success(request, said)
    return redirect(_ours(request.POST.get("back", "")))


def _ours(address: str) -> str:
    """The address where somebody came from, if it is one of this site."""
    ours = address and url_has_allowed_host_and_scheme(address, allowed_hosts=None)
    return address if ours else reverse("desk")


@moderator_page
@require_POST
def several(request: HttpRequest) -> HttpResponse:
    """The suggested correction for each chosen sheet."""
    chosen = []
    for text in request.POST.getlist("sheet"):
        try:
            chosen.append(UUID(text))
        except ValueError:
            continue
    try:
        done, left = bulk_correct(by=person(request), sheets=chosen, reason=request.POST.get("reason", ""))
    except PermissionDenied as refusal:
        messages.error(request, str(refusal))
        return redirect("desk")
    text = ngettext("{n} sheet corrected.", "{n} sheets corrected.", len(done)).format(n=len(done))
    messages.success(request, text)
    for sentence in left:
        messages.error(request, sentence)
    return redirect("desk")


@moderator_page
@require_POST
def claim(request: HttpRequest, kind: str, uuid: UUID) -> HttpResponse:
    if request.POST.get("leave"):
        claim_leave(by=person(request), kind=kind, uuid=uuid)
    else:
        try:
            claim_take(by=person(request), kind=kind, uuid=uuid)
        except RegistryErrors as problems:
            messages.error(request, str(problems))
    return redirect(reverse("case", args=[kind, uuid]) + _kept_query(request))


@moderator_page
@require_POST
def refresh_again(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """A parked design is tried once more."""
    design = get_object_or_404(Design, uuid=uuid)
    refresh_retry(by=person(request), design=design)
    messages.success(request, _("{name} is tried again.").format(name=design.name))
    return redirect("desk")


@moderator_page
@require_POST
def thread_write(request: HttpRequest, uuid: UUID) -> HttpResponse:
    dispute = get_object_or_404(Dispute, uuid=uuid)
    try:
        dispute_write(by=person(request), dispute=dispute, text=request.POST.get("text", ""))
    except RegistryErrors as problems:
        messages.error(request, str(problems))
    return redirect("case", kind="dispute", uuid=uuid)
