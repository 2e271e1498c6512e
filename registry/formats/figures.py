"""Figures as people read them: probabilities, ohms, counts, lists of cells."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from registry.translation import decimal, ngettext
from registry.translation import gettext as _

MOST_NAMED = 3
KM_A_MILE = 1.609344  # international mile
NARROW = "\u202f"  # narrow no-break space: a figure and its unit stay in one line


def p_text(p: float) -> str:
    """A probability in words' company: never 1, never 0.

    >>> p_text(0.9996), p_text(0.934), p_text(0.002)
    ('p > 0.99', 'p = 0.93', 'p < 0.01')
    """
    if p >= 0.995:
        return decimal("p > 0.99")
    if p < 0.005:
        return decimal("p < 0.01")
    return decimal(f"p = {p:.2f}")


def share_text(share: float) -> str:
    """A share in whole per cent, never 0 or 100 where it isn't exactly so.

    >>> share_text(0.3976), share_text(0.9991)
    ('40 %', '> 99 %')
    """
    if 0.995 <= share < 1:
        return "> 99 %"
    if 0 < share < 0.005:
        return "< 1 %"
    return f"{share * 100:.0f} %"


def rate_text(rate: float) -> str:
    """A small share, with a decimal below ten per cent; never 0 where it isn't exactly so.

    >>> rate_text(0.0123), rate_text(0.0002), rate_text(0.213)
    ('1.2 %', '< 0.1 %', '21 %')
    """
    if rate >= 0.0995:
        return share_text(rate)
    if 0 < rate < 0.0005:
        return decimal("< 0.1 %")
    return decimal(f"{rate * 100:.1f} %")


def rates_text(low: float, high: float) -> str:
    """The ends of a rate's interval.

    >>> rates_text(0.0002, 0.019)
    '< 0.1 % to 1.9 %'
    """
    return _("{low} to {high}").format(low=rate_text(low), high=rate_text(high))


def ohm_text(ohm: float) -> str:
    """A resistance as a meter would show it.

    >>> ohm_text(0.412), ohm_text(3900), ohm_text(2.2e6)
    ('0.41 Ω', '3.9 kΩ', '2.2 MΩ')
    """
    for factor, unit in ((1e6, "MΩ"), (1e3, "kΩ")):
        if ohm >= factor * 0.9995:
            return f"{short_text(ohm / factor)} {unit}"
    return f"{short_text(ohm)} Ω"


def short_text(figure: float) -> str:
    """Two digits behind the point at most, three in all.

    >>> short_text(0.4), short_text(12.34), short_text(480.2)
    ('0.4', '12.3', '480')
    """
    if figure >= 99.95:
        return f"{figure:.0f}"
    return decimal((f"{figure:.1f}" if figure >= 9.995 else f"{figure:.2f}").rstrip("0").rstrip("."))


def distance_text(km: float, unit: str = "km") -> str:
    """A distance in the reader's unit, "km" or "mi".

    >>> distance_text(160.9344), distance_text(160.9344, "mi"), distance_text(84000).replace(NARROW, " ")
    ('160.9 km', '100 mi', '84 000 km')
    """
    whole, _point, tenth = f"{in_unit(km, unit):,.1f}".replace(",", NARROW).partition(".")
    return f"{whole}{decimal('.' + tenth) if tenth != '0' else ''} {unit}"


def in_unit(km: float, unit: str) -> float:
    """Kilometres in the reader's unit, to a thousandth."""
    return round(km / KM_A_MILE if unit == "mi" else km, 3)


def state_text(state: str | None) -> str:
    return {
        "closed": _("closed"),
        "open": _("open"),
        "resistive": _("resistive"),
        None: _("not read"),
    }[state]


def standing_text(standing: str) -> str:
    return {
        "agreed": _("agreed"),
        "provisional": _("provisional"),
        "disputed": _("disputed"),
        "thin": _("thin"),
        "unread": _("not read"),
    }[standing]


def cell_text(cell: Mapping[str, Any], common: str | None = None) -> str:
    """Pin and position; the other pin too where it isn't the common.

    >>> cell_text({"position": "R", "pin": "4", "against": "1"}, common="1")
    'pin 4 in R'
    """
    against = cell.get("against")
    pin = cell["pin"]
    if common is not None and pin == common and against:
        pin, against = against, pin
    other = (
        "" if not against or common is None or against == common else _(" against {pin}").format(pin=against)
    )
    where = _("behind {position}") if cell.get("between") else _("in {position}")
    return _("pin {pin}{other} {where}").format(
        pin=pin, other=other, where=where.format(position=cell["position"])
    )


def cells_text(cells: Sequence[Mapping[str, Any]], common: str | None = None) -> str:
    """Up to three cells by name, the rest by number."""
    return listed([cell_text(cell, common) for cell in cells])


def listed(names: Sequence[str], most: int = MOST_NAMED) -> str:
    """A list as in a sentence.

    >>> listed(["P", "R"]), listed(["P", "R", "N", "D", "2"])
    ('P and R', 'P, R, N and 2 more')
    """
    if len(names) > most + 1:
        rest = len(names) - most
        more = ngettext("{count} more", "{count} more", rest).format(count=rest)
        return _("{names} and {last}").format(names=", ".join(names[:most]), last=more)
    if len(names) < 2:
        return "".join(names)
    return _("{names} and {last}").format(names=", ".join(names[:-1]), last=names[-1])


def pins_text(pins: Sequence[str]) -> str:
    return ngettext("pin {pins}", "pins {pins}", len(pins)).format(pins=listed(pins))


def interval_text(interval: Sequence[float]) -> str:
    return _("{low} to {high}").format(low=share_text(interval[0]), high=share_text(interval[1]))
