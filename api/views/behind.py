"""What stands behind a chart, and what follows from it."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import Http404
from django.urls import reverse
from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request
from rest_framework.response import Response

from api.description import chart_examples
from api.description import charts as shapes
from api.description.operations import described
from api.permissions import OPEN
from api.serializers.sheets import BehindLine
from api.views.base import ApiView, ListView
from api.views.charts import LARGEST_NUMBER, NUMBER
from registry.selectors.api_readings import readings_behind
from registry.services.chart_facts import line_codes_of, short_tests_of


class CurrentReadings(ListView):
    rules = {"GET": OPEN}
    serializer_class = BehindLine

    @described("charts_readings", answer=BehindLine, example=chart_examples.BEHIND_LINE, page=True)
    def get(self, request: Request, design: UUID) -> Response:
        """The readings that the current chart was computed from, under pseudonyms.

        `next` goes on in the same revision, whichever is current by then.
        """
        number, rows = _found(design, None)
        return self.page(request, rows, at=reverse("api_revision_readings", args=[design, number]))


class RevisionReadings(ListView):
    rules = {"GET": OPEN}
    serializer_class = BehindLine

    @described(
        "charts_revision_readings",
        answer=BehindLine,
        example=chart_examples.BEHIND_LINE,
        page=True,
        parameters=[OpenApiParameter("number", NUMBER, OpenApiParameter.PATH)],
    )
    def get(self, request: Request, design: UUID, number: int) -> Response:
        """The readings that one revision was computed from; those taken back since are left out."""
        return self.page(request, _found(design, number)[1])


class LineCode(ApiView):
    rules = {"GET": OPEN}

    @described("charts_line_code", answer=shapes.LINE_CODES, example=chart_examples.LINE_CODES_EXAMPLE)
    def get(self, request: Request, design: UUID) -> Response:
        """The chart as a code: distances between positions, and what each single fault would look like."""
        return _facts(design, line_codes_of(design))


class ShortTest(ApiView):
    rules = {"GET": OPEN}
    cost = 5

    @described("charts_short_test", answer=shapes.SHORT_TESTS, example=chart_examples.SHORT_TESTS_EXAMPLE)
    def get(self, request: Request, design: UUID) -> Response:
        """The fewest readings that tell a good unit from a faulty one, and that name the fault."""
        return _facts(design, short_tests_of(design))


def _facts(design: UUID, found: tuple[int, list[dict[str, Any]]] | None) -> Response:
    if found is None:
        raise Http404
    revision, results = found
    return Response({"design": str(design), "revision": revision, "results": results})


def _found(design: UUID, number: int | None) -> tuple[int, Any]:
    found = readings_behind(design, number) if number is None or number <= LARGEST_NUMBER else None
    if found is None:
        raise Http404
    return found
