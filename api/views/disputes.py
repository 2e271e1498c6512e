"""Disputes: open one, write into its thread, take it back."""

from __future__ import annotations

from uuid import UUID

from django.http import Http404, HttpResponse
from rest_framework.request import Request
from rest_framework.response import Response

from api.description import desk as shapes
from api.description.operations import IDEMPOTENCY_KEY, described
from api.filters import DisputeFilter
from api.idempotency import once
from api.pagination import NewestFirst
from api.permissions import DISPUTE, OPEN
from api.serializers.desk import DisputeFull, DisputeLine
from api.views.base import ApiView, ListView, person
from registry.models import Dispute
from registry.selectors.api_desk import dispute_for_api, disputes_for_api
from registry.services.disputes import dispute_open, dispute_take_back, dispute_write
from registry.services.fields import Fields
from registry.translation import gettext as _


class Disputes(ListView):
    rules = {"GET": OPEN, "POST": DISPUTE}
    pagination_class = NewestFirst
    filterset_class = DisputeFilter
    serializer_class = DisputeLine

    @described("disputes_list", answer=DisputeLine, example=shapes.DISPUTE_LINE, page=True)
    def get(self, request: Request) -> Response:
        """Disputes, newest first."""
        return self.page(request, disputes_for_api())

    @described(
        "disputes_open",
        answer=DisputeFull,
        example=shapes.DISPUTE,
        status=201,
        body=shapes.DISPUTE_BODY,
        body_example=shapes.EXAMPLE_DISPUTE_BODY,
        parameters=[IDEMPOTENCY_KEY],
    )
    def post(self, request: Request) -> Response | HttpResponse:
        """Dispute a sheet, a cell, a design's data or a revision, with a reason."""

        def act() -> Response:
            fields = Fields(request.data)
            kind = fields.one_of("target_kind", shapes.TARGETS, "")
            target = fields.id("target")
            for name, value in (("target_kind", kind), ("target", target)):
                if not value and not fields.errors:
                    fields.wrong(name, "value_missing", _("This is missing."), _("Say what you dispute."))
            reason = fields.text("reason", longest=4000, needed=True, lines=True)
            cell = fields.inside("cell") if kind == "cell" else None
            fields.raise_all()
            assert target is not None
            dispute = dispute_open(
                by=person(request),
                target_kind=kind,
                target_uuid=target,
                reason=reason,
                target_cell=None if cell is None else cell.body,
            )
            return Response(DisputeFull(dispute).data, status=201)

        return once(request, act)


class OneDispute(ApiView):
    rules = {"GET": OPEN}

    @described("disputes_retrieve", answer=DisputeFull, example=shapes.DISPUTE)
    def get(self, request: Request, dispute: UUID) -> Response:
        """A dispute with its thread."""
        return Response(DisputeFull(found(dispute)).data)


class Messages(ApiView):
    rules = {"POST": DISPUTE}

    @described(
        "disputes_write",
        answer=DisputeFull,
        example=shapes.DISPUTE,
        status=201,
        body=shapes.MESSAGE_BODY,
        body_example={"text": shapes.MESSAGE["text"]},
        parameters=[IDEMPOTENCY_KEY],
    )
    def post(self, request: Request, dispute: UUID) -> Response | HttpResponse:
        """Write into the thread of a dispute."""

        def act() -> Response:
            fields = Fields(request.data)
            text = fields.text("text", longest=4000, needed=True, lines=True)
            fields.raise_all()
            dispute_write(by=person(request), dispute=found(dispute), text=text)
            return Response(DisputeFull(found(dispute)).data, status=201)

        return once(request, act)


class TakingBack(ApiView):
    rules = {"POST": DISPUTE}

    @described("disputes_take_back", answer=DisputeFull, example=shapes.DISPUTE, refuses=[403, 409])
    def post(self, request: Request, dispute: UUID) -> Response:
        """Take back a dispute that you opened."""
        dispute_take_back(by=person(request), dispute=found(dispute))
        return Response(DisputeFull(found(dispute)).data)


def found(dispute: UUID) -> Dispute:
    row = dispute_for_api(dispute)
    if row is None:
        raise Http404
    return row
