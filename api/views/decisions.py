"""Decisions: the public record, and, for moderators, the queue of cases and what can be decided."""

from __future__ import annotations

from uuid import UUID

from django.http import Http404, HttpResponse
from rest_framework.request import Request
from rest_framework.response import Response

from api.description import desk as shapes
from api.description.operations import IDEMPOTENCY_KEY, described
from api.filters import DecisionFilter
from api.idempotency import once
from api.pagination import NewestFirst
from api.permissions import MODERATE, OPEN
from api.serializers.desk import CaseFull, CaseLine, DecisionLine
from api.views.base import ApiView, ListView, person
from registry.errors import RegistryError
from registry.models import Decision
from registry.models.desk import CaseKind
from registry.selectors.api_desk import decision_for_api, decisions_for_api
from registry.selectors.queue import queue
from registry.services.case_decide import case_decide
from registry.services.cases import case_page
from registry.services.decisions import approve, refuse_decision, undo
from registry.services.fields import Fields
from registry.translation import gettext as _

LINES = {
    "type": "object",
    "properties": {"results": {"type": "array", "items": {"type": "object"}}},
    "required": ["results"],
}


class Decisions(ListView):
    rules = {"GET": OPEN, "POST": MODERATE}
    pagination_class = NewestFirst
    filterset_class = DecisionFilter
    serializer_class = DecisionLine

    @described("decisions_list", answer=DecisionLine, example=shapes.DECISION, page=True)
    def get(self, request: Request) -> Response:
        """What moderators decided and why, newest first; undone ones too."""
        return self.page(request, decisions_for_api())

    @described(
        "decisions_make",
        answer=DecisionLine,
        example=shapes.DECISION,
        status=201,
        body=shapes.DECISION_BODY,
        body_example=shapes.EXAMPLE_DECISION_BODY,
        parameters=[IDEMPOTENCY_KEY],
    )
    def post(self, request: Request) -> Response | HttpResponse:
        """Decide a case by one of its acts.  `seen` names the state that was decided on."""

        def act() -> Response:
            fields = Fields(request.data)
            kind = fields.one_of("kind", CaseKind.values, "")
            case = fields.id("case")
            words = [fields.text(name, longest=n, needed=True) for name, n in (("act", 40), ("seen", 200))]
            reason = fields.text("reason", longest=4000, needed=True, lines=True)
            asked = fields.text("asked")
            if not kind:
                fields.wrong("kind", "value_missing", _("This is missing."), _("Name the kind of case."))
            if case is None and not fields.errors:
                fields.wrong("case", "value_missing", _("This is missing."), _("Name the case."))
            fields.raise_all()
            assert case is not None
            decision = case_decide(
                by=person(request),
                kind=kind,
                uuid=case,
                act=words[0],
                reason=reason,
                seen=words[1],
                asked=asked,
            )
            return Response(DecisionLine(decision).data, status=201)

        return once(request, act)


class OneDecision(ApiView):
    rules = {"GET": OPEN}

    @described("decisions_retrieve", answer=DecisionLine, example=shapes.DECISION)
    def get(self, request: Request, decision: UUID) -> Response:
        """One decision."""
        return Response(DecisionLine(_found(decision)).data)


class Approval(ApiView):
    rules = {"POST": MODERATE}

    @described("decisions_approve", answer=DecisionLine, example=shapes.DECISION, refuses=[403, 409])
    def post(self, request: Request, decision: UUID) -> Response:
        """Be the second moderator of a decision that waits for one."""
        approve(by=person(request), decision=_found(decision))
        return Response(DecisionLine(_found(decision)).data)


class Undoing(ApiView):
    rules = {"POST": MODERATE}

    @described(
        "decisions_undo",
        answer=DecisionLine,
        example={**shapes.DECISION, "state": "undone", "undone": "2026-11-22T09:00:00Z"},
        body=shapes.UNDO_BODY,
        body_example={"reason": "The leads were fine: the meter was not."},
    )
    def post(self, request: Request, decision: UUID) -> Response:
        """Take a decision back: what was there before is there again.  Where that needs a second moderator,
        the answer is the proposal to do so, a decision of kind `undo` that waits."""
        done = undo(by=person(request), decision=_found(decision), reason=_reason(request))
        return Response(DecisionLine(_found(done.uuid)).data)


class Refusal(ApiView):
    rules = {"POST": MODERATE}

    @described(
        "decisions_refuse",
        answer=DecisionLine,
        example={**shapes.DECISION, "state": "refused"},
        body=shapes.UNDO_BODY,
        body_example={"reason": "One worn lead doesn't explain three cells."},
    )
    def post(self, request: Request, decision: UUID) -> Response:
        """Say no as the second moderator."""
        refuse_decision(by=person(request), decision=_found(decision), reason=_reason(request))
        return Response(DecisionLine(_found(decision)).data)


class Cases(ApiView):
    rules = {"GET": MODERATE}

    @described("cases_list", answer=LINES, example={"results": [shapes.CASE_LINE]}, refuses=[403])
    def get(self, request: Request) -> Response:
        """The queue: what waits for a moderator, heaviest first."""
        return Response({"results": CaseLine(queue(), many=True).data})


class OneCase(ApiView):
    rules = {"GET": MODERATE}

    @described("cases_retrieve", answer=CaseFull, example=shapes.CASE, refuses=[403])
    def get(self, request: Request, kind: str, case: UUID) -> Response:
        """A case with its acts, its disputes and what was decided before."""
        try:
            page = case_page(by=person(request), kind=kind, uuid=case, charts=False)
        except RegistryError:
            raise Http404 from None
        return Response(CaseFull(page).data)


def _reason(request: Request) -> str:
    fields = Fields(request.data)
    reason = fields.text("reason", longest=4000, needed=True, lines=True)
    fields.raise_all()
    return reason


def _found(decision: UUID) -> Decision:
    row = decision_for_api(decision)
    if row is None:
        raise Http404
    return row
