"""A resistance in the common: the same figure in every contact that was read against it.

Its figure is taken from the sheet, for each mistake of the reader anew: of a sheet numbered from the other
face or read from a line, few readings or none went through the common at all.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from consensus.contacts import OPEN
from consensus.reading_odds import ReadingOdds
from consensus.settings import Settings
from consensus.sheet_likelihood import SheetLikelihood
from consensus.unit_explanations import Block, make_block
from consensus.unit_grid import UnitPriors

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

LEAST_COMMON_OHM = 15.0  # less in the common can't be told from a dirty contact


def resistive_commons(
    sheet: SheetLikelihood,
    priors: UnitPriors,
    variant: int,
    log_variant: float,
    figures: FloatArray,
    odds_with: Callable[[FloatArray], ReadingOdds],
    settings: Settings,
) -> Block | None:
    """A resistance in the common with each mistake, and on a sheet without one with one other fault.

    figures: (n,) Ω of the contacts (`contact_figures`); odds_with: odds of the readings with (n,) Ω in
    series. A figure that fits so well owes `settings.suspect_common_cost` nats to having been chosen from
    the sheet; where no contact at the common was read, nothing speaks for or against it, and its Ω is nan.
    """
    if sheet.table.shape.common is None or not len(sheet.cells):
        return None
    share = settings.suspect_fault_rate * dict(settings.suspect_fault_shares)["resistive_common"]
    other = priors.fault - np.log(-np.expm1(priors.fault[0])) + priors.pair
    other[0] = 0.0
    tables: dict[bytes, FloatArray] = {}
    parts = []
    for m in np.flatnonzero(np.isfinite(priors.mistake)):
        through = sheet.grid.at_common[m, sheet.cells]
        ohm, read = _common_ohm(sheet, int(m), through, figures, settings)
        if read and ohm < LEAST_COMMON_OHM:
            continue
        added = np.where(through, ohm, 0.0) if read else np.zeros(len(through))
        key = added.tobytes()
        if key not in tables:
            tables[key] = sheet.tables(odds_with(added) if read else sheet.odds)
        rows = np.flatnonzero(np.isfinite(other)) if m == 0 else np.array([0])
        symbols = sheet.symbols[sheet.grid.source[rows, m][:, sheet.cells]]
        log_joint = sheet.under(symbols, tables[key][m]) + other[rows] + np.log(share)
        log_joint += priors.mistake[m] + log_variant - (settings.suspect_common_cost if read else 0.0)
        contact = through & (symbols != OPEN) & (symbols < sheet.table.unknown)
        shown = np.where(contact, sheet.table.alphabet.odd, symbols)
        parts.append((np.full(len(rows), m), rows, log_joint, shown, np.full(len(rows), ohm)))
    if not parts:
        return None
    mistake, first, joint, shown, ohms = (np.concatenate(column) for column in zip(*parts, strict=True))
    return make_block(variant, mistake, first, joint, shown, ohm=ohms)


def _common_ohm(
    sheet: SheetLikelihood, mistake: int, through: NDArray[np.bool_], figures: FloatArray, settings: Settings
) -> tuple[float, bool]:
    """Median Ω of what contacts at the common read too much (0: nothing), and whether any was read."""
    alphabet = sheet.table.alphabet
    nominal = np.full(alphabet.size + 2, np.nan)
    nominal[1] = 0.0
    nominal[2 : alphabet.odd] = alphabet.levels
    good = sheet.symbols[sheet.grid.source[0, mistake, sheet.cells]]
    if not (through & sheet.odds.shows_contact & (good != OPEN)).any():
        return float("nan"), False
    excess = np.where(np.isfinite(figures) & through, figures, np.nan) - nominal[good]
    excess = excess[np.isfinite(excess) & (excess < settings.open_above_ohm)]
    return (float(np.median(excess)) if len(excess) else 0.0), True
