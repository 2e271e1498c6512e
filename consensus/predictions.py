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
        mistake, second = rows.mistake[mine], rows.second[mine]
        touched = unit.grid.touched[:, cells].astype(np.int64)
        first = rows.first[mine]
        symbols = unit.shown_with(touched, mistake, first)
        for one in np.unique(mistake[second > 0]):
            pairs = np.flatnonzero((second > 0) & (mistake == one))
            symbols[pairs] = unit.shown(touched[one], first[pairs], second[pairs])
        slips = np.flatnonzero(rows.sweep[mine] > 0) if sweeps is not None else ()
        if sweeps is not None and len(slips):
            there = sweeps[None, :] == rows.sweep[mine][slips, None]
            symbols[slips] = np.where(there, symbols[slips], unit.by_point[touched[mistake[slips]], 0])
        common = np.flatnonzero(rows.common[mine])
        if len(common):
            shown = symbols[common]
            contact = (shown != OPEN) & (shown < unit.table.unknown)
            through = unit.grid.at_common[touched[mistake[common]]]
            symbols[common] = np.where(through & contact, unit.table.alphabet.odd, shown)
        out[mine] = symbols
    return out
