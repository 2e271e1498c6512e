"""What a column of somebody's own spreadsheet means: guessed from its head, chosen by the person."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Mapping, Sequence

IGNORE = "ignore"
MOST_ABOVE = 15  # rows in which heads are looked for: titles and remarks stand above them
PIN = "pin:"  # pin:4, or pin:2/3: the column holds readings of this pin against the common, or of this pair
PLAIN_ROLES = (
    "unit",
    "submission",
    "position",
    "pin",
    "against",
    "reading",
    "sweep",
    "between",
    "class",
    "held_good",
    "limit_ohm",
    "lead_ohm",
)
_WORDS = {
    "unit": "unit switch serial key einheit schalter unidad",
    "submission": "submission sheet run blatt hoja",
    "position": "position pos detent gear lever stellung posicion",
    "pin": "pin terminal cavity line kontakt",
    "against": "against common reference gegen contra",
    "reading": "reading ohm ohms value resistance measured meter ablesung widerstand lectura",
    "sweep": "sweep pass",
    "between": "between gap",
    "class": "class source part",
    "held_good": "held heldgood good why",
    "limit_ohm": "limit limitohm range",
    "lead_ohm": "lead leads leadohm",
}
_ROLE_OF = {word: role for role, words in _WORDS.items() for word in words.split()}


def heads_of(row: Sequence[str]) -> list[str]:
    """The heads, each once: an empty one is named by its place, a second one of a name by its count."""
    seen: dict[str, int] = {}
    heads = []
    for n, text in enumerate(row, start=1):
        name = text or f"column {n}"
        seen[name] = seen.get(name, 0) + 1
        heads.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return heads


def head_row_of(cells: Sequence[Sequence[str]], pins: Iterable[str]) -> int:
    """The row, from 1, that reads most like heads; the first, unless a title stands above them.

    >>> head_row_of([["Depot, spring", ""], ["", ""], ["Switch", "Pin 2"], ["shelf 3", "0.4"]], ["1", "2"])
    3
    """
    labels = set(pins)
    known = [set(roles_guessed(heads_of(row), labels).values()) - {IGNORE} for row in cells[:MOST_ABOVE]]
    if len(known[0]) > 1:
        return 1
    best = max(len(roles) for roles in known)
    return 1 + next(n for n, roles in enumerate(known) if len(roles) == best) if best > 1 else 1


def heads_digest(heads: Iterable[str]) -> str:
    """Files with the same heads are of one form, in whichever order the columns stand."""
    return hashlib.sha256(json.dumps(sorted(head.casefold() for head in heads)).encode()).hexdigest()


def roles_guessed(heads: Sequence[str], pins: Iterable[str]) -> dict[str, str]:
    """head → role.  No role but the readings of a pin is given twice.

    >>> roles_guessed(["Switch", "Gear", "Pin 2", "2/3", "remarks"], ["1", "2", "3"])
    {'Switch': 'unit', 'Gear': 'position', 'Pin 2': 'pin:2', '2/3': 'pin:2/3', 'remarks': 'ignore'}
    """
    labels = set(pins)
    found: dict[str, str] = {}
    for head in heads:
        role = _pin_role(head, labels) or _plain_role(head)
        found[head] = IGNORE if role in found.values() else role
    return found


def _pin_role(head: str, labels: set[str]) -> str:
    bare = re.sub(r"^(pin|terminal|cavity)\s+", "", head.strip(), flags=re.IGNORECASE)
    if bare in labels:
        return PIN + bare
    pair = [part.strip() for part in bare.split("/")]
    return f"{PIN}{pair[0]}/{pair[1]}" if len(pair) == 2 and set(pair) <= labels else ""


def _plain_role(head: str) -> str:
    for word in re.findall(r"[^\W\d_]+", head.casefold().replace("ó", "o")):
        if word in _ROLE_OF:
            return _ROLE_OF[word]
    return IGNORE


def roles_known(roles: Mapping[str, str], pins: Iterable[str]) -> dict[str, str]:
    """Those of the roles that there are; anything else is left out of the import."""
    labels = set(pins)
    return {
        head: role if role in PLAIN_ROLES or set(role.removeprefix(PIN).split("/")) <= labels else IGNORE
        for head, role in roles.items()
    }
