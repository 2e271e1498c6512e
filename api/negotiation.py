"""Which form an answer takes: the one that Accept gives most weight (RFC 9110, 12.5.1)."""

from __future__ import annotations

import re
from typing import Any

from rest_framework.exceptions import NotAcceptable
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.request import Request
from rest_framework.utils.mediatypes import _MediaType

_WEIGHT = re.compile(r"0(\.[0-9]{0,3})?|1(\.0{0,3})?", re.ASCII)


class ByWeight(DefaultContentNegotiation):
    """Of equal weight: what is named more closely, then the order of the view."""

    def select_renderer(
        self, request: Request, renderers: Any, format_suffix: str | None = None
    ) -> tuple[Any, str]:
        ranges = [_MediaType(text) for text in self.get_accept_list(request)]
        best: tuple[float, int] = (0.0, 0)  # what weighs nothing is not wanted
        chosen: tuple[Any, str] | None = None
        for renderer in renderers:
            named = _closest(ranges, _MediaType(renderer.media_type))
            if named is None:
                continue
            rank = (_weight(named), named.precedence)
            if rank[0] > 0 and rank > best:
                best, chosen = rank, (renderer, _shown(renderer.media_type, named))
        if chosen is None:
            raise NotAcceptable(available_renderers=renderers)
        return chosen


def _closest(ranges: list[Any], form: Any) -> Any:
    """What Accept says of a form: `text/csv` before `text/*` before `*/*`."""
    fitting = [one for one in ranges if form.match(one)]
    return max(fitting, key=lambda one: one.precedence, default=None)


def _weight(named: Any) -> float:
    """From 0, not at all, to 1, which is meant where nothing, or nothing that can be read, is said."""
    said = named.params.get("q", "1")
    return float(said) if _WEIGHT.fullmatch(said) else 1.0


def _shown(media_type: str, named: Any) -> str:
    """With what else was asked for, as `indent`."""
    more = [f"{name}={value}" for name, value in named.params.items() if name != "q"]
    return ";".join([media_type, *more])
