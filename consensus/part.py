"""Some sheets of an encoded design by themselves, and what is said of them put back in its place."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from consensus.encoding import Encoded
from consensus.explanation import Explanation

IntArray = NDArray[np.int64]

# fields of an explanation with one entry a sheet; the others have one a reading
BY_SHEET = ("hypothesis", "table", "p", "mistakes", "faults", "tables", "plain", "slip", "as_read")


def part_of(encoded: Encoded, sheets: IntArray) -> Encoded:
    """Some sheets of a design by themselves, in its shape and alphabet; no weight is taken anew."""
    rows = rows_of(encoded, sheets)
    number = np.full(encoded.sheets, -1, dtype=np.int64)
    number[sheets] = np.arange(len(sheets))
    design = encoded.readings
    raw = np.flatnonzero(np.isin(design.readings.sheet, sheets))
    columns = {name: column[raw] for name, column in design.readings.__dict__.items()}
    columns["sheet"] = number[columns["sheet"]].astype(np.int32)
    readings = replace(
        design,
        sheets=tuple(design.sheets[at] for at in sheets),
        readings=replace(design.readings, **columns),
    )
    merged = None if encoded.sweeps is None else np.searchsorted(rows, encoded.sweeps[raw])
    by_row = ("cell", "code", "ohm", "missed", "torn", "weight", "shifted_code")
    by_sheet = ("contributor", "counts", "strange", "offset", "unit")
    return replace(
        encoded,
        readings=readings,
        sheet=number[encoded.sheet[rows]],
        sweeps=merged,
        raw_code=encoded.raw_code[raw],
        raw_limit=encoded.raw_limit[raw],
        **{name: getattr(encoded, name)[rows] for name in by_row},
        **{name: getattr(encoded, name)[sheets] for name in by_sheet},
    )


def rows_of(encoded: Encoded, sheets: IntArray) -> IntArray:
    return np.flatnonzero(np.isin(encoded.sheet, sheets))


def join_explanations(old: Explanation, mine: Explanation, at: IntArray, row: IntArray) -> Explanation:
    """The explanations of all counting sheets: `mine` of the sheets at (n,), the others as they were.

    row: merged reading of the whole design for each of the readings that `mine` numbers by themselves.
    """
    many = max(len(old.hypothesis), int(at.max()) + 1)
    new = replace(mine, sheet=at[mine.sheet], row=row[mine.row])
    kept = ~np.isin(old.sheet, at)
    sheet = np.concatenate([old.sheet[kept], new.sheet])
    order = np.argsort(sheet, kind="stable")
    parts = {}
    for name, before in old.__dict__.items():
        told = getattr(new, name)
        if name in BY_SHEET:
            parts[name] = np.zeros((many, *before.shape[1:]), dtype=before.dtype)
            parts[name][: len(before)] = before
            parts[name][at] = told
        else:
            parts[name] = np.concatenate([before[kept], told])[order]
    return Explanation(**parts)
