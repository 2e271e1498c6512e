"""Facts about the job around a switch: what people found, and one's own answer."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from api.description import facts as shapes
from api.description.operations import IDEMPOTENCY_KEY, described
from api.idempotency import once
from api.permissions import OPEN, SUBMIT
from api.views.base import ApiView, person
from registry.models import Design, JobFact
from registry.selectors.facts import FactLine, facts_of
from registry.services.facts import fact_answer, fact_take_back


class Facts(ApiView):
    rules = {"GET": OPEN, "POST": SUBMIT}

    @described("facts_list", answer=shapes.FACTS, example=shapes.FACTS_EXAMPLE)
    def get(self, request: Request, design: UUID) -> Response:
        """What to have ready before this switch comes out: each question with its answer and standing."""
        return Response(_facts(get_object_or_404(Design, uuid=design)))

    @described(
        "facts_answer",
        answer=shapes.FACTS,
        example=shapes.FACTS_EXAMPLE,
        status=201,
        body=shapes.FACT_BODY,
        body_example={"question": "rest_in_place", "answer": "yes", "source": "did_it"},
        parameters=[IDEMPOTENCY_KEY],
    )
    def post(self, request: Request, design: UUID) -> Response | HttpResponse:
        """Answer a question; a later answer of yours takes the place of the earlier."""
        found = get_object_or_404(Design, uuid=design)

        def act() -> Response:
            fact_answer(by=person(request), design=found, body=request.data)
            return Response(_facts(found), status=201)

        return once(request, act)


class OwnAnswer(ApiView):
    rules = {"DELETE": SUBMIT}

    @described("facts_take_back", answer=None, example=None, status=204, refuses=[403])
    def delete(self, request: Request, fact: UUID) -> HttpResponse:
        """Your answer counts no more; it stays to be seen."""
        found = get_object_or_404(JobFact, uuid=fact)
        fact_take_back(by=person(request), fact=found)
        return HttpResponse(status=204)


def _facts(design: Design) -> dict[str, Any]:
    return {"design": str(design.uuid), "facts": [_plain(line) for line in facts_of(design)]}


def _plain(line: FactLine) -> dict[str, Any]:
    told = line.agreement
    return {
        "fact": None if line.fact is None else str(line.fact.uuid),
        "question": line.question.code,
        "asks": str(line.question.asks),
        "subject": "" if line.fact is None else line.fact.subject,
        "answer": told.get("answer"),
        "typical": told.get("typical"),
        "unit": str(line.question.unit),
        "accept": told.get("accept"),
        "standing": told["standing"],
        "voices": told["voices"],
        "agreeing": told.get("agreeing"),
        "disputed": line.disputed,
    }
