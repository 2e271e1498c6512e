"""One's own webhooks: make, look at, end; another secret; deliveries, and sending them again."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from api.description import webhooks as shapes
from api.description.operations import described
from api.filters import DeliveryFilter
from api.pagination import NewestFirst
from api.permissions import WEBHOOKS_READ, WEBHOOKS_WRITE
from api.serializers.webhooks import DeliveryLine, WebhookLine, WebhookMade
from api.views.base import ApiView, ListView, person
from registry.models import Webhook
from registry.selectors.webhooks import deliveries_of, webhook_named, webhooks_of
from registry.services.fields import Fields
from registry.services.webhooks.keeping import (
    delivery_replay,
    webhook_end,
    webhook_make,
    webhook_replay,
    webhook_secret,
)
from registry.translation import gettext as _


class Webhooks(ApiView):
    rules = {"GET": WEBHOOKS_READ, "POST": WEBHOOKS_WRITE}

    @described("webhooks_list", answer=shapes.LIST, example={"results": [shapes.LINE]}, refuses=[403])
    def get(self, request: Request) -> Response:
        """Your webhooks, with how many deliveries wait and how many were given up."""
        return _own(Response({"results": WebhookLine(webhooks_of(person(request)), many=True).data}))

    @described(
        "webhooks_make",
        answer=WebhookMade,
        example=shapes.MADE,
        status=201,
        body=shapes.BODY,
        body_example=shapes.BODY_EXAMPLE,
    )
    def post(self, request: Request) -> Response:
        """Be told of changes from now on, at an https address of yours.  The answer holds its secret."""
        webhook, secret = webhook_make(by=person(request), body=request.data)
        return _with_secret(request, webhook, secret, status=201)


class OneWebhook(ApiView):
    rules = {"GET": WEBHOOKS_READ, "DELETE": WEBHOOKS_WRITE}

    @described("webhooks_retrieve", answer=WebhookLine, example=shapes.LINE, refuses=[403])
    def get(self, request: Request, webhook: UUID) -> Response:
        """One of your webhooks."""
        return _own(Response(WebhookLine(_found(request, webhook)).data))

    @described("webhooks_end", answer=None, example=None, status=204, refuses=[403])
    def delete(self, request: Request, webhook: UUID) -> HttpResponse:
        """End it: nothing more is sent, and what waited is dropped."""
        webhook_end(by=person(request), webhook=_found(request, webhook))
        return HttpResponse(status=204)


class Secret(ApiView):
    rules = {"POST": WEBHOOKS_WRITE}

    @described("webhooks_secret", answer=WebhookMade, example=shapes.MADE, refuses=[403])
    def post(self, request: Request, webhook: UUID) -> Response:
        """Another secret, in this answer alone; what is sent from now on is signed with it."""
        found = _found(request, webhook)
        return _with_secret(request, found, webhook_secret(by=person(request), webhook=found), status=200)


class Replay(ApiView):
    rules = {"POST": WEBHOOKS_WRITE}

    @described(
        "webhooks_replay",
        answer=WebhookLine,
        example=shapes.LINE,
        body=shapes.REPLAY,
        body_example={"since": 1040},
    )
    def post(self, request: Request, webhook: UUID) -> Response:
        """Send everything after a number of the feed once more, and go on where it was paused."""
        fields = Fields(request.data)
        given = fields.body.get("since")
        if not isinstance(given, int) or isinstance(given, bool):
            fields.wrong("since", "not_a_whole_number", _("This is not a whole number."))
        since = fields.whole("since", 0, low=0, high=2**53)
        fields.raise_all()
        webhook_replay(by=person(request), webhook=_found(request, webhook), since=since)
        return _own(Response(WebhookLine(_found(request, webhook)).data))


class Deliveries(ListView):
    rules = {"GET": WEBHOOKS_READ}
    pagination_class = NewestFirst
    filterset_class = DeliveryFilter
    serializer_class = DeliveryLine

    @described("webhooks_deliveries", answer=DeliveryLine, example=shapes.DELIVERY, page=True, refuses=[403])
    def get(self, request: Request, webhook: UUID) -> Response:
        """What was sent, waits, or was given up (`state=dead`), newest first; kept for 30 days."""
        return _own(self.page(request, deliveries_of(_found(request, webhook))))


class DeliveryReplay(ApiView):
    rules = {"POST": WEBHOOKS_WRITE}

    @described("webhooks_delivery_replay", answer=DeliveryLine, example=shapes.DELIVERY, refuses=[403])
    def post(self, request: Request, webhook: UUID, delivery: UUID) -> Response:
        """Send a delivery again: the same id and the same bytes, newly signed."""
        found = get_object_or_404(deliveries_of(_found(request, webhook)), uuid=delivery)
        return _own(Response(DeliveryLine(delivery_replay(by=person(request), delivery=found)).data))


def _found(request: Request, uuid: UUID) -> Webhook:
    webhook = webhook_named(person(request), uuid)
    if webhook is None:
        raise Http404
    return webhook


def _with_secret(request: Request, webhook: Webhook, secret: str, *, status: int) -> Response:
    plain: dict[str, Any] = WebhookLine(_found(request, webhook.uuid)).data
    response = Response({**plain, "secret": secret}, status=status)
    response["Cache-Control"] = "no-store"
    return response


def _own(response: Response) -> Response:
    response["Cache-Control"] = "private, no-cache"
    return response
