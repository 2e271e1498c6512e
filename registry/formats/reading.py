"""What a technician writes down for one meter reading, read as a kind and its figures in Ω.

What is not understood is refused with a sentence that says what to write: a wrong guess costs a factor of
a thousand.  So `1,200` (1.2 or 1200?), `0.8 mΩ` (milli or mega?) and `4E7` (4.7 or 40 million?) are refused.
"""

from __future__ import annotations

import re
from enum import IntEnum
from functools import lru_cache
from typing import NamedTuple

from registry.errors import RegistryError
from registry.translation import gettext as _

LONGEST = 40  # characters; no meter's display is longer
LONGEST_TYPED = 60  # with the blanks in it, as the database keeps it
HIGHEST_OHM = 1e12  # insulation testers end here
DEFAULT_LIMIT_OHM = 2e7  # contracts.md, limit_ohm


class ReadingKind(IntEnum):
    """What the meter showed.  The first four have the engine's numbers; NOT_TAKEN never reaches it."""

    VALUE = 0
    RANGE = 1
    CONTINUITY = 2
    OVER_LIMIT = 3
    NOT_TAKEN = 4


class Reading(NamedTuple):
    """kind, and low and high in Ω as shown (equal for a value; None where there is no figure)."""

    kind: ReadingKind
    low: float | None
    high: float | None


_OVER_LIMIT = {"ol", "o.l", "0l", "0.l", "inf", "infinity", "∞", "open", "over", "overload", "over limit"}
_CONTINUITY = {"cont", "continuity", "beep", "beeps", "buzz", "buzzer", "closed"}
_SPACES = re.compile(r"[\s\u00a0\u2007\u2009\u202f]+")
_UNIT = r"(?:Ω|[Oo]hms?|OHMS?)"  # U+2126 is turned into U+03A9 first
_FIGURE = r"(?P<figure>[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)"
_PLAIN = re.compile(
    rf"{_FIGURE}(?P<power>[eE][+-]?[0-9]{{1,3}})? ?(?P<prefix>[kKMG]|[Mm]eg|MEG|m)? ?(?:{_UNIT}|[Rr])?"
)
_CODED = re.compile(r"(?P<whole>[0-9]*)(?P<letter>[RrKkMmGL])(?P<part>[0-9]+)")  # IEC 60062
_TOLERANCE = re.compile(r"(?:[0-9]+[RKMGL][0-9]*|[RKMGL][0-9]+)[A-Z]")
_RANGE = re.compile(r"(?P<left>.+?) ?(?:…|(?<!\.)\.\.\.?(?!\.)|–|—|-| to ) ?(?P<right>[^-–—…]+)")
_NEGATIVE = re.compile(r"[-−–] ?[0-9.,]")
_GROUPED = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")
_MANY_MARKS = re.compile(r"[0-9]+(?:[.,][0-9]+){2,}.*|[0-9]{1,3}(?: [0-9]{3})+.*")
_UNIT_AFTER_OL = re.compile(rf" ?[kM]?{_UNIT}$")
_FACTORS = {"": 1.0, "L": 1e-3, "R": 1.0, "K": 1e3, "M": 1e6, "MEG": 1e6, "G": 1e9}


def parse_reading(
    text: str, over_limit_sign: str | None = None, limit_ohm: float = DEFAULT_LIMIT_OHM
) -> Reading:
    """The reading that `text` stands for, or a `RegistryError` (code `reading_…`) that says what to write.

    over_limit_sign: what the reader's own meter shows when the leads are apart (many show a lone `1`);
    limit_ohm: the meter's limit, taken as the upper end where a figure wandered up to over-limit (`0.4…OL`).

    >>> parse_reading("4R7").low, parse_reading("OL").kind.name, parse_reading("0,4…35")[1:]
    (4.7, 'OVER_LIMIT', (0.4, 35.0))
    """
    return _read(_kept(text), over_limit_sign, limit_ohm)


def _kept(text: str) -> str:
    """What may be remembered: a hundred thousand texts of any length, if blank, would fill the memory."""
    text = text.strip()
    if len(text) > LONGEST_TYPED:
        raise _refused(text[:12] + "…", "reading_unreadable")
    return text


@lru_cache(maxsize=100_000)
def _read(text: str, over_limit_sign: str | None, limit_ohm: float) -> Reading:
    plain = _tidied(text)
    if not plain:
        return Reading(ReadingKind.NOT_TAKEN, None, None)
    if len(plain) > LONGEST:
        raise _refused(plain[:12] + "…", "reading_unreadable")
    if over_limit_sign and _sign_key(plain) == _sign_key(_tidied(over_limit_sign)):
        return Reading(ReadingKind.OVER_LIMIT, None, None)
    if _is_over_limit(plain):
        return Reading(ReadingKind.OVER_LIMIT, None, None)
    if plain.lower().rstrip(".") in _CONTINUITY:
        return Reading(ReadingKind.CONTINUITY, None, None)
    if _PLAIN.fullmatch(plain) or _CODED.fullmatch(plain) or not (ends := _RANGE.fullmatch(plain)):
        value = parse_ohm(plain)
        return Reading(ReadingKind.VALUE, value, value)
    return _read_range(plain, ends["left"], ends["right"], limit_ohm)


def _read_range(text: str, left: str, right: str, limit_ohm: float) -> Reading:
    if _is_over_limit(left) and _is_over_limit(right):
        return Reading(ReadingKind.OVER_LIMIT, None, None)
    try:
        low, high = sorted(limit_ohm if _is_over_limit(end) else parse_ohm(end) for end in (left, right))
    except RegistryError as error:
        raise _why_unreadable(text) if error.code == "reading_unreadable" else error from None
    return Reading(ReadingKind.VALUE if low == high else ReadingKind.RANGE, low, high)


def parse_ohm(text: str) -> float:
    """One resistance in Ω: `0.4`, `,4`, `1.2k`, `0.8 MΩ`, or by IEC 60062 `4R7`, `R47`, `1M2`, `2L00`.

    >>> parse_ohm("0.8 Mohm"), parse_ohm("L50")
    (800000.0, 0.0005)
    """
    return _ohm(_kept(text))


@lru_cache(maxsize=100_000)
def _ohm(text: str) -> float:
    plain = _tidied(text)
    if _NEGATIVE.match(plain):
        raise _refused(plain, "reading_negative")
    if coded := _CODED.fullmatch(plain):
        value = _coded_value(plain, coded)
    elif match := _PLAIN.fullmatch(plain):
        value = _plain_value(plain, match)
    else:
        raise _why_unreadable(plain)
    if value > HIGHEST_OHM:
        raise _refused(plain, "reading_absurd")
    return value


def _plain_value(text: str, match: re.Match[str]) -> float:
    figure, power, prefix = match["figure"], match["power"] or "", match["prefix"] or ""
    if _GROUPED.fullmatch(figure):
        raise _refused(text, "reading_ambiguous", figure)
    if prefix == "m":
        raise _refused(text, "reading_milli_or_mega", figure)
    if power.startswith("E") and power[1:].isdigit() and figure.isdigit():
        raise _refused(text, "reading_exponent_or_code", figure)
    return float(figure.replace(",", ".") + power) * _FACTORS[prefix.upper()]


def _coded_value(text: str, match: re.Match[str]) -> float:
    whole, letter, part = match["whole"] or "0", match["letter"], match["part"]
    if letter == "m":
        raise _refused(text, "reading_milli_or_mega", f"{whole}.{part}")
    return float(f"{whole}.{part}") * _FACTORS[letter.upper()]


def _tidied(text: str) -> str:
    return _SPACES.sub(" ", text).strip().replace("\u2126", "Ω")


def _sign_key(text: str) -> str:
    return text.replace(" ", "").rstrip(".").lower()


def _is_over_limit(text: str) -> bool:
    bare = _UNIT_AFTER_OL.sub("", text).lower().strip(" .")
    return bare in _OVER_LIMIT


def _why_unreadable(text: str) -> RegistryError:
    if _TOLERANCE.fullmatch(text):
        return _refused(text, "reading_tolerance", text[:-1])
    if _MANY_MARKS.fullmatch(text):
        return _refused(text, "reading_grouped")
    if text.startswith((">", "≥")):
        return _refused(text, "reading_above")
    return _refused(text, "reading_unreadable")


def _refused(text: str, code: str, figure: str = "") -> RegistryError:
    message, advice = _reasons(code)
    return RegistryError(
        code, message.format(text=text, **_forms(figure)), advice.format(text=text, **_forms(figure))
    )


def _forms(figure: str) -> dict[str, str]:
    """`1,200` in its two meanings: 1.2 and 1200."""
    pointed = figure.replace(",", ".")
    short = pointed.rstrip("0").rstrip(".") if "," in figure else pointed
    return {"figure": short, "joined": figure.replace(",", "").replace(".", "")}


def _reasons(code: str) -> tuple[str, str]:
    usual = _("Write 1.2k, 4R7, 0.8 MΩ or OL; leave it empty if not taken.")
    return {
        "reading_unreadable": (_("“{text}” is not a resistance."), usual),
        "reading_negative": (_("“{text}” is negative; a resistance never is."), usual),
        "reading_absurd": (_("“{text}” is more than any meter shows."), usual),
        "reading_ambiguous": (
            _("“{text}”: {figure} or {joined}?"),
            _("Write {figure} with a point, or {joined} without a mark."),
        ),
        "reading_milli_or_mega": (
            _("“{text}”: thousandths or millions of an ohm?"),
            _("Write {figure}M for millions; write thousandths as a plain figure, as in 0.005."),
        ),
        "reading_exponent_or_code": (
            _("“{text}”: a power of ten, or a decimal point written as E?"),
            _("Write R for the point, as in 4R7, or a small e for the power, as in 4e7."),
        ),
        "reading_tolerance": (
            _("“{text}” ends in a tolerance letter; a meter shows none."),
            _("Write {figure} if that is what the meter showed."),
        ),
        "reading_grouped": (
            _("“{text}” has its digits in groups."),
            _("Write the digits together, with one point for decimals: 1200 or 1200.5."),
        ),
        "reading_above": (
            _("“{text}” says only that it is above something."),
            _("Write OL, and give the meter's highest resistance as its limit."),
        ),
    }[code]
