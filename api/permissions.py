"""Closed by default: a view names for each method who may and which right a token needs.

The rules themselves are in `registry.permissions`; services ask them again, with the object.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from rest_framework.exceptions import MethodNotAllowed
from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from registry.models import ApiToken
from registry.permissions import Actor, require
from registry.translation import gettext as _


@dataclass(frozen=True)
class Rule:
    """action: a name in `registry.permissions.RULES`, None where the address is open; scope: of a token."""

    action: str | None
    scope: str


OPEN = Rule(None, "read")
SIGNED_IN = Rule("read_own", "read")  # whoever could send a sheet may see their own
SUBMIT = Rule("submit", "submit")
PROPOSE = Rule("propose_design", "submit")
DISPUTE = Rule("dispute", "submit")
MODERATE = Rule("moderate", "moderate")
WEBHOOKS_READ = Rule("make_webhook", "read")
WEBHOOKS_WRITE = Rule("make_webhook", "submit")
OWN_TOKENS = Rule("make_token", "")  # no token may make or end tokens


class ByRule(BasePermission):
    """Refuses what nobody named; needs `rules`, a dictionary from method to Rule, on the view."""

    message = ""

    def has_permission(self, request: Request, view: Any) -> bool:
        if request.method == "OPTIONS":
            return True  # which methods there are is no secret
        rules: dict[str, Rule] = getattr(view, "rules", {})
        rule = rules.get("GET" if request.method == "HEAD" else str(request.method))
        if rule is None:
            if not hasattr(view, str(request.method).lower()):
                raise MethodNotAllowed(str(request.method))
            return False
        if isinstance(request.auth, ApiToken) and not _in_scope(request.auth, rule):
            right = rule.scope or _("a session")
            self.message = _("This token may not do this: it needs the right “{right}”.").format(right=right)
            return False
        if rule.action is not None:
            actor: Actor = request.user
            require(actor, rule.action)
        return True


def _in_scope(token: ApiToken, rule: Rule) -> bool:
    if rule.action is None:
        return True  # what anybody may read needs no right
    return rule.scope in token.scopes
