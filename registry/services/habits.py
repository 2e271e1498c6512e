"""How contributors read: each sees their own, moderators see all.

Never a public ranking: no address of the API and no export asks these services.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from registry.bridge.habits import Habits, reading_habits
from registry.models import Contributor, User
from registry.permissions import require
from registry.selectors.accounts_care import contributors_named
from registry.services.snapshots import snapshot_in_force


@dataclass(frozen=True)
class ContributorHabits:
    contributor: Contributor
    habits: Habits


# What the list may be sorted by, most first.  A rate counts by the lower end of its interval, so that who
# certainly slips comes before who was read too little to know; h by its distance from others, either way.
ORDERS: dict[str, Callable[[Habits], float]] = {
    "miss": lambda habits: habits.miss.low,
    "invent": lambda habits: habits.invent.low,
    "mistakes": lambda habits: sum(count for _name, count in habits.mistakes),
    "leads": lambda habits: habits.leads_ohm,
    "h": lambda habits: -1.0 if habits.mandel is None else abs(habits.mandel.h),
    "k": lambda habits: -1.0 if habits.mandel is None else habits.mandel.k,
    "made_up": lambda habits: habits.made_up,
    "sheets": lambda habits: habits.sheets,
}


def habits_of(contributor: Contributor, *, by: User) -> Habits | None:
    """Of one contributor in the snapshot in force; None where no pass has learned anything of them yet."""
    require(by, "see_habits", contributor)
    known = snapshot_in_force().content.get("contributors", {}).get(contributor.pseudonym)
    return None if known is None else reading_habits(known)


def habits_of_all(*, by: User, query: str = "", order: str = "") -> list[ContributorHabits]:
    """Of everybody in the snapshot in force, by pseudonym or in one of ORDERS."""
    require(by, "moderate")
    known = snapshot_in_force().content.get("contributors", {})
    people = contributors_named(query).order_by("pseudonym")
    rows = [ContributorHabits(p, reading_habits(known[p.pseudonym])) for p in people if p.pseudonym in known]
    key = ORDERS.get(order)
    return rows if key is None else sorted(rows, key=lambda row: -key(row.habits))
