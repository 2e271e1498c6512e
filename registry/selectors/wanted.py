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
class Worth:
    """What one more agreeing unit of another person tells: cells that it would settle (the last one needed),
    all that are not agreed, all; worth: each open cell counts 1 / units that it still needs."""

    settles: int
    unsettled: int
    cells: int
    worth: float


@dataclass(frozen=True)
class WantedDesign:
    design: Any
    asking: int
    one_more: Worth
    has_chart: bool
    mine: bool = False

    @property
    def rank(self) -> float:
        return self.one_more.worth * (1 + self.asking)


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
    return [one for one in found if one.one_more.unsettled][:MOST]


def _wanted(design: Any, mine: bool) -> WantedDesign:
    chart = getattr(design, "current_chart", None)
    if chart is None:
        cells = design.position_count * max(1, design.pin_count - 1)
        needed = standing_settings()["agreed_units"]
        return WantedDesign(design, design.asking, Worth(0, cells, cells, cells / needed), False, mine)
    content = json.loads(bytes(chart.revision.content))
    return WantedDesign(design, design.asking, worth_of_one(content), True, mine)


def worth_of_one(content: dict[str, Any]) -> Worth:
    """Of the largest variant.  A disputed cell needs a moderator more than a unit: it counts as one that
    needs all its units."""
    needed = standing_settings()
    cells = content["variants"][0]["cells"] if content["variants"] else []
    left = [_left(cell, needed) for cell in cells if cell["standing"] != "agreed"]
    return Worth(
        settles=sum(count == 1 for count in left),
        unsettled=len(left),
        cells=len(cells),
        worth=sum(1 / count for count in left),
    )


def _left(cell: dict[str, Any], needed: dict[str, Any]) -> int:
    if cell["standing"] == "disputed":
        return int(needed["agreed_units"])
    units, people = (
        needed["agreed_units"] - cell["units"],
        needed["agreed_contributors"] - cell["contributors"],
    )
    return max(1, units, people)


def follows_of(user: User) -> QuerySet[Follow]:
    """What somebody follows, for their page."""
    return (
        Follow.objects.filter(user=user)
        .select_related("design__current_chart__revision", "design__maker")
        .defer("design__current_chart__revision__content", "design__current_chart__revision__inputs")
        .order_by("design__name")
    )
