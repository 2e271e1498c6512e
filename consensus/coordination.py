"""What a table of a design is: a variant that may be published, a coordinated block, or a candidate."""

from __future__ import annotations

import string
from itertools import count

import numpy as np
from numpy.typing import NDArray

from consensus.encoding import Encoded
from consensus.findings import TableRole
from consensus.settings import Settings

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

MEMBER = 0.5  # posterior from which a unit belongs to a table
SUSPECTED = 0.45  # that a group too small to be named is coordinated, where its accounts are known for it
SURE_MEMBER = 0.95  # the same where the table may be a block: a stray unit must not make a variant of it
HARDLY_MADE = 0.05  # chance of a block up to which likely members speak for the publication of a table


def table_roles(
    encoded: Encoded,
    kept: IntArray,
    unit: IntArray,
    unit_table: FloatArray,
    bound: tuple[str | None, ...],
    settings: Settings,
    made: FloatArray | None = None,
) -> list[TableRole]:
    """Role of each table; the first, the largest, is the pattern itself.

    A further table is a variant with at least `variant_units` units from `variant_contributors`
    contributors, or where a moderator bound it (`bound`: (V,) its key); a coordinated block with
    `block_units` units from fewer; otherwise a candidate.  made: (V,) chance that accounts made a table up,
    by their number and what is known of them; a further one that probably was is never a variant, the first
    always is one: a design has a chart.  unit_table: (U, V).
    """
    first_names: dict[int, str] = {}
    kinds: list[str] = []
    for table in range(unit_table.shape[1]):
        chance = 0.0 if made is None else float(made[table])
        least = MEMBER if chance < HARDLY_MADE else SURE_MEMBER
        members, sheets, people = table_members(encoded, kept, unit, unit_table[:, table], least)
        by_hand = len(bound) > table and bound[table] is not None
        if table > 0 and chance > MEMBER:
            kinds.append("coordinated" if len(members) >= settings.block_units else "suspected")
        else:
            kinds.append("variant" if by_hand else role_kind(table, len(members), people, settings))
        if kinds[table] == "variant":
            names = [encoded.readings.sheets[sheet].name for sheet in sheets]
            first_names[table] = min(names, default="")
    keys = variant_keys(first_names, bound)
    return [
        TableRole(
            key=keys.get(table),
            minority=kind == "variant" and table > 0,
            coordinated=kind in ("coordinated", "suspected"),
            p=SUSPECTED if kind == "suspected" else 1.0,
        )
        for table, kind in enumerate(kinds)
    ]


def table_members(
    encoded: Encoded, kept: IntArray, unit: IntArray, chance: FloatArray, least: float
) -> tuple[IntArray, IntArray, int]:
    """(units, their sheets, contributors) that are of a table with more than `least`; chance: (U,)."""
    members = np.flatnonzero(chance > least)
    sheets = kept[np.isin(unit, members)]
    return members, sheets, len(np.unique(encoded.contributor[sheets]))


def variant_keys(first_names: dict[int, str], bound: tuple[str | None, ...]) -> dict[int, str]:
    """Key of each published table: the moderator's, else the next free letter in the order of the first
    submission's name.  Which key a table had before, the registry knows."""
    keys = {table: key for table, key in enumerate(bound) if key is not None and table in first_names}
    letters = (letter for letter in map(variant_letter, count()) if letter not in keys.values())
    for table in sorted(first_names, key=lambda table: (first_names[table], table)):
        if table not in keys:
            keys[table] = next(letters)
    return keys


def role_kind(table: int, units: int, contributors: int, settings: Settings) -> str:
    """variant, coordinated or candidate.

    >>> role_kind(1, 4, 4, Settings()), role_kind(1, 4, 3, Settings()), role_kind(1, 2, 2, Settings())
    ('variant', 'coordinated', 'candidate')
    """
    if table == 0 or (units >= settings.variant_units and contributors >= settings.variant_contributors):
        return "variant"
    if units >= settings.block_units and contributors < settings.variant_contributors:
        return "coordinated"
    return "candidate"


def variant_letter(at: int) -> str:
    """a, b, … z, aa, ab, …

    >>> variant_letter(0), variant_letter(25), variant_letter(26)
    ('a', 'z', 'aa')
    """
    letters = string.ascii_lowercase
    return letters[at] if at < 26 else variant_letter(at // 26 - 1) + letters[at % 26]
