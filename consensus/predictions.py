"""What explanations of a sheet say that cells of it should show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from consensus.contacts import OPEN
from consensus.unit_table import UnitTable

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class Rows:
    """H explanations: variant, mistake, first, second, common, ohm, harness, sweep as in `Block`, each
    (H,)."""

    variant: IntArray
    mistake: IntArray
    first: IntArray
    second: IntArray
    common: BoolArray
    ohm: FloatArray
    harness: BoolArray
    sweep: IntArray

    def __len__(self) -> int:
        return len(self.first)

    def taken(self, which: IntArray | slice) -> Rows:
        """Some of them."""
        return Rows(**{one.name: getattr(self, one.name)[which] for one in fields(Rows)})


def predict(
    units: Sequence[UnitTable], rows: Rows, cells: IntArray, sweeps: IntArray | None = None
) -> IntArray:
    """(H, n) symbols at cells of a sheet that the same reader wrote.

    sweeps: (n,) of readings taken; a detent that slips in one sweep alone leaves those of others as they are.
    None: readings still to be taken, in which it slips.
    """
    out = np.zeros((len(rows), len(cells)), dtype=np.int64)
    for variant, unit in enumerate(units):
        mine = np.flatnonzero(rows.variant == variant)
        if not len(mine):
            continue
        points = unit.grid.touched[np.ix_(rows.mistake[mine], cells)].astype(np.int64)
        symbols = unit.shown(points, rows.first[mine], rows.second[mine])
        if sweeps is not None:
            sweep = rows.sweep[mine][:, None]
            symbols = np.where((sweep > 0) & (sweeps[None, :] != sweep), unit.symbols[0][points], symbols)
        contact = (symbols != OPEN) & (symbols < unit.table.unknown)
        through = rows.common[mine][:, None] & unit.grid.at_common[points]
        out[mine] = np.where(through & contact, unit.table.alphabet.odd, symbols)
    return out
