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
from consensus.unit_priors import UnitPriors

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
    if sheet.unit.table.shape.common is None or not len(sheet.cells):
        return None
    share = settings.suspect_fault_rate * dict(settings.suspect_fault_shares)["resistive_common"]
    other = priors.fault - np.log(-np.expm1(priors.fault[0])) + priors.pair
    other[0] = 0.0
    given: dict[bytes, ReadingOdds] = {}
    parts = []
    for m in np.flatnonzero(np.isfinite(priors.mistake)):
        through = sheet.unit.grid.at_common[sheet.points[m]]
        ohm, read = _common_ohm(sheet, int(m), through, figures, settings)
        if read and ohm < LEAST_COMMON_OHM:
            continue
        odds = None
        if read:
            added = np.where(through, ohm, 0.0)
            key = added.tobytes()
            odds = given[key] if key in given else given.setdefault(key, odds_with(added))
        rows = np.flatnonzero(np.isfinite(other)) if m == 0 else np.array([0])
        symbols = sheet.unit.shown(sheet.points[m], rows)
        log_joint = sheet.under(np.full(len(rows), m), symbols, odds) + other[rows] + np.log(share)
        log_joint += priors.mistake[m] + log_variant - (settings.suspect_common_cost if read else 0.0)
        parts.append((np.full(len(rows), m), rows, log_joint, np.full(len(rows), ohm)))
    if not parts:
        return None
    mistake, first, joint, ohms = (np.concatenate(column) for column in zip(*parts, strict=True))
    return make_block(variant, mistake, first, joint, ohm=ohms)


def _common_ohm(
    sheet: SheetLikelihood, mistake: int, through: NDArray[np.bool_], figures: FloatArray, settings: Settings
) -> tuple[float, bool]:
    """Median Ω of what contacts at the common read too much (0: nothing), and whether any was read."""
    alphabet = sheet.unit.table.alphabet
    nominal = np.full(alphabet.size + 2, np.nan)
    nominal[1] = 0.0
    nominal[2 : alphabet.odd] = alphabet.levels
    good = sheet.good[mistake]
    if not (through & sheet.odds.shows_contact & (good != OPEN)).any():
        return float("nan"), False
    excess = np.where(np.isfinite(figures) & through, figures, np.nan) - nominal[good]
    excess = excess[np.isfinite(excess) & (excess < settings.open_above_ohm)]
    return (float(np.median(excess)) if len(excess) else 0.0), True
