"""How the OpenAPI description is made: rights from the views' rules, parameters from their filters."""

from __future__ import annotations

from typing import Any

import uritemplate
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiExample, OpenApiParameter

from api.description import examples
from api.pagination import CURSOR, StablePages
from registry.models.desk import CaseKind


class ApiSchema(AutoSchema):
    """One operation of the description."""

    def get_auth(self) -> list[dict[str, Any]]:
        auths: list[dict[str, Any]] = super().get_auth()
        rule = getattr(self.view, "rules", {}).get(self.method)
        is_open = rule is not None and rule.action is None
        named = [auth for auth in auths if auth]
        return [*named, {}] if is_open else named

    def get_override_parameters(self) -> list[Any]:
        found = [*self._path_parameters(), *super().get_override_parameters()]
        if self.method != "GET":
            return found
        if getattr(self.view, "pagination_class", None) is not None:
            found += _page_parameters()
        filterset = getattr(self.view, "filterset_class", None)
        if filterset is not None:
            found += [_parameter(name, f) for name, f in filterset.base_filters.items()]
        return found

    def _path_parameters(self) -> list[OpenApiParameter]:
        return [_IN_PATH[name] for name in uritemplate.variables(self.path) if name in _IN_PATH]

    def _get_filter_parameters(self) -> list[Any]:
        return []

    def _get_pagination_parameters(self) -> list[Any]:
        return []


def _in_path(name: str, example: str, description: str, kind: dict[str, Any]) -> OpenApiParameter:
    return OpenApiParameter(
        name,
        kind,
        OpenApiParameter.PATH,
        description=description,
        examples=[OpenApiExample("Invented", value=example)],
    )


_ID: dict[str, Any] = {"type": "string", "format": "uuid"}
_IN_PATH = {
    "design": _in_path("design", examples.DESIGN_ID, "The id of a design", _ID),
    "submission": _in_path("submission", examples.SHEET_ID, "The id of a bench sheet", _ID),
    "dispute": _in_path("dispute", examples.DISPUTE_ID, "The id of a dispute", _ID),
    "job": _in_path("job", "5b7b4b1e-3b0a-4b0f-9d0e-6a4f0f7f2c10", "The id of a job of yours", _ID),
    "decision": _in_path("decision", examples.DECISION_ID, "The id of a decision", _ID),
    "case": _in_path("case", examples.SHEET_ID, "What the case is about", _ID),
    "kind": _in_path("kind", "sheet", "The kind of case", {"type": "string", "enum": list(CaseKind.values)}),
    "token": _in_path(
        "token", "bq_3f7a52c4d0c8", "A token's first signs", {"type": "string", "pattern": "^[0-9A-Za-z_-]+$"}
    ),
}


def _page_parameters() -> list[OpenApiParameter]:
    return [
        OpenApiParameter(
            "cursor",
            {"type": "string", "pattern": CURSOR},
            description="From `next` or `previous` of an earlier answer.",
        ),
        OpenApiParameter(
            "page_size",
            {"type": "integer", "minimum": 1, "maximum": StablePages.max_page_size, "default": 50},
            description="How many lines a page.",
        ),
    ]


def _parameter(name: str, made: Any) -> OpenApiParameter:
    """A query parameter from its filter: type, bounds, words."""
    extra = made.extra
    kind: dict[str, Any] = {"type": "string", "minLength": 1}
    if type(made).__name__ == "WholeNumberFilter":
        kind = {"type": "integer", "minimum": extra["min_value"], "maximum": extra["max_value"]}
    elif type(made).__name__ == "UUIDFilter":
        kind = {"type": "string", "format": "uuid"}
    elif type(made).__name__ == "BooleanWordFilter":
        kind = {"type": "string", "enum": ["true", "false"]}
    elif "choices" in extra:
        kind = {"type": "string", "enum": [value for value, _label in extra["choices"]]}
    elif "max_length" in extra:
        # A word of blanks or of signs that no database can hold is refused.
        kind |= {"maxLength": extra["max_length"], "pattern": "^[^\\x00]*[^\\s\\x00][^\\x00]*$"}
    return OpenApiParameter(name, kind, description=str(made.label or ""))


class TokenScheme(OpenApiAuthenticationExtension):
    target_class = "api.authentication.TokenAuthentication"
    name = "token"

    def get_security_definition(self, auto_schema: Any) -> dict[str, Any]:
        return {
            "type": "apiKey",
            "in": "header",
            "name": "Authorization",
            "description": "`Token ` and an API token from your own page. "
            "Rights: read, submit, moderate. Kept as a digest only.",
        }


class SessionScheme(OpenApiAuthenticationExtension):
    target_class = "api.authentication.Session"
    name = "session"

    def get_security_definition(self, auto_schema: Any) -> dict[str, Any]:
        return {
            "type": "apiKey",
            "in": "cookie",
            "name": "sessionid",
            "description": "The session of the pages; writes also need the `X-CSRFToken` header.",
        }
