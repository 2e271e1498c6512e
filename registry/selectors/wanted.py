"""The wanted list: designs ranked by what one more sheet would settle × how many ask."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, F, Q, QuerySet

from registry.bridge.checks import standing_settings
from registry.models import Follow, User
from registry.selectors.designs import designs_for_list

MOST = 100


@dataclass(frozen=True)
class WantedDesign:
    """settles: cells whose standing would rise with one more agreeing unit of another person; cells: all."""

    design: Any
    asking: int
    settles: int
    cells: int
    has_chart: bool
    mine: bool = False

    @property
    def rank(self) -> int:
        return self.settles * (1 + self.asking)


def wanted_designs(user: User | None = None) -> list[WantedDesign]:
    """At most MOST, the most wanted first; designs of which everything is agreed are not on it."""
    designs = (
        designs_for_list()
        .filter(merged_into=None)
        .annotate(asking=Count("followers", filter=Q(followers__wanting=True), distinct=True))
        .filter(
            Q(current_chart=None)
            | Q(current_chart__cells_agreed__lt=F("current_chart__cells"))
            | Q(asking__gt=0)
        )
        .order_by("-asking", "-position_count", "pk")[: 3 * MOST]
    )
    mine: set[int] = set()
    if user is not None:
        mine = set(Follow.objects.filter(user=user, wanting=True).values_list("design_id", flat=True))
    found = [_wanted(design, design.pk in mine) for design in designs]
    found.sort(key=lambda one: (-one.rank, one.design.name, one.design.pk))
    return [one for one in found if one.settles][:MOST]


def _wanted(design: Any, mine: bool) -> WantedDesign:
    chart = getattr(design, "current_chart", None)
    if chart is None:
        cells = design.position_count * max(1, design.pin_count - 1)
        return WantedDesign(design, design.asking, cells, cells, False, mine)
    content = json.loads(bytes(chart.revision.content))
    settles, cells = settled_by_one(content)
    return WantedDesign(design, design.asking, settles, cells, True, mine)


def settled_by_one(content: dict[str, Any]) -> tuple[int, int]:
    """(cells whose standing one more agreeing unit would raise, all cells) of the largest variant."""
    if not content["variants"]:
        return 0, 0
    needed = standing_settings()
    cells = content["variants"][0]["cells"]
    return sum(_rises(cell, needed) for cell in cells), len(cells)


def _rises(cell: dict[str, Any], needed: dict[str, Any]) -> bool:
    if cell["standing"] == "agreed":
        return False
    if cell["standing"] in ("unread", "disputed"):
        return True
    units, people = cell["units"] + 1, cell["contributors"] + 1
    if units >= needed["agreed_units"] and people >= needed["agreed_contributors"]:
        return True
    return cell["standing"] == "thin"


def follows_of(user: User) -> QuerySet[Follow]:
    """What somebody follows, for their page."""
    return (
        Follow.objects.filter(user=user)
        .select_related("design__current_chart__revision", "design__maker")
        .defer("design__current_chart__revision__content", "design__current_chart__revision__inputs")
        .order_by("design__name")
    )
