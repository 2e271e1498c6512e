"""Files of readings, and work that is done after the answer: ask for it, then ask what came of it."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from api.description import work as shapes
from api.description.operations import IDEMPOTENCY_KEY, described
from api.idempotency import once
from api.pagination import NewestFirst
from api.permissions import SIGNED_IN, SUBMIT
from api.serializers.work import WorkLine
from api.views.base import ApiView, ListView, person
from registry.models import Work
from registry.selectors.work import work_of
from registry.services.imports.files import file_preview
from registry.services.work import work_ask


class Imports(ApiView):
    rules = {"POST": SUBMIT}
    cost = 20

    @described(
        "imports_send",
        answer=WorkLine,
        example=shapes.LINE,
        status=202,
        body=shapes.BODY,
        body_example=shapes.BODY_EXAMPLE,
        parameters=[IDEMPOTENCY_KEY],
    )
    def post(self, request: Request) -> Response | HttpResponse:
        """Import a file of readings, all of it or none.  It is done after the answer; ask at its address."""
        return once(request, lambda: work_asked(request, Work.Kind.IMPORT, request.data))


class ImportPreview(ApiView):
    rules = {"POST": SUBMIT}
    cost = 5

    @described(
        "imports_preview",
        answer=shapes.PREVIEW,
        example=shapes.PREVIEW_EXAMPLE,
        body=shapes.BODY,
        body_example=shapes.BODY_EXAMPLE,
    )
    def post(self, request: Request) -> Response:
        """What each column would mean and what would become of each cell; nothing is stored."""
        return Response(file_preview(by=person(request), asked=request.data))


class AllWork(ListView):
    rules = {"GET": SIGNED_IN}
    pagination_class = NewestFirst
    serializer_class = WorkLine

    @described("work_list", answer=WorkLine, example=shapes.LINE, page=True, refuses=[403])
    def get(self, request: Request) -> Response:
        """Your imports and bulk calls that were done after the answer, newest first."""
        return _own(self.page(request, work_of(person(request))))


class OneWork(ApiView):
    rules = {"GET": SIGNED_IN}

    @described("work_retrieve", answer=WorkLine, example=shapes.LINE, refuses=[403])
    def get(self, request: Request, work: UUID) -> Response:
        """How far it is: waiting, running, done or refused; and what came of it."""
        found = get_object_or_404(work_of(person(request)), uuid=work)
        return _own(Response(WorkLine(found).data))


def work_asked(request: Request, kind: str, asked: Any) -> Response:
    """202 and where to ask; where there is no queue it is done by then."""
    work = work_ask(by=person(request), kind=kind, asked=asked)
    response = Response(WorkLine(work_of(person(request)).get(pk=work.pk)).data, status=202)
    response["Location"] = request.build_absolute_uri(f"/api/v1/work/{work.uuid}/")
    return _own(response)


def _own(response: Response) -> Response:
    response["Cache-Control"] = "private, no-cache"
    return response
