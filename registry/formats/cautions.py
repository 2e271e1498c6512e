"""Cautions where work begins: one line with a sign word, and a longer word on a page of its own.

Sign words as ANSI Z535 and ISO 3864 use them; Danger only where someone can die.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _


@dataclass(frozen=True)
class Caution:
    """places: the pages that show its line."""

    slug: str
    sign: str
    line: str | Promise
    more: tuple[str | Promise, ...]
    places: frozenset[str]

    @property
    def word(self) -> str | Promise:
        return SIGNS[self.sign]


SIGNS = {"danger": _("Danger"), "warning": _("Warning"), "caution": _("Caution"), "notice": _("Notice")}

CAUTIONS = (
    Caution(
        "vehicle",
        "danger",
        _("Chock the wheels and support the vehicle before you reach under it."),
        (
            _("A lever that is moved, or a switch that is unplugged, can let a vehicle roll."),
            _("Level ground, parking brake on, wheels chocked on both sides, stands under a lifted vehicle."),
            _("Nobody stands before or behind the vehicle while the lever moves or the starter turns."),
        ),
        frozenset({"bench", "check", "before", "after"}),
    ),
    Caution(
        "interlock",
        "danger",
        _("Never bypass the start interlock, not even for a moment."),
        (
            _("The lines of this switch keep the starter from turning in a driving position."),
            _("A bridged line lets the vehicle start in gear; people have been run over that way."),
            _("A test that seems to need a bridge is a test for your maker's procedure."),
        ),
        frozenset({"check", "before", "after"}),
    ),
    Caution(
        "high-voltage",
        "danger",
        _("Hybrid and electric vehicles: high-voltage systems are for qualified people only."),
        (
            _("Orange cables and their housings can kill. They stay shut."),
            _("The switch itself carries low voltage; reaching it may lead past parts that don't."),
            _("The system is made safe by the maker's procedure, by a person who is qualified for it."),
        ),
        frozenset({"before"}),
    ),
    Caution(
        "battery",
        "warning",
        _("Isolate the battery before the plug comes off."),
        (
            _("A tool between supply and ground burns; a battery that is shorted can burst."),
            _("The negative cable comes off first and goes on last. Some controls forget without supply."),
        ),
        frozenset({"check", "before"}),
    ),
    Caution(
        "hot",
        "warning",
        _("Gearbox, exhaust and fluid stay hot for a long time."),
        (
            _("The switch often sits beside the exhaust or on the gearbox. Let it cool, or wear gloves."),
            _("Where the shaft passes through the housing, fluid may come out: hot and under pressure."),
        ),
        frozenset({"before"}),
    ),
    Caution(
        "unplug",
        "notice",
        _("Unplug the switch from the controller before any ohm reading."),
        (
            _("A meter sends its own current through what it measures; a controller may not bear it."),
            _("With the plug on, you read switch and controller side by side: the figures mean nothing."),
            _("Hold the leads on the pins without spreading them; a spread socket is a new fault."),
        ),
        frozenset({"bench", "check"}),
    ),
    Caution(
        "after",
        "danger",
        _("After fitting: with the brake held and nobody near, the starter must stay silent in every gear."),
        (
            _("Adjust the switch by its maker's procedure before the first start."),
            _("Try each position: the starter may turn in the start positions only, here mostly P and N."),
            _("A vehicle that starts in gear is out of service until that is put right."),
        ),
        frozenset({"after"}),
    ),
    Caution(
        "maker",
        "notice",
        _("Your maker's procedure, local rules and licensed practice come before anything said here."),
        (
            _("This registry shows what units read that people hold good: evidence, never a certificate."),
            _("Where a procedure of the maker differs, follow the procedure."),
            _("Where the law asks for a licence to work on a vehicle, this page is none."),
        ),
        frozenset({"check", "before", "after"}),
    ),
)


def cautions_for(place: str) -> list[Caution]:
    """The lines that belong where this work begins, the gravest first."""
    order = list(SIGNS)
    return sorted((c for c in CAUTIONS if place in c.places), key=lambda c: order.index(c.sign))


def caution_lines(*places: str) -> list[str]:
    """For print: sign word and line, each once, the gravest first."""
    order = list(SIGNS)
    found = sorted(
        (c for c in CAUTIONS if c.places & set(places)), key=lambda caution: order.index(caution.sign)
    )
    return [f"{caution.word}: {caution.line}" for caution in found]
