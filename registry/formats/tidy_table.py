"""Tidy readings in columns: what the reader gives, and what bridge, import and writer take.

A million readings are a million entries in a dozen arrays, not a million objects.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

IntArray = NDArray[np.int32]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class TidySheet:
    """What the rows of one submission say alike.  design: index into `TidyTable.designs`.

    What stands behind `first_line` is known to the registry only; a file says nothing of it.
    """

    name: str
    design: int
    unit: str
    contributor: str
    source_class: str = "unknown"
    held_good: str = "worked"
    first_line: int = 0  # of the file; 0 where there is none
    workshop: str | None = None
    read_at: str = "bench"  # bench | connector | harness
    units_claimed: int = 1  # > 1: a summary sheet
    bound_variant: str | None = None


@dataclass(frozen=True)
class TidyTable:
    """Columns of equal length n, one entry a row of the file, in the file's order.

    sheet: index into `sheets`; step: 1-based place in detent order; position, pin, against: indices into
    `labels`; between: read between this step and the next; sweep: 1 = out, 2 = back…; reading: index into
    `typed`, what was written; kind: numbers of `ReadingKind`, NOT_TAKEN rows included; low, high: Ω as shown
    (nan where there is no figure); limit: Ω, highest that the meter shows; lead: Ω, leads shorted together;
    line: of the file (0 where there is none).
    """

    designs: tuple[str, ...]
    sheets: tuple[TidySheet, ...]
    labels: tuple[str, ...]
    typed: tuple[str, ...]
    sheet: IntArray
    step: IntArray
    position: IntArray
    between: BoolArray
    sweep: IntArray
    pin: IntArray
    against: IntArray
    reading: IntArray
    kind: IntArray
    low: FloatArray
    high: FloatArray
    limit: FloatArray
    lead: FloatArray
    line: IntArray
    warnings: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.sheet)
