"""Texts on their way into the cells of a table: nothing runs in a spreadsheet, and no name stops a file.

What comes in is looked at too (`labels.parse_name`, `Fields.name`); but an older registry, or the one that a
mirror follows, may have let in more.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Mapping
from itertools import chain, count

from registry.formats.labels import LONGEST_NAME, is_formula, is_shown

LONGEST_OWNER = 80
FORMULA_SIGNS = ("=", "+", "-", "@", "＝", "＋", "－", "＠", "\t", "\r", "\n")


def safe_text(text: str) -> str:
    """For a cell that people look at: led by an apostrophe where its first sign could begin a formula.

    >>> safe_text("=1+1"), safe_text("＝1"), safe_text("P")
    ("'=1+1", "'＝1", 'P')
    """
    return "'" + text if text.startswith(FORMULA_SIGNS) else text


def safe_label(text: str) -> str:
    """For a cell that is read again: what is no formula, as a position “-”, stays as it is.

    >>> safe_label("-"), safe_label("-1+2")
    ('-', "'-1+2")
    """
    return "'" + text if is_formula(text) or text[:1] in ("\t", "\r", "\n") else text


def label_read(text: str) -> str:
    """A cell that `safe_label` wrote, as it was."""
    return text[1:] if text.startswith("'") and is_formula(text[1:]) else text


def fit_name(text: str, longest: int = LONGEST_NAME) -> str:
    """A name that `parse_name` takes, whatever the text: the same text gives the same name, always.

    >>> fit_name("a\u2028b"), fit_name("=1"), fit_name(""), fit_name("x" * 9, 5)
    ('a\\\\u2028b', "'=1", '?', 'xxxx…')
    """
    name = text.strip()
    if not is_shown(name):
        name = "".join(sign if is_shown(sign) else ascii(sign)[1:-1] for sign in name)
    name = "'" + name if is_formula(name) else name or "?"
    return name if len(name) <= longest else name[: longest - 1].rstrip() + "…"


def names_apart(names: Mapping[str, str], owners: Mapping[str, str]) -> dict[str, str]:
    """A name of its own for each key: as it is where no other has it, else with its owner, else with a mark.

    >>> names_apart({"k": "a", "l": "a", "m": "b"}, {"k": "x", "l": "y", "m": "x"})
    {'k': 'a (x)', 'l': 'a (y)', 'm': 'b'}
    """
    plain = {key: fit_name(name) for key, name in names.items()}
    often = Counter(plain.values())
    taken = {name for name, times in often.items() if times == 1}
    told = {}
    for key, name in sorted(plain.items()):
        if often[name] > 1:
            words = chain([owners[key]], (_mark(key, n) for n in count()))
            name = next(one for word in words if (one := fit_with(name, word)) not in taken)
            taken.add(name)
        told[key] = name
    return told


def fit_with(name: str, more: str) -> str:
    """`name (more)`, cut where that is too long.

    >>> fit_with("x" * 200, "ann")[-8:], len(fit_with("x" * 200, "ann"))
    ('x… (ann)', 199)
    """
    end = f" ({fit_name(more, LONGEST_OWNER)})"
    return fit_name(fit_name(name, LONGEST_NAME - len(end) - 1) + end)


def _mark(key: str, n: int) -> str:
    return hashlib.sha256(f"{key} {n}".encode()).hexdigest()[:12]
