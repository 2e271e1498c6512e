"""What a technician asks without sending anything in: is this unit good, which switch is it?"""

from __future__ import annotations

from rest_framework.request import Request
from rest_framework.response import Response

from api.description import sheet_examples
from api.description import sheets as shapes
from api.description.operations import described
from api.permissions import OPEN
from api.views.base import ApiView
from registry.services.checks import check_suspect, identify_switch, sheet_preview
from registry.services.fields import Fields


class Check(ApiView):
    """Open to all: nothing is stored.  It costs more of the allowance than a read."""

    rules = {"POST": OPEN}
    cost = 5

    @described(
        "check_unit",
        answer=shapes.CHECK_ANSWER,
        example=sheet_examples.CHECK_EXAMPLE,
        body=shapes.CHECK_SHEET,
        body_example=sheet_examples.CHECK_BODY,
    )
    def post(self, request: Request) -> Response:
        """A suspect unit against the published chart: verdict, likely causes, what to read next."""
        return Response(check_suspect(body=request.data))


class Identify(ApiView):
    rules = {"POST": OPEN}
    cost = 5

    @described(
        "identify_switch",
        answer=shapes.IDENTIFY_ANSWER,
        example=sheet_examples.IDENTIFY_EXAMPLE,
        body=shapes.IDENTIFY,
        body_example=sheet_examples.IDENTIFY_BODY,
    )
    def post(self, request: Request) -> Response:
        """Which switch do these readings fit, and which of its pins is which?"""
        fields = Fields(request.data)
        as_read = fields.yes("as_read")
        fields.raise_all()
        return Response(identify_switch(body=request.data, as_read=as_read))


class Preview(ApiView):
    rules = {"POST": OPEN}
    cost = 5

    @described(
        "submissions_preview",
        answer=shapes.PREVIEW_ANSWER,
        example=sheet_examples.PREVIEW_EXAMPLE,
        body=shapes.PREVIEW,
        body_example=sheet_examples.SHEET_BODY,
    )
    def post(self, request: Request) -> Response:
        """How a sheet would compare, before it is sent.  Nothing is stored."""
        return Response(sheet_preview(body=request.data))
