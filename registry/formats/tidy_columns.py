"""The columns of the tidy form: which there are, and how one field of each is read.

Each parser takes the text of one field and gives its value or raises a `RegistryError` without a place.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from registry.errors import RegistryError
from registry.formats.labels import parse_label, parse_name
from registry.formats.reading import DEFAULT_LIMIT_OHM, parse_ohm, parse_reading
from registry.translation import gettext as _

HIGHEST_STEP = 10_000  # a file may have more positions than a design of the registry
HIGHEST_SWEEP = 10_000
HIGHEST_LEAD_OHM = 1000.0
SOURCE_CLASSES = ("original", "equivalent", "unknown")
HELD_GOOD = ("new", "worked", "passed_check", "no")
YES_NO = {
    "": False,
    "no": False,
    "n": False,
    "0": False,
    "false": False,
    "yes": True,
    "y": True,
    "1": True,
    "true": True,
}


def parse_step(text: str) -> int:
    return _whole_number(text, HIGHEST_STEP, _("Count positions from 1 in detent order, up to {highest}."))


def parse_sweep(text: str) -> int:
    if not text.strip():
        return 1
    return _whole_number(
        text, HIGHEST_SWEEP, _("Count sweeps from 1 (out, back, out again…), up to {highest}.")
    )


def _whole_number(text: str, highest: int, advice: str) -> int:
    plain = text.strip()
    if not (plain.isascii() and plain.isdigit() and len(plain) <= 9 and 1 <= int(plain) <= highest):
        raise RegistryError(
            "number_impossible",
            _("“{text}” is not a whole number from 1 to {highest}.").format(text=plain[:20], highest=highest),
            advice.format(highest=highest),
        )
    return int(plain)


def parse_between(text: str) -> bool:
    try:
        return YES_NO[text.strip().lower()]
    except KeyError:
        raise RegistryError(
            "word_unknown",
            _("“{text}” is neither yes nor no.").format(text=text.strip()[:20]),
            _("Write yes or no."),
        ) from None


def parse_limit(text: str) -> float:
    if not text.strip():
        return DEFAULT_LIMIT_OHM
    value = _figure(text, _("Write the highest resistance that the meter shows, in Ω, such as 20M."))
    if value < 1:
        raise RegistryError(
            "limit_impossible",
            _("No meter's highest resistance is {text} Ω.").format(text=text.strip()),
            _("Write the highest resistance that the meter shows, in Ω, such as 20M."),
        )
    return value


def parse_lead(text: str) -> float:
    if not text.strip():
        return 0.0
    value = _figure(text, _("Write what the meter shows with the leads together, in Ω, such as 0.2."))
    if value > HIGHEST_LEAD_OHM:
        raise RegistryError(
            "lead_impossible",
            _("{text} Ω is more than leads have.").format(text=text.strip()),
            _("Write what the meter shows with the leads together, in Ω, such as 0.2."),
        )
    return value


def _figure(text: str, advice: str) -> float:
    try:
        return parse_ohm(text)
    except RegistryError as error:
        if error.code == "reading_unreadable":
            raise RegistryError(error.code, error.message, advice) from None
        raise


def parse_source_class(text: str) -> str:
    return _one_of(text, SOURCE_CLASSES, "unknown")


def parse_held_good(text: str) -> str:
    return _one_of(text, HELD_GOOD, "worked")


def _one_of(text: str, words: tuple[str, ...], default: str) -> str:
    plain = text.strip().lower()
    if not plain:
        return default
    if plain not in words:
        raise RegistryError(
            "word_unknown",
            _("“{text}” is not one of {words}.").format(text=text.strip()[:20], words=", ".join(words)),
            _("Write one of them, or leave it empty for {default}.").format(default=default),
        )
    return plain


@dataclass(frozen=True, slots=True)
class Column:
    name: str
    needed: bool
    parse: Callable[[str], Any]


COLUMNS: tuple[Column, ...] = (
    Column("design", True, parse_name),
    Column("submission", True, parse_name),
    Column("unit", True, parse_name),
    Column("contributor", True, parse_name),
    Column("step", True, parse_step),
    Column("position", True, parse_label),
    Column("pin", True, parse_label),
    Column("against", True, parse_label),
    Column("reading", True, parse_reading),
    Column("sweep", False, parse_sweep),
    Column("between", False, parse_between),
    Column("limit_ohm", False, parse_limit),
    Column("lead_ohm", False, parse_lead),
    Column("class", False, parse_source_class),
    Column("held_good", False, parse_held_good),
)
