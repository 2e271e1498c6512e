"""One's own API tokens.  They are made and ended in a session: no token can make another."""

from __future__ import annotations

from typing import Any

from allauth.account.internal.flows.reauthentication import did_recently_reauthenticate
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse
from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from api.authentication import Session
from api.description.bodies import record, rows, text
from api.description.operations import described
from api.permissions import OWN_TOKENS
from api.serializers.tokens import TokenLine, TokenMade
from api.views.base import ApiView, person
from registry.errors import RegistryErrors
from registry.selectors.tokens import tokens_of
from registry.services.fields import Fields
from registry.services.tokens import LONGEST_DAYS, SCOPES, token_make, token_revoke
from registry.translation import gettext as _

EXAMPLE: dict[str, Any] = {
    "token": "bq_3f7a52c4d0c8",
    "name": "tablet in bay 2",
    "scopes": ["read", "submit"],
    "made": "2026-11-20T09:30:00Z",
    "expires": "2027-02-18T09:30:00Z",
    "last_used": None,
}
LIST = {
    "type": "object",
    "properties": {"results": {"type": "array", "items": {"type": "object"}}},
    "required": ["results"],
}


class Tokens(ApiView):
    rules = {"GET": OWN_TOKENS, "POST": OWN_TOKENS}
    authentication_classes = [Session]

    @described("tokens_list", answer=LIST, example={"results": [EXAMPLE]}, refuses=[403])
    def get(self, request: Request) -> Response:
        """Your tokens: name, rights, end, last use; never the secret."""
        return Response({"results": TokenLine(tokens_of(person(request)), many=True).data})

    @described(
        "tokens_make",
        answer=TokenMade,
        example={**EXAMPLE, "secret": "bq_3f7a52c4d0c8…"},
        status=201,
        body=record(
            ["name", "scopes"],
            name=text(80, needed=True),
            scopes=rows({"type": "string", "enum": list(SCOPES)}, least=1, most=len(SCOPES)),
            days={"type": ["integer", "null"], "minimum": 1, "maximum": LONGEST_DAYS, "default": 90},
        ),
        body_example={"name": "tablet in bay 2", "scopes": ["read", "submit"], "days": 90},
    )
    def post(self, request: Request) -> Response:
        """Make a token.  Its secret is in this answer and nowhere else.

        Only within five minutes of having said one's password, or shown one's second factor, again.
        """
        if not did_recently_reauthenticate(request._request):
            raise PermissionDenied(_("Say your password again first, at {page}.").format(
                page=reverse("account_reauthenticate")
            ))  # fmt: skip
        fields = Fields(request.data)
        name, days = fields.text("name", longest=80, needed=True), fields.whole("days", 90, low=1, high=366)
        scopes = fields.body.get("scopes")
        if not isinstance(scopes, list) or not all(isinstance(scope, str) for scope in scopes):
            fields.wrong("scopes", "not_a_list", "Send a list of rights.")
        if fields.errors:
            raise RegistryErrors(fields.errors)
        token, secret = token_make(by=person(request), name=name, scopes=scopes or [], days=days)
        token.secret = secret
        response = Response(TokenMade(token).data, status=201)
        response["Cache-Control"] = "no-store"
        return response


class OneToken(ApiView):
    rules = {"DELETE": OWN_TOKENS}
    authentication_classes = [Session]

    @described("tokens_revoke", answer=None, example=None, status=204, refuses=[403])
    def delete(self, request: Request, token: str) -> HttpResponse:
        """End a token at once."""
        if not token_revoke(by=person(request), key=token):
            raise Http404
        return HttpResponse(status=204)
