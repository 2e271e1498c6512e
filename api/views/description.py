"""The description of the API, its browsable form, and the answer for addresses that don't exist."""

from __future__ import annotations

import hashlib
import json
from functools import lru_cache
from typing import Any

from django.http import Http404, HttpResponse, HttpResponsePermanentRedirect
from django.shortcuts import render
from django.urls import Resolver404, resolve
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from api.description.operations import described
from api.permissions import OPEN
from api.problems import Failure
from api.views.base import ApiView
from registry.translation import gettext as _


@lru_cache(maxsize=1)
def description() -> tuple[bytes, str]:
    """OpenAPI 3.1 as bytes, and their tag; made once a process."""
    made: dict[str, Any] = SchemaGenerator(api_version=None).get_schema(request=None, public=True)
    text = json.dumps(made, ensure_ascii=False, separators=(",", ":"), default=str).encode()
    return text, hashlib.sha256(text).hexdigest()


class Schema(ApiView):
    rules = {"GET": OPEN}

    @described(
        "schema_retrieve",
        answer={"type": "object", "required": ["openapi", "paths"]},
        example={"openapi": "3.1.0", "info": {"title": "Benchquorum API", "version": "1"}, "paths": {}},
    )
    def get(self, request: Request) -> HttpResponse:
        """This description (OpenAPI 3.1)."""
        text, digest = description()
        response = HttpResponse(text, content_type="application/json")
        response["ETag"] = f'"{digest}"'
        return response


class Docs(ApiView):
    """A page for people; scripts and styles are our own files, as the security policy wants."""

    rules = {"GET": OPEN}

    @extend_schema(exclude=True)
    def get(self, request: Request) -> HttpResponse:
        return render(request._request, "api/docs.html")


class Nowhere(ApiView):
    """Whatever else is asked for under /api/."""

    rules = dict.fromkeys(["GET", "POST", "PUT", "PATCH", "DELETE"], OPEN)

    def known_query(self) -> set[str]:
        return set(self.request.query_params)

    @extend_schema(exclude=True)
    def get(self, request: Request, **kwargs: Any) -> HttpResponse:
        path = request.path
        if not path.endswith("/") and _resolves(path + "/"):
            if request.method in ("GET", "HEAD"):
                query = request.META.get("QUERY_STRING", "")
                return HttpResponsePermanentRedirect(f"{path}/" + (f"?{query}" if query else ""))
            raise Failure(404, "not_found", _("This address ends with a slash: write it there."))
        raise Http404

    post = put = patch = delete = get


def _resolves(path: str) -> bool:
    try:
        return resolve(path).func.view_class is not Nowhere  # type: ignore[attr-defined]
    except (Resolver404, AttributeError):
        return False
