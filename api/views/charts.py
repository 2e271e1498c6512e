"""Charts: the current one, every revision, and what differs between two."""

from __future__ import annotations

import json
from collections.abc import Callable
from uuid import UUID

from django.http import Http404, HttpResponse
from django.utils.translation import get_language
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from api.authentication import TokenAuthentication
from api.chart_bytes import Encoded, chart_response, current, encoded, tag_held
from api.chart_print import beside_the_chart, tag_of
from api.description import chart_examples, charts
from api.description.operations import IF_NONE_MATCH, described
from api.filters import ChartFilter
from api.pagination import ByDesign, NewestFirst
from api.permissions import OPEN
from api.problems import Failure
from api.renderers import CsvForm, PdfForm, SvgForm
from api.serializers.charts import ChartLine, RevisionLine
from api.views.base import ApiView, ListView
from api.whole_numbers import whole_number
from registry.formats.chart_files import chart_csv, chart_svg
from registry.formats.chart_pdf import chart_pdf
from registry.models import User
from registry.selectors.api_charts import (
    current_charts,
    head_of_revision,
    head_of_withdrawn,
    revision_content,
    revision_row,
    revisions_of,
)
from registry.selectors.api_designs import design_exists
from registry.selectors.chart_difference import chart_difference
from registry.services.recall import revision_fetched
from registry.translation import gettext as _

FORMS: dict[str, Callable[..., str | bytes]] = {"csv": chart_csv, "svg": chart_svg, "pdf": chart_pdf}
NOT_MODIFIED = {
    304: OpenApiResponse(None, "You have this chart already."),
    (200, "text/csv"): OpenApiResponse({"type": "string"}, examples=[chart_examples.CSV]),
    (200, "image/svg+xml"): OpenApiResponse({"type": "string"}, examples=[chart_examples.SVG]),
    (200, "application/pdf"): OpenApiResponse(
        {"type": "string", "format": "binary"}, examples=[chart_examples.PDF]
    ),
}
LARGEST_NUMBER = 2**31 - 1
NUMBER = {"type": "integer", "minimum": 1, "maximum": LARGEST_NUMBER}

# Of a drawing or a table: there is nothing in it that a browser would have to do.
STRICTER = "default-src 'none'; style-src 'none'; base-uri 'none'; frame-ancestors 'none'; sandbox"


class Charts(ListView):
    rules = {"GET": OPEN}
    pagination_class = ByDesign
    filterset_class = ChartFilter
    serializer_class = ChartLine

    @described("charts_list", answer=ChartLine, example=chart_examples.CHART_LINE, page=True)
    def get(self, request: Request) -> Response:
        """The current chart of each design that has one, with the figures that say how sure it is."""
        return self.page(request, current_charts())


class CurrentChart(ApiView):
    """Read most of all: the session is left alone, so that caches may keep the answer."""

    rules = {"GET": OPEN}
    authentication_classes = [TokenAuthentication]
    renderer_classes = [JSONRenderer, CsvForm, SvgForm, PdfForm]

    @described(
        "charts_current",
        answer=charts.ENVELOPE,
        example=chart_examples.CHART_EXAMPLE,
        parameters=[IF_NONE_MATCH],
        also=NOT_MODIFIED,
        refuses=[410],
    )
    def get(self, request: Request, design: UUID) -> HttpResponse:
        """The chart of a design that is in force.  Its ETag is strong; ask with If-None-Match."""
        made = current(design)
        if made is None:
            raise _gone(design)
        return _given(request, made)


class Revisions(ListView):
    rules = {"GET": OPEN}
    pagination_class = NewestFirst
    serializer_class = RevisionLine

    @described("charts_revisions", answer=RevisionLine, example=chart_examples.REVISION_LINE, page=True)
    def get(self, request: Request, design: UUID) -> Response:
        """All revisions of a design's chart that were ever published, newest first."""
        if not design_exists(design):
            raise Http404
        return self.page(request, revisions_of(design))


class OneRevision(ApiView):
    rules = {"GET": OPEN}
    authentication_classes = [TokenAuthentication]
    renderer_classes = [JSONRenderer, CsvForm, SvgForm, PdfForm]

    @described(
        "charts_revision",
        answer=charts.ENVELOPE,
        example=chart_examples.CHART_EXAMPLE,
        parameters=[IF_NONE_MATCH, OpenApiParameter("number", NUMBER, OpenApiParameter.PATH)],
        also=NOT_MODIFIED,
    )
    def get(self, request: Request, design: UUID, number: int) -> HttpResponse:
        """One revision, for ever the same bytes.  A withdrawn one says so, with the reason."""
        head = head_of_revision(design, number) if number <= LARGEST_NUMBER else None
        if head is None:
            raise Http404
        return _given(request, encoded(design, head))


class Difference(ApiView):
    rules = {"GET": OPEN}
    query_names = ("from", "to")

    @described(
        "charts_difference",
        answer=charts.DIFFERENCE,
        example=chart_examples.DIFFERENCE_EXAMPLE,
        parameters=[
            OpenApiParameter("from", NUMBER, required=True, description="The older revision"),
            OpenApiParameter("to", NUMBER, required=True, description="The newer revision"),
        ],
    )
    def get(self, request: Request, design: UUID) -> Response:
        """What a reader sees change from one revision to another."""
        numbers = [_number(request, name) for name in ("from", "to")]
        heads = [head_of_revision(design, number) for number in numbers]
        if heads[0] is None or heads[1] is None:
            raise Http404
        older, newer = (json.loads(revision_content(head.pk)) for head in heads if head is not None)
        found = chart_difference(older, newer)
        return Response({"design": str(design), "from": numbers[0], "to": numbers[1], **found})


def _gone(design: UUID) -> Exception:
    """A chart that was withdrawn and not replaced is not just missing: who used it has to know."""
    head = head_of_withdrawn(design)
    if head is None:
        return Http404()
    said = _("Revision {n} was withdrawn, and nothing has replaced it. Don't use it. {reason}")
    detail = said.format(n=head.number, reason=head.withdrawn_reason)
    return Failure(410, "chart_withdrawn", detail, revision=head.number)


def _given(request: Request, made: Encoded) -> HttpResponse:
    """In the form asked for.  Who has an account hears of it if what they took along is withdrawn."""
    if isinstance(request.user, User):
        revision_fetched(by=request.user, revision=revision_row(made.revision))
    form = request.accepted_renderer.format
    if form == "json":
        return chart_response(request._request, made)
    document = json.loads(made.plain)
    beside = beside_the_chart(request._request, document) if form == "pdf" else {}
    words = [] if form == "csv" else [get_language() or ""]  # the heads of a table are the same in all
    etag = ".".join([made.etag, form, *words, *([tag_of(beside)] if beside else [])])
    if tag_held(request._request, etag) is not None:
        response = HttpResponse(status=304)
    else:
        made_so = FORMS[form](
            document["chart"], revision=document["revision"], state=document["state"], **beside
        )
        kind = request.accepted_renderer.media_type
        charset = "; charset=utf-8" if isinstance(made_so, str) else ""
        response = HttpResponse(made_so, content_type=f"{kind}{charset}")
        # A drawing opened by itself runs nothing, whatever a label holds.
        response["Content-Security-Policy"] = STRICTER
    response["ETag"] = f'"{etag}"'
    response["Cache-Control"] = "public, no-cache"
    response["Vary"] = "Accept, Accept-Encoding"
    return response


def _number(request: Request, name: str) -> int:
    number = whole_number(request.query_params.get(name, ""), low=1, high=LARGEST_NUMBER)
    if number is not None:
        return number
    raise Failure(
        400,
        "parameter_invalid",
        _("“{name}” is the number of a revision.").format(name=name),
        parameter=name,
    )
