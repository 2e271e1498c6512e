"""Disputing something, the thread about it, and what somebody is told."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_POST

from registry.errors import RegistryError, RegistryErrors
from registry.formats.notice_words import notice_sentence
from registry.models import Contributor, Decision, Design, Dispute, JobFact, Notice, Sheet, Target, User
from registry.selectors.disputes import decisions_about, dispute_for_page, notice_address
from registry.services.decisions import agree
from registry.services.disputes import dispute_open, dispute_take_back, dispute_write, may_write
from registry.services.notices import mail_again, mail_stop, notices_read

A_PAGE = 30
CELL = ("position", "pin", "against")


def _person(request: HttpRequest) -> User:
    assert isinstance(request.user, User)
    return request.user


@login_required
def dispute_new(request: HttpRequest, kind: str, uuid: UUID) -> HttpResponse:
    """A reason against a sheet, a design or one of its cells; an appeal against a suspension."""
    about = _about(kind, uuid)
    if about is None:
        raise Http404
    asked = request.POST if request.method == "POST" else request.GET
    cell = {name: asked.get(name, "") for name in CELL} | {
        "between": asked.get("between", "") in ("1", "True")
    }
    errors: list[RegistryError] = []
    if request.method == "POST":
        try:
            dispute = dispute_open(
                by=_person(request),
                target_kind=kind,
                target_uuid=uuid,
                target_cell=cell if kind == Target.CELL else None,
                reason=request.POST.get("reason", ""),
            )
        except RegistryErrors as problems:
            errors = list(problems)
        else:
            return redirect("dispute", uuid=dispute.uuid)
    context = {
        "page": "disputes",
        "kind": kind,
        "about": about,
        "cell": cell,
        "errors": errors,
        "reason": asked.get("reason", ""),
    }
    return render(request, "technician/dispute_new.html", context, status=422 if errors else 200)


def _about(kind: str, uuid: UUID) -> Any:
    models: dict[str, Any] = {
        Target.SHEET: Sheet.objects.select_related("design"),
        Target.CELL: Design.objects,
        Target.DESIGN: Design.objects,
        Target.ACCOUNT: Contributor.objects,
        Target.FACT: JobFact.objects.select_related("design"),
    }
    return models[kind].filter(uuid=uuid).first() if kind in models else None


def dispute(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The thread.  Open to read, but for an appeal: that is between its owner and the moderators."""
    shown = dispute_for_page(uuid)
    if shown is None:
        raise Http404
    writer = isinstance(request.user, User) and may_write(request.user, shown)
    if shown.target_kind == Target.ACCOUNT and not writer:
        raise PermissionDenied(_("An appeal is between its owner and the moderators."))
    errors: list[RegistryError] = []
    if request.method == "POST" and not request.user.is_authenticated:
        return redirect_to_login(request.get_full_path())
    if request.method == "POST":
        try:
            if request.POST.get("act") == "take_back":
                dispute_take_back(by=_person(request), dispute=shown)
            else:
                dispute_write(by=_person(request), dispute=shown, text=request.POST.get("text", ""))
            return redirect("dispute", uuid=uuid)
        except RegistryErrors as problems:
            errors = list(problems)
    context = {
        "page": "disputes",
        "dispute": shown,
        "about": _about(shown.target_kind, shown.target_uuid),
        "decisions": decisions_about(shown),
        "can_write": writer and shown.state == Dispute.State.OPEN,
        "own": shown.opened_by == request.user,
        "errors": errors,
        "text": request.POST.get("text", ""),
    }
    return render(request, "technician/dispute.html", context, status=422 if errors else 200)


@login_required
@require_POST
def decision_agree(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The contributor says that a decision about their sheet is right."""
    decision = get_object_or_404(Decision, uuid=uuid)
    agree(by=_person(request), decision=decision)
    messages.success(request, _("Thank you. What you typed stays; the decision is laid over it."))
    return redirect("sheet", uuid=decision.target_uuid)


@login_required
def notices(request: HttpRequest) -> HttpResponse:
    """What somebody was told; reading the page marks all as read."""
    user = _person(request)
    if request.method == "POST":
        mail_again(by=user)
        return redirect("notices")
    pages = Paginator(Notice.objects.filter(user=user), A_PAGE).get_page(request.GET.get("page", 1))
    waiting = {
        str(uuid)
        for uuid in Decision.objects.filter(
            state=Decision.State.WAITING,
            uuid__in=[n.params.get("decision") for n in pages if n.code == "decision_proposed"],
        ).values_list("uuid", flat=True)
    }
    lines = [
        {
            "notice": notice,
            "says": notice_sentence(notice.code, notice.params),
            "address": notice_address(notice),
            "decision": notice.params.get("decision") if notice.params.get("decision") in waiting else None,
        }
        for notice in pages
    ]
    answer = render(request, "contributor/notices.html", {"page": "account", "pages": pages, "lines": lines})
    notices_read(by=user)
    return answer


@csrf_exempt  # a mail program posts here by itself (RFC 8058); the token is the proof
def mail_stopped(request: HttpRequest, token: str) -> HttpResponse:
    """Ends the mail.  By a click that asks once more, or by the mail program's own button."""
    if request.method != "POST":
        return render(request, "contributor/mail_stop.html", {"page": "", "done": False})
    if not mail_stop(token=token):
        raise Http404
    return render(request, "contributor/mail_stop.html", {"page": "", "done": True})
