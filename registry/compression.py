"""Answers go out compressed to whoever takes them so; one may also say that one doesn't (`gzip;q=0`)."""

from __future__ import annotations

import re

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.middleware.gzip import GZipMiddleware
from django.utils.cache import patch_vary_headers

_REFUSED = re.compile(r"(^|[\s,])gzip\s*;\s*q=0(\.0{0,3})?\s*(,|$)", re.ASCII)


def takes_gzip(request: HttpRequest) -> bool:
    """RFC 9110, 12.5.3; without a weight in the header, as nearly all are, nothing is parsed."""
    asked = request.META.get("HTTP_ACCEPT_ENCODING", "")
    return "gzip" in asked and not (";" in asked and _REFUSED.search(asked))


class Compressed(GZipMiddleware):
    """The framework's, which takes every header with the word in it for a wish."""

    def process_response(self, request: HttpRequest, response: HttpResponseBase) -> HttpResponseBase:
        if "gzip" in request.META.get("HTTP_ACCEPT_ENCODING", "") and not takes_gzip(request):
            patch_vary_headers(response, ("Accept-Encoding",))
            return response
        return super().process_response(request, response)
