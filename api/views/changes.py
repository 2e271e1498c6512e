"""What changed: as JSON in an order without gaps, and as Atom for people's readers."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.utils.feedgenerator import Atom1Feed
from django.utils.html import escape
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from api.description import changes as shapes
from api.description.operations import described
from api.permissions import OPEN
from api.problems import Failure
from api.serializers.changes import ChangeLine
from api.views.base import ApiView
from api.whole_numbers import whole_number
from registry.models import Change
from registry.selectors.changes import changes_after, names_of, newest_changes, newest_number
from registry.services.changes import changes_number
from registry.translation import gettext as _

MOST, USUAL, IN_FEED = 500, 100, 50
LARGEST = 2**63 - 1
NEVER = datetime(1970, 1, 1, tzinfo=UTC)
DESIGN = OpenApiParameter("design", {"type": "string", "format": "uuid"}, description="Of this design only")


class Changes(ApiView):
    rules = {"GET": OPEN}
    query_names = ("since", "limit", "design")

    @described(
        "changes_list",
        answer=shapes.CHANGES,
        example=shapes.EXAMPLE,
        parameters=[
            OpenApiParameter(
                "since",
                {"type": "integer", "minimum": 0, "maximum": LARGEST, "default": 0},
                description="The number that you have read up to",
            ),
            OpenApiParameter(
                "limit",
                {"type": "integer", "minimum": 1, "maximum": MOST, "default": USUAL},
                description="How many at most",
            ),
            DESIGN,
        ],
    )
    def get(self, request: Request) -> Response:
        """Everything that changed after a number, oldest first.  Ask on with `since` = `last`."""
        changes_number()
        since = _whole(request, "since", 0, low=0, high=LARGEST)
        limit = _whole(request, "limit", USUAL, low=1, high=MOST)
        design = _design(request)
        newest = newest_number()  # before the lines: what is numbered from here on is for the next time
        wanted = changes_after(since, design=design).filter(number__lte=newest)
        found = list(wanted[: limit + 1])
        lines, more = found[:limit], len(found) > limit
        # Of one design, what lies behind the last line needn't be looked through again.
        last = lines[-1].number if more else max(since, newest)
        response = Response(
            {"results": ChangeLine(lines, many=True).data, "last": last, "more": more, "newest": newest}
        )
        response["Cache-Control"] = "no-cache"
        return response


class AtomRenderer(BaseRenderer):
    """Only names the form: the feed is written by `Atom1Feed`."""

    media_type = "application/atom+xml"
    format = "atom"

    def render(self, data: Any, accepted_media_type: Any = None, renderer_context: Any = None) -> Any:
        return data


class AlwaysFirst(DefaultContentNegotiation):
    def select_renderer(self, request: Any, renderers: Any, format_suffix: Any = None) -> Any:
        return renderers[0], renderers[0].media_type


class Feed(Atom1Feed):
    """One in which nothing has happened yet says so with the same time each time it is asked for."""

    def latest_post_date(self) -> datetime:
        return super().latest_post_date() if self.items else NEVER


class AtomFeed(ApiView):
    """For feed readers, whose Accept headers are of every kind."""

    rules = {"GET": OPEN}
    query_names = ("design",)
    renderer_classes = [AtomRenderer]
    content_negotiation_class = AlwaysFirst

    @described(
        "changes_atom",
        answer=None,
        example=None,
        also={
            (200, "application/atom+xml"): OpenApiResponse(
                {"type": "string"}, "Atom (RFC 4287)", examples=[shapes.ATOM]
            )
        },
        parameters=[DESIGN],
    )
    def get(self, request: Request) -> HttpResponse:
        """The newest changes of all charts, or of one design's, as an Atom feed."""
        changes_number()
        design = _design(request)
        changes = newest_changes(design=design, most=IN_FEED)
        names = names_of({change.design_uuid for change in changes if change.design_uuid is not None})
        base = request.build_absolute_uri("/")[:-1]
        feed = Feed(
            title=names.get(design, _("Design")) if design else _("Changes of the registry"),
            link=f"{base}/designs/{design}/" if design else f"{base}/",
            description=_("Charts published and withdrawn, sheets, decisions"),
            feed_url=request.build_absolute_uri(),
            feed_guid=f"urn:uuid:{design}" if design else f"{base}/api/v1/changes/atom/",
        )
        for change in changes:
            feed.add_item(
                title=_title(change, names),
                link=_link(base, change),
                description=escape(str(change.payload.get("reason") or "")),  # the feed calls it HTML
                unique_id=f"urn:uuid:{change.uuid}",
                updateddate=change.created_at,
                pubdate=change.created_at,
                author_name=change.origin,
            )
        response = HttpResponse(feed.writeString("utf-8"), content_type="application/atom+xml; charset=utf-8")
        response["Cache-Control"] = "no-cache"
        return response


def _title(change: Change, names: dict[UUID, str]) -> str:
    name = names.get(change.design_uuid, _("a design")) if change.design_uuid else _("the registry")
    sentences = {
        Change.Kind.CHART_PUBLISHED: _("{name}: revision {n} is published."),
        Change.Kind.CHART_WITHDRAWN: _("{name}: revision {n} is withdrawn. Don't use it."),
        Change.Kind.DESIGN_ADDED: _("{name}: a new design."),
        Change.Kind.SHEET_ADDED: _("{name}: a bench sheet came in."),
        Change.Kind.SHEET_AMENDED: _("{name}: a bench sheet was amended."),
        Change.Kind.SHEET_WITHDRAWN: _("{name}: a bench sheet was taken back."),
        Change.Kind.SHEET_RESTORED: _("{name}: a bench sheet was brought back."),
        Change.Kind.DECISION_IN_FORCE: _("{name}: a decision took effect."),
        Change.Kind.DECISION_UNDONE: _("{name}: a decision was undone."),
        Change.Kind.JOB_TOLD: _("{name}: a job told something."),
    }
    return sentences[Change.Kind(change.kind)].format(name=name, n=change.payload.get("revision", ""))


def _link(base: str, change: Change) -> str:
    if change.design_uuid is None:
        return f"{base}/"
    if "revision" in change.payload:
        return f"{base}/designs/{change.design_uuid}/revisions/{change.payload['revision']}/"
    return f"{base}/designs/{change.design_uuid}/"


def _whole(request: Request, name: str, default: int, *, low: int, high: int) -> int:
    text = request.query_params.get(name)
    if text is None:
        return default
    number = whole_number(text, low=low, high=high)
    if number is not None:
        return number
    raise Failure(
        400,
        "parameter_invalid",
        _("“{name}” is a whole number from {low} to {high}.").format(name=name, low=low, high=high),
        parameter=name,
    )


def _design(request: Request) -> UUID | None:
    text = request.query_params.get("design")
    if text is None:
        return None
    try:
        return UUID(text)
    except ValueError:
        raise Failure(
            400, "parameter_invalid", _("“design” is the id of a design."), parameter="design"
        ) from None
