"""One's own account as programs need it: the pseudonym, the token's rights, what may still be sent today."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.description.operations import described
from api.permissions import SIGNED_IN
from api.views.base import ApiView, person
from registry.models import ApiToken
from registry.services.accounts import contributor_of
from registry.services.allowance import sheet_allowance
from registry.services.tokens import SCOPES


class SheetsLeft(serializers.Serializer[Any]):
    a_day = serializers.IntegerField(allow_null=True, help_text="Sheets in 24 hours; null: no limit")
    sent = serializers.IntegerField(help_text="In the last 24 hours")
    left = serializers.IntegerField(allow_null=True)


class Account(serializers.Serializer[Any]):
    """Nothing by which a person could be told."""

    contributor = serializers.CharField(help_text="The pseudonym under which your readings are published")
    scopes = serializers.ListField(child=serializers.ChoiceField(choices=SCOPES))
    sheets = SheetsLeft()


class Me(ApiView):
    rules = {"GET": SIGNED_IN}

    @described(
        "account_retrieve",
        answer=Account,
        example={
            "contributor": "c-0f3a9be2d1",
            "scopes": ["read", "submit"],
            "sheets": {"a_day": 300, "sent": 12, "left": 288},
        },
        refuses=[403],
    )
    def get(self, request: Request) -> Response:
        """Who you are here, what your token may, and how many sheets you may still send today."""
        contributor = contributor_of(person(request))
        token = request.auth
        scopes = token.scopes if isinstance(token, ApiToken) else list(SCOPES[:2])
        found = {
            "contributor": contributor.pseudonym,
            "scopes": scopes,
            "sheets": sheet_allowance(contributor),
        }
        response = Response(Account(found).data)
        response["Cache-Control"] = "private, no-store"
        return response
