"""One sentence on how sure a chart is, and one on what would make it surer."""

from __future__ import annotations

from collections import Counter
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from registry.formats.figures import cells_text, listed, standing_text

AGREED_UNITS, AGREED_PEOPLE = 5, 3  # model.md, "Standing of a cell"
WORST_FIRST = ("disputed", "thin", "provisional", "agreed")


def how_sure(variant: dict[str, Any]) -> str:
    """“28 of 35 cells agreed, 5 provisional and 2 disputed; 11 units, 7 people.”"""
    standings = Counter(cell["standing"] for cell in variant["cells"] if cell["standing"] != "unread")
    total = sum(standings.values())
    if not total:
        return _("Nothing has been read yet.")
    behind = _("{units}, {people}").format(
        units=ngettext("{n} unit", "{n} units", variant["units"]).format(n=variant["units"]),
        people=ngettext("{n} person", "{n} people", variant["contributors"]).format(
            n=variant["contributors"]
        ),
    )
    if standings["agreed"] == total:
        return ngettext(
            "The one cell read is agreed: {behind}.", "All {n} cells read are agreed: {behind}.", total
        ).format(n=total, behind=behind)
    rest = [f"{standings[word]} {standing_text(word)}" for word in WORST_FIRST[:3] if standings[word]]
    return _("{agreed} of {total} cells agreed, {rest}: {behind}.").format(
        agreed=standings["agreed"], total=total, rest=listed(rest), behind=behind
    )


def what_would_help(variant: dict[str, Any], common: str | None) -> str:
    """What the next sheet should be, or nothing where all is agreed."""
    cells = [cell for cell in variant["cells"] if cell["standing"] not in ("agreed", "unread")]
    disputed = [cell for cell in cells if cell["standing"] == "disputed"]
    if disputed:
        return _("Disputed: {cells}. A reading of one more unit there would help most.").format(
            cells=cells_text(disputed, common)
        )
    if not cells:
        return ""
    units = max(AGREED_UNITS - int(cell["units"]) for cell in cells)
    people = max(AGREED_PEOPLE - int(cell["contributors"]) for cell in cells)
    if units <= 0 and people <= 0:
        return _("Not all readings say the same yet; one more unit would help.")
    needed = max(units, people, 1)
    more = ngettext("{n} more unit that agrees", "{n} more units that agree", needed).format(n=needed)
    if people <= 0:
        return _("{more} would make it all agreed.").format(more=more)
    others = ngettext(
        "read by {n} more person of another workshop",
        "read by {n} more people of other workshops",
        people,
    ).format(n=people)
    return _("{more}, {others}, would make it all agreed.").format(more=more, others=others)
