"""What a table of a design is: a variant that may be published, a coordinated block, or a candidate."""

from __future__ import annotations

import string

import numpy as np
from numpy.typing import NDArray

from consensus.encoding import Encoded
from consensus.findings import TableRole
from consensus.settings import Settings

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

MEMBER = 0.5  # posterior from which a unit belongs to a table
SURE_MEMBER = 0.95  # posterior from which it speaks for the publication of one


def table_roles(
    encoded: Encoded, kept: IntArray, unit_table: FloatArray, unit: IntArray, settings: Settings
) -> list[TableRole]:
    """Role of each table; the first, the largest, is the pattern itself.

    A further table is a variant with at least `variant_units` units from `variant_contributors`
    contributors, a coordinated block with `block_units` units from fewer, otherwise a candidate.
    """
    keys: dict[int, str] = {}
    kinds: dict[int, str] = {}
    for table in range(unit_table.shape[1]):
        members = np.flatnonzero(unit_table[:, table] > SURE_MEMBER)
        sheets = kept[np.isin(unit, members)]
        people = len(np.unique(encoded.contributor[sheets]))
        kinds[table] = role_kind(table, len(members), people, settings)
        if kinds[table] == "variant":
            names = [encoded.readings.sheets[sheet].name for sheet in sheets]
            keys[table] = min(names, default="")
    ordered = sorted(keys, key=lambda table: (keys[table], table))
    letters = {table: variant_letter(at) for at, table in enumerate(ordered)}
    return [
        TableRole(
            key=letters.get(table),
            minority=kind == "variant" and table > 0,
            coordinated=kind == "coordinated",
        )
        for table, kind in kinds.items()
    ]


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
