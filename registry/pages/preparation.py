"""The preparation list of a design: what must be at hand before a switch comes out, and what people say."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.views import redirect_to_login
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from registry.errors import RegistryError, RegistryErrors
from registry.formats.fact_questions import BY_CODE, QUESTIONS
from registry.formats.fact_words import choice_says, quantity_says, quantity_words
from registry.models import Contributor, Design, FactAnswer, JobFact, User
from registry.pages.cautions import cautions_for
from registry.selectors.facts import FactLine, facts_of
from registry.services.facts import fact_answer, fact_take_back

SOURCES = {
    FactAnswer.Source.DID_IT: lambda: _("I did it on this design"),
    FactAnswer.Source.SAW_IT: lambda: _("I saw it done"),
    FactAnswer.Source.PROCEDURE: lambda: _("The maker's procedure says so"),
}
ASKED = ("question", "subject", "answer", "quantity", "source", "note")


def preparation(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Read by all; answered by who is signed in.  What was typed comes back beside its error."""
    design = get_object_or_404(Design.objects.prefetch_related("part_numbers"), uuid=uuid)
    errors: list[RegistryError] = []
    if request.method == "POST":
        if not isinstance(request.user, User):
            return redirect_to_login(request.get_full_path())
        try:
            _answer(request, request.user, design)
            return redirect("preparation", uuid=uuid)
        except RegistryErrors as problems:
            errors = list(problems)
    context = {
        "page": "preparation",
        "design": design,
        "lines": [_shown(line) for line in _lines(request, design)],
        "asking": _asking(request),
        "sources": [(code, words()) for code, words in SOURCES.items()],
        "typed": request.POST,
        "errors": errors,
        "cautions": cautions_for("before"),
    }
    return render(request, "technician/preparation.html", context, status=422 if errors else 200)


def _answer(request: HttpRequest, user: User, design: Design) -> None:
    if request.POST.get("act") == "take_back":
        fact = get_object_or_404(JobFact, uuid=_uuid(request.POST.get("fact", "")), design=design)
        fact_take_back(by=user, fact=fact)
        messages.success(request, _("Your answer counts no more."))
        return
    body = {name: request.POST.get(name, "") for name in ASKED}
    fact_answer(by=user, design=design, body=body)
    messages.success(request, _("Thank you. Your answer is one voice among those of others."))


def _uuid(text: str) -> UUID:
    try:
        return UUID(text)
    except ValueError:
        raise Http404 from None


def _lines(request: HttpRequest, design: Design) -> list[FactLine]:
    own = None
    if isinstance(request.user, User):
        own = Contributor.objects.filter(user=request.user).first()
    return facts_of(design, own)


def _asking(request: HttpRequest) -> Any:
    """The question whose form is open: one at a time, by its address, so that it works without scripts."""
    question = BY_CODE.get(request.POST.get("question") or request.GET.get("ask", ""))
    subject = request.POST.get("subject") or request.GET.get("of", "")
    return {"question": question, "subject": subject[:80], "all": QUESTIONS}


def _shown(line: FactLine) -> dict[str, Any]:
    agreement = line.agreement
    if agreement["standing"] == "unread":
        words, says = "", ""
    elif line.question.kind == "quantity":
        words = quantity_words(agreement, str(line.question.unit))
        says = quantity_says(agreement, str(line.question.unit))
    else:
        words, says = line.words, choice_says(agreement)
    return {"line": line, "words": words, "says": says, "standing": agreement["standing"]}
