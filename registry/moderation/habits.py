"""How contributors read, one a row: moderators look for hands that need help, and for made-up groups."""

from __future__ import annotations

from dataclasses import dataclass

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from registry.bridge.habits import Habits
from registry.formats.figures import rate_text, rates_text, share_text
from registry.moderation.guard import moderator_page, person
from registry.services.habits import ORDERS, habits_of_all
from registry.templatetags.figures import finding_word
from registry.translation import decimal

A_PAGE = 50
HEADS: dict[str, Promise] = {
    "miss": _("Contact read as open"),
    "invent": _("Open read as contact"),
    "mistakes": _("Mistakes"),
    "leads": _("Closed contacts above others"),
    "h": _("Mandel's h"),
    "k": _("Mandel's k"),
    "made_up": _("In coordinated groups"),
    "sheets": _("Sheets"),
}


@dataclass(frozen=True)
class Cell:
    """says: the figure; more: lines of interval, limit or entries; stands_out: beyond the usual."""

    says: str
    more: tuple[str, ...] = ()
    stands_out: bool = False


@moderator_page
def habits(request: HttpRequest) -> HttpResponse:
    query = request.GET.get("q", "").replace("\0", "").strip()[:80]
    order = request.GET.get("sort", "")
    order = order if order in ORDERS else ""
    found = habits_of_all(by=person(request), query=query, order=order)
    pages = Paginator(found, A_PAGE).get_page(request.GET.get("page", 1))
    # what the list is sorted by stands first, so that a phone shows it without scrolling sideways
    names = sorted(HEADS, key=lambda name: name != order)
    context = {
        "page": "desk",
        "query": query,
        "order": order,
        "pages": pages,
        "heads": [(name, HEADS[name]) for name in names],
        "rows": [(row.contributor, [_cell(row.habits, name) for name in names]) for row in pages],
    }
    return render(request, "moderator/habits.html", context)


def _cell(of: Habits, name: str) -> Cell:
    if name in ("miss", "invent"):
        rate = of.miss if name == "miss" else of.invent
        return Cell(rate_text(rate.share), (rates_text(rate.low, rate.high),))
    if name == "mistakes":
        return Cell("" if of.mistakes else "–", tuple(f"{finding_word(m)}: {n}" for m, n in of.mistakes))
    if name == "leads":
        return Cell(f"{_signed(of.leads_ohm, 2)} Ω", stands_out=of.leads_seen)
    if name == "made_up":
        return Cell(share_text(of.made_up))
    if name == "sheets":
        return Cell(f"{of.sheets:.0f}")
    if of.mandel is None:
        return Cell("–")
    if name == "h":
        return Cell(_signed(of.mandel.h, 1), (decimal(f"±{of.mandel.h_limit:.1f}"),), of.level_unusual)
    return Cell(decimal(f"{of.mandel.k:.1f}"), (decimal(f"≤ {of.mandel.k_limit:.1f}"),), of.spread_unusual)


def _signed(figure: float, digits: int) -> str:
    return decimal(f"{figure:+.{digits}f}").replace("-", "\N{MINUS SIGN}")
