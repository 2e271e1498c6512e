"""A resistance in the common: the same figure in every contact that was read against it.

Its figure is taken from the sheet, for each mistake of the reader anew: of a sheet numbered from the other
face or read from a line, few readings or none went through the common at all.
"""

from __future__ import annotations

from collections import defaultdict
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
BoolArray = NDArray[np.bool_]

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
    with_it = np.flatnonzero(np.isfinite(other))
    mistakes = np.flatnonzero(np.isfinite(priors.mistake))
    through = sheet.unit.grid.at_common[sheet.points[mistakes]]
    ohms, read = _common_ohms(sheet, mistakes, through, figures, settings)
    alike: dict[bytes, list[int]] = defaultdict(list)  # mistakes under which the same readings show it
    for at in np.flatnonzero(~read | (ohms >= LEAST_COMMON_OHM)).tolist():
        alike[np.where(through[at], ohms[at], 0.0).tobytes() if read[at] else b""].append(at)
    parts = []
    for which in alike.values():
        at = which[0]
        odds = odds_with(np.where(through[at], ohms[at], 0.0)) if read[at] else None
        rows = np.array([(m, f) for m in which for f in (with_it if mistakes[m] == 0 else (0,))])
        mistake, first = mistakes[rows[:, 0]], rows[:, 1]
        symbols = sheet.unit.shown_with(sheet.points, mistake, first)
        log_joint = sheet.under(mistake, symbols, odds) + other[first] + np.log(share)
        log_joint += (
            priors.mistake[mistake] + log_variant - (settings.suspect_common_cost if read[at] else 0.0)
        )
        parts.append((mistake, first, log_joint, ohms[rows[:, 0]]))
    if not parts:
        return None
    mistake, first, joint, ohm = (np.concatenate(column) for column in zip(*parts, strict=True))
    order = np.argsort(mistake, kind="stable")
    return make_block(variant, mistake[order], first[order], joint[order], ohm=ohm[order])


def _common_ohms(
    sheet: SheetLikelihood, mistakes: IntArray, through: BoolArray, figures: FloatArray, settings: Settings
) -> tuple[FloatArray, BoolArray]:
    """Under each mistake (M,) the median Ω of what contacts at the common read too much (0: nothing; nan:
    none was read), and whether any was read; through: (M, n) readings at the common."""
    alphabet = sheet.unit.table.alphabet
    nominal = np.full(alphabet.size + 2, np.nan)
    nominal[1] = 0.0
    nominal[2 : alphabet.odd] = alphabet.levels
    good = sheet.good[mistakes]
    read = (through & sheet.odds.shows_contact & (good != OPEN)).any(axis=1)
    excess = np.where(np.isfinite(figures) & through, figures, np.nan) - nominal[good]
    excess = np.where(excess < settings.open_above_ohm, excess, np.inf)  # nan is not below
    excess.sort(axis=1)
    count = np.isfinite(excess).sum(axis=1)
    rows, middle = np.arange(len(mistakes)), np.maximum(count, 1)
    ohms = (excess[rows, (middle - 1) // 2] + excess[rows, middle // 2]) / 2
    return np.where(read, np.where(count > 0, ohms, 0.0), np.nan), read
