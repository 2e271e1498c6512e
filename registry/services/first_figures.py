"""Figures that creep: each step within what was accepted before, all of them together not.

The step from one chart to the next is held in `holding`.  Whoever has the patience moves a figure refresh
by refresh; so it is measured against the chart in which its cell was first settled too, or, where a moderator
has let a change pass since, against the first from there on.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from functools import lru_cache
from typing import Any

from django.db.models import Q

from registry.models import ChartRevision, Decision, Design
from registry.services.holding import Place, figure_reasons, settled_cells

KEPT = 2048  # revisions of which the settled figures are at hand: a few kB each
CREPT = {"figure_changed": "figure_crept", "figure_wider": "range_crept"}
Cell = dict[str, Any]
Revisions = Iterable[tuple[int, str]]  # id and digest of the content


def reasons_of_creeping(
    design: Design, after: dict[str, Any], *, besides: Iterable[dict[str, Any]] = ()
) -> list[dict[str, Any]]:
    """figure_crept, range_crept: as figure_changed and figure_wider, against what was settled first.

    besides: reasons that there are already, each for its place.
    """
    said = [_place(reason) for reason in besides]
    shown = design.revisions.filter(state=ChartRevision.State.PUBLISHED).order_by("number")
    if not _crept(shown.values_list("pk", "content_sha256"), after):
        return []
    looked = _last_look(design)
    found = _crept(shown.filter(number__gte=looked).values_list("pk", "content_sha256"), after)
    return [{**reason, "code": CREPT[reason["code"]]} for reason in found if _place(reason) not in said]


def _place(reason: dict[str, Any]) -> list[Any]:
    return [reason.get(name) for name in ("variant", "position", "pin", "against")]


def _crept(shown: Revisions, after: dict[str, Any]) -> list[dict[str, Any]]:
    """shown: oldest first; read only until each settled figure has been found."""
    open_ = {key: cell for key, cell in settled_cells(after).items() if cell.get("ohm")}
    reasons: list[dict[str, Any]] = []
    for pk, digest in shown:
        if not open_:
            break
        first = _settled_figures(digest, pk)
        for key in [key for key in open_ if key in first and first[key]["state"] == open_[key]["state"]]:
            reasons += figure_reasons(key[0], first[key], open_.pop(key))
    return reasons


@lru_cache(maxsize=KEPT)
def _settled_figures(content_sha256: str, pk: int) -> dict[Place, Cell]:
    content = json.loads(bytes(ChartRevision.objects.values_list("content", flat=True).get(pk=pk)))
    return {
        key: {name: cell[name] for name in ("state", "ohm")}
        for key, cell in settled_cells(content).items()
        if cell.get("ohm")
    }


def _last_look(design: Design) -> int:
    """Number of the newest revision that moderators let pass in sight of it; 0 where there is none."""
    decisions = Decision.objects.filter(state=Decision.State.IN_FORCE)
    published = decisions.filter(kind=Decision.Kind.PUBLISH, target_kind="revision").values("target_uuid")
    approving = decisions.filter(before__approves__has_key=str(design.uuid)).values_list("before", flat=True)
    evidence = [before["approves"][str(design.uuid)] for before in approving]
    looked = design.revisions.filter(Q(uuid__in=published) | Q(evidence__in=evidence))
    return looked.order_by("-number").values_list("number", flat=True).first() or 0
