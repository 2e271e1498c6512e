"""What the engine is given: bench readings of one design as arrays.

A *place* is a position (or the gap behind it) and an unordered pair of pins.  A reading is a kind
and its figures in Ω, as the meter showed them: the lead resistance stands beside the figure and is
subtracted by the model, never by the caller, because "leads read higher than the contact" is itself
information.  A reading that was not taken has no row.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from consensus.errors import ConsensusError

IntArray = NDArray[np.int32]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


class Kind(IntEnum):
    """What the meter showed."""

    VALUE = 0  # a figure: low == high
    RANGE = 1  # it wandered between low and high
    CONTINUITY = 2  # the buzzer sounded, no figure written: closed, resistance unknown
    OVER_LIMIT = 3  # above the meter's limit: right-censored, not "open" until the model says so


@dataclass(frozen=True)
class Sheet:
    """One unit, read by one person in one go (who, which switch, why it is held good)."""

    name: str
    unit: str  # physical switch; equal keys within a design are one switch
    contributor: str
    workshop: str | None = None  # colleagues of one workshop are not independent; None: not known
    source_class: str = "unknown"  # original | equivalent | unknown
    held_good: str = "worked"  # new | worked | passed_check | no
    read_at: str = "bench"  # bench | connector | harness
    units_claimed: int = 1  # > 1: a summary sheet; still one unit of one contributor
    bound_variant: str | None = None  # a moderator's split or merge binds the sheet to this key

    @property
    def counts(self) -> bool:
        """True if the sheet may shape the pattern (model.md, "Evidence that may not go round in circles")."""
        return self.held_good in ("new", "worked") and self.source_class != "equivalent"


@dataclass(frozen=True)
class Readings:
    """Columns of equal length n, one entry a reading.

    sheet, position, pin, against: (n,) int32, 0-based indices into the design's sheets, positions, pins;
    between: (n,) bool, read between this position and the next; sweep: (n,) int32, 1 = out, 2 = back…;
    kind: (n,) int32 of `Kind`; low, high: (n,) float64 Ω as shown (nan for CONTINUITY and OVER_LIMIT);
    limit: (n,) Ω, highest resistance that the meter shows; lead: (n,) Ω, leads shorted together.
    """

    sheet: IntArray
    position: IntArray
    between: BoolArray
    sweep: IntArray
    pin: IntArray
    against: IntArray
    kind: IntArray
    low: FloatArray
    high: FloatArray
    limit: FloatArray
    lead: FloatArray

    def __post_init__(self) -> None:
        n = len(self.sheet)
        for name, column in self.__dict__.items():
            if column.shape != (n,):
                raise ConsensusError(
                    "column_shape",
                    f"Readings.{name} has shape {column.shape}, expected ({n},).",
                    "Give every column one entry a reading.",
                )

    def __len__(self) -> int:
        return len(self.sheet)


@dataclass(frozen=True)
class DesignReadings:
    """All sheets of one design (for a check: one sheet)."""

    design: str
    positions: tuple[str, ...]  # in detent order
    pins: tuple[str, ...]  # in connector order
    common: int | None  # index into pins; None: no common pin
    sheets: tuple[Sheet, ...]
    readings: Readings
    start_positions: tuple[int, ...] | None = None  # positions that release the starter; None: not known
    # open disputes, by place: (position, between, pin, against) indices, pin < against
    disputed: frozenset[tuple[int, bool, int, int]] = field(default_factory=frozenset)
