"""One design made ready for inference: hypotheses, likelihoods and priors of its sheets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from consensus.blocks import Accounts, design_accounts
from consensus.contacts import Alphabet, likelihood_table
from consensus.encoding import Encoded, reading_likelihoods
from consensus.hypotheses import Fault, HypothesisSet, Mistake, enumerate_hypotheses
from consensus.reliability import ContributorReliability, Reliability
from consensus.settings import Settings

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

LIGHT_BELOW = 4  # readings; with fewer no mistake or fault can be told
FAULT_KINDS = (
    "line_open",
    "line_closed",
    "worn_contact",
    "bridged_lines",
    "resistive_common",
    "detent_shift",
)
NAMED_RIGHTLY = -3.0  # nats against a mirrored face where `against` is the common itself
BLUNT, SHARP = 0.65, 0.8  # Youden's J of a reader up to which no mistake can be told from slips, or all
LEAST_SHARE = 1e-12  # prior of what none of these readers' sheets can tell
NO_SHARE = 1e-300  # where no reader's can: a long sheet of one who reads by chance outweighs LEAST_SHARE
MOST_END_ODDS = 2.5  # nats that an end row left empty may speak for a shift: it has other reasons too


@dataclass(frozen=True)
class Problem:
    """One design, ready for inference.

    sheet, cell: (R,) sorted by sheet; like: (R, A) likelihood of each reading; weight: (R,) design effect;
    torn: (R,) sweeps that contradict each other;
    shifted, shifted_code: (R, A), (R,) likelihoods and codes with a resistive common's figure taken off;
    unit: (N,); log_mistake: (N, M), log_fault: (F,) log priors; offset, light: (N,) sheets with a candidate
    resistive common, sheets of so few readings that only "as read" is considered; strange: (N,) sheets that
    mostly do not keep to the common.  row: (R,) merged readings of `Encoded`; bound: (U,) table
    that a moderator bound a unit to, -1 where free; accounts: who sent the units (blocks.py); told: share of
    faults and tables that can be told from slips of these readers (`mistakes_told`).
    """

    hypotheses: HypothesisSet
    alphabet: Alphabet
    places: int
    sheet: IntArray
    cell: IntArray
    row: IntArray
    like: FloatArray
    shifted: FloatArray
    weight: FloatArray
    torn: BoolArray
    unit: IntArray
    units: int
    log_mistake: FloatArray
    log_fault: FloatArray
    offset: BoolArray
    shifted_code: IntArray
    light: BoolArray
    strange: BoolArray
    bound: IntArray
    accounts: Accounts
    told: float
    settings: Settings

    @property
    def sheets(self) -> int:
        return len(self.unit)

    @cached_property
    def start(self) -> IntArray:
        """(N + 1,) first reading of each sheet."""
        return np.searchsorted(self.sheet, np.arange(self.sheets + 1))

    @cached_property
    def sheets_by_unit(self) -> tuple[IntArray, IntArray]:
        """(N,) sheets in the order of their units, (U,) where those of each unit begin."""
        order = np.argsort(self.unit, kind="stable")
        return order, np.searchsorted(self.unit[order], np.arange(self.units))

    def sum_by_unit(self, of_sheets: FloatArray) -> FloatArray:
        """(U, …) sums over the sheets of each unit of (N, …)."""
        order, first = self.sheets_by_unit
        return np.asarray(np.add.reduceat(of_sheets.take(order, axis=0), first, axis=0))

    @cached_property
    def some_offset(self) -> bool:
        """Whether any sheet has a candidate resistive common."""
        return bool(self.offset.any())

    @property
    def mistakes(self) -> int:
        return len(self.hypotheses.mistakes)

    @property
    def faults(self) -> int:
        return len(self.hypotheses.faults)


def mistakes_told(discernment: FloatArray | float) -> FloatArray:
    """Share of mistakes that can be told from slips, by Youden's J of the reader: of one who errs by a third
    each way none can, and what looks like one is an accident of many slips.

    >>> mistakes_told(np.array([0.4, 0.725, 0.9])).round(2).tolist()
    [0.0, 0.5, 1.0]
    """
    return np.asarray(np.clip((discernment - BLUNT) / (SHARP - BLUNT), 0.0, 1.0))


def mistake_shares(
    mistakes: tuple[Mistake, ...],
    readers: Sequence[ContributorReliability],
    reliability: Reliability,
    settings: Settings,
) -> FloatArray:
    """(readers, M) prior share of sheets of each reader that went through each mistake."""
    weight = settings.habit_strength
    kinds = np.array([mistake.kind for mistake in mistakes])
    sheets = np.array([one.sheets for one in readers])
    share = np.zeros((len(readers), len(mistakes)))
    for kind, rate in reliability.mistakes:
        own = (weight * rate + np.array([one.habit(kind) for one in readers])) / (weight + sheets)
        members = kinds == kind
        share[:, members] = (own / max(int(members.sum()), 1))[:, None]
    told = mistakes_told(np.array([one.discernment for one in readers]))
    share *= told[:, None] * mistakes_told(reliability.of("").discernment)
    share[:, -1] = settings.unexplained_rate * told
    share[:, 0] = np.maximum(1 - share[:, 1:].sum(axis=1), 0.05)
    return np.asarray(share / share.sum(axis=1, keepdims=True))


def fault_shares(faults: tuple[Fault, ...], rate: float, least: float = LEAST_SHARE) -> FloatArray:
    """(F,) prior share of units with each fault: `rate` in all, divided evenly over its kinds; `least`: of
    each, whatever the rate."""
    kinds = [fault.kind for fault in faults]
    share = np.array([rate / len(FAULT_KINDS) / max(kinds.count(kind), 1) for kind in kinds])
    share[0] = 1 - share[1:].sum()
    return np.asarray(np.maximum(share, least))


def sheet_odds(encoded: Encoded, mistakes: tuple[Mistake, ...]) -> FloatArray:
    """(n, M) log odds that what a sheet reads at all, whatever it shows, brings to each mistake: the ends of
    travel to shifts; to the mirrored face that the common is named as it should be."""
    found = end_rows(encoded, mistakes)
    shape = encoded.shape
    if shape.common is not None and 2 * shape.common != shape.pins - 1:
        for at, mistake in enumerate(mistakes):
            if mistake.detail == "face":
                found[:, at] += np.where(encoded.strange, 0.0, NAMED_RIGHTLY)
    return found


def end_rows(encoded: Encoded, mistakes: tuple[Mistake, ...]) -> FloatArray:
    """(n, M) log odds that the ends of travel bring to shifts: the last position is read twice or not at
    all, so that an end row left empty, where others are filled, speaks for a shift, a filled one against."""
    shape = encoded.shape
    found = np.zeros((encoded.sheets, len(mistakes)))
    slot_row = np.array([-1 if between else row for row, between in shape.slots])
    row = slot_row[encoded.cell // len(shape.named)]
    lines = max(len(shape.lines) if shape.common is not None else len(shape.pairs), 1)
    taken = np.bincount(encoded.sheet, row >= 0, encoded.sheets)
    for at, mistake in enumerate(mistakes):
        if mistake.kind != "shifted_positions" or shape.positions < 3:
            continue
        end = shape.positions - 1 if mistake.detail == "out" else 0
        here = np.bincount(encoded.sheet, row == end, encoded.sheets)
        share = np.clip((taken - here) / (lines * (shape.positions - 1)), 0.02, 0.98)
        empty = (1 - share) ** lines
        odds = np.where(here == 0, np.log((0.5 + 0.5 * empty) / empty), np.log(0.5))
        found[:, at] = np.minimum(odds, MOST_END_ODDS)
    return found


def make_problem(
    encoded: Encoded, reliability: Reliability, settings: Settings, kept: IntArray | None = None
) -> Problem:
    """The sheets `kept` of a design (those that count, unless given) under a snapshot."""
    hypotheses = enumerate_hypotheses(encoded.shape)
    names = encoded.contributor_names
    of = [reliability.of(name) for name in names]
    table = likelihood_table(
        encoded.alphabet,
        np.array([one.miss_rate for one in of]),
        np.array([one.invent_rate for one in of]),
        reliability.leak,
        reliability.dirty,
        settings,
    )
    like = reading_likelihoods(encoded, table)
    shifted = table[encoded.contributor[encoded.sheet], encoded.shifted_code]
    shares = mistake_shares(hypotheses.mistakes, of, reliability, settings)
    kept = encoded.sheet_order if kept is None else kept
    sheet_of = np.full(encoded.sheets, -1, dtype=np.int64)
    sheet_of[kept] = np.arange(len(kept))
    rows = np.flatnonzero(sheet_of[encoded.sheet] >= 0)
    rows = rows[np.argsort(sheet_of[encoded.sheet[rows]], kind="stable")]
    sheet = sheet_of[encoded.sheet[rows]]
    distinct, unit = np.unique(encoded.unit[kept], return_inverse=True)
    told = float(mistakes_told(reliability.of("").discernment))
    least = LEAST_SHARE if told > 0 else NO_SHARE
    light = np.bincount(sheet, minlength=len(kept)) < LIGHT_BELOW
    return Problem(
        hypotheses=hypotheses,
        alphabet=encoded.alphabet,
        places=encoded.shape.places,
        sheet=sheet,
        cell=encoded.cell[rows],
        row=rows,
        like=like[rows],
        shifted=shifted[rows],
        shifted_code=encoded.shifted_code[rows],
        weight=encoded.weight[rows],
        torn=encoded.torn[rows],
        unit=unit.astype(np.int64),
        units=len(distinct),
        log_mistake=np.log(np.maximum(shares, least))[encoded.contributor[kept]]
        + sheet_odds(encoded, hypotheses.mistakes)[kept],
        log_fault=np.log(fault_shares(hypotheses.faults, told * reliability.fault_rate, least)),
        offset=np.isfinite(encoded.offset[kept]),
        light=light,
        strange=encoded.strange[kept],
        bound=np.full(len(distinct), -1, dtype=np.int64),
        accounts=design_accounts(names, encoded.contributor[kept], unit, len(distinct), reliability),
        told=told,
        settings=settings,
    )
