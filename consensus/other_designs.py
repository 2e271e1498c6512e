"""Whether a sheet rather belongs to another design of the same shape: the wrong switch was in the hand.

There may be thousands of others.  Of each only what a good unit shows is kept, stacked into one array for all
that have the same grid, so that a check weighs them in a few operations.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from consensus.chart_table import chart_levels, chart_shape, chart_table, prepared_chart
from consensus.contacts import make_alphabet
from consensus.reading_odds import ReadingOdds, reading_odds
from consensus.readings import DesignReadings, Readings
from consensus.results import DesignAgreement
from consensus.settings import Settings
from consensus.shape import Shape

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
Labels = tuple[tuple[str, ...], tuple[str, ...], str | None]  # positions, pins, common

WHOLLY_KNOWN = Settings(unit_deviation=0.0)  # what one unit may show by itself is added when it is weighed


@dataclass(frozen=True)
class OtherDesign:
    """What a good unit of a design shows.

    symbols, doubt, other: (variants, places) as in a ChartTable, the doubt without `unit_deviation`;
    levelled: the whole chart where places show resistive levels, which are read in terms of their own.
    """

    design: str
    labels: Labels
    grid: Shape
    symbols: NDArray[np.int8]
    doubt: FloatArray
    other: NDArray[np.int8]
    levelled: DesignAgreement | None = None


def other_design(chart: DesignAgreement) -> OtherDesign:
    """The part of a chart that weighs a sheet of another design."""
    grid, levels = chart_shape(chart, ()), chart_levels(chart)
    alphabet = make_alphabet(np.array(levels, dtype=np.float64), WHOLLY_KNOWN)
    plain = () if levels else chart.variants
    tables = [chart_table(chart, variant, grid, alphabet, WHOLLY_KNOWN) for variant in plain]
    empty = np.empty((0, grid.places))
    return OtherDesign(
        design=chart.design,
        labels=_labels(chart),
        grid=grid,
        symbols=np.array([table.symbols for table in tables] or empty, dtype=np.int8),
        doubt=np.array([table.doubt for table in tables] or empty, dtype=np.float64),
        other=np.array([table.other for table in tables] or empty, dtype=np.int8),
        levelled=chart if levels and chart.variants else None,
    )


def _labels(chart: DesignAgreement) -> Labels:
    return chart.positions, chart.pins, chart.common


@dataclass(frozen=True)
class _Stack:
    """Designs of one grid without levels.  starts: (designs,) first of each one's rows."""

    grid: Shape
    designs: list[str]
    starts: IntArray
    symbols: IntArray
    doubt: FloatArray
    other: IntArray


class OtherDesigns:
    """Many others, made once for many checks; a check leaves out its own design, and other shapes."""

    def __init__(self, others: Iterable[OtherDesign]) -> None:
        alike: dict[tuple[Labels, Shape], list[OtherDesign]] = defaultdict(list)
        self._levelled: dict[Labels, list[DesignAgreement]] = defaultdict(list)
        for one in others:
            if one.levelled is not None:
                self._levelled[one.labels].append(one.levelled)
            elif len(one.symbols):
                alike[one.labels, one.grid].append(one)
        self._stacks: dict[Labels, list[_Stack]] = defaultdict(list)
        for (labels, grid), some in alike.items():
            self._stacks[labels].append(_stacked(grid, some))

    def of_shape(self, chart: DesignAgreement) -> tuple[list[_Stack], list[DesignAgreement]]:
        """Those with the positions, pins and common of a chart, its own design too."""
        labels = _labels(chart)
        return self._stacks.get(labels, []), self._levelled.get(labels, [])


def _stacked(grid: Shape, some: Sequence[OtherDesign]) -> _Stack:
    variants = np.array([len(one.symbols) for one in some])
    return _Stack(
        grid=grid,
        designs=[one.design for one in some],
        starts=np.concatenate([[0], np.cumsum(variants)[:-1]]),
        symbols=np.concatenate([one.symbols for one in some]).astype(np.int64),
        doubt=np.concatenate([one.doubt for one in some]),
        other=np.concatenate([one.other for one in some]).astype(np.int64),
    )


def log_joint_others(
    sheet: DesignReadings,
    readings: Readings,
    odds: ReadingOdds,
    chart: DesignAgreement,
    others: Sequence[DesignAgreement] | OtherDesigns,
    settings: Settings,
) -> list[tuple[str, float]]:
    """(design, log of prior times likelihood) of each other design with the same positions, pins and common.

    readings, odds: the sheet in the numbering of `chart`, which those of the same shape share.  The unit is
    taken as good and the sheet as read; the reader's slip rates stand at their means.
    """
    if not len(readings):
        return []
    if not isinstance(others, OtherDesigns):
        others = OtherDesigns(other_design(one) for one in others)
    stacks, levelled = others.of_shape(chart)
    found: list[tuple[str, float]] = []
    if stacks:
        plain = _plain_likelihood(sheet, readings, odds, chart, settings)
        for stack in stacks:
            found += zip(stack.designs, _log_likelihoods(readings, plain, stack, settings), strict=True)
    found += [(one.design, _log_levelled(sheet, readings, one, settings)) for one in levelled]
    same = [pair for pair in found if pair[0] != chart.design]
    if not same:
        return []
    log_prior = float(np.log(settings.suspect_other_design_rate / len(same)))
    return [(design, log_p + log_prior) for design, log_p in same]


def _plain_likelihood(
    sheet: DesignReadings, readings: Readings, odds: ReadingOdds, chart: DesignAgreement, settings: Settings
) -> FloatArray:
    """(n, A + 2) likelihoods where nothing is a level; a chart without levels has them already."""
    if not chart_levels(chart):
        return odds.likelihood
    who, alphabet = sheet.sheets[0], make_alphabet(np.empty(0), settings)
    return reading_odds(readings, alphabet, chart.model, who.contributor, settings, who.read_at).likelihood


def _log_likelihoods(
    readings: Readings, likelihood: FloatArray, stack: _Stack, settings: Settings
) -> list[float]:
    """Log likelihood of a good unit of each design, the best of its variants, read without a mistake; places
    that a chart has not are unknown."""
    places = _places(readings, stack.grid)
    known = np.flatnonzero(places >= 0)
    at = places[known]
    doubt = np.minimum(stack.doubt[:, at] + settings.unit_deviation, 0.5)
    p = (1 - doubt) * likelihood[known, stack.symbols[:, at]] + doubt * likelihood[known, stack.other[:, at]]
    unknown = float(np.log(likelihood[places < 0, -2]).sum())
    best: list[float] = np.maximum.reduceat(np.log(p).sum(axis=1) + unknown, stack.starts).tolist()
    return best


def _log_levelled(
    sheet: DesignReadings, readings: Readings, one: DesignAgreement, settings: Settings
) -> float:
    """The same of one chart with levels, in its own alphabet."""
    theirs, who = prepared_chart(one, settings), sheet.sheets[0]
    likelihood = reading_odds(
        readings, theirs.alphabet, one.model, who.contributor, settings, who.read_at, levels=theirs.levels
    ).likelihood
    places = _places(readings, theirs.tables[0].shape)
    known = np.flatnonzero(places >= 0)
    at, unknown = places[known], float(np.log(likelihood[places < 0, -2]).sum())
    found = []
    for table in theirs.tables:
        doubt = table.doubt[at]
        p = (1 - doubt) * likelihood[known, table.symbols[at]] + doubt * likelihood[known, table.other[at]]
        found.append(float(np.log(p).sum()) + unknown)
    return max(found)


def _places(readings: Readings, shape: Shape) -> IntArray:
    """(n,) place of each reading on a chart, -1 where it has none."""
    slot_of = np.full((shape.positions, 2), -1, dtype=np.int64)
    for at, (position, between) in enumerate(shape.slots):
        slot_of[position, int(between)] = at
    pair_of = np.full((shape.pins, shape.pins), -1, dtype=np.int64)
    for at, (a, b) in enumerate(shape.pairs):
        pair_of[a, b] = pair_of[b, a] = at
    slot = slot_of[readings.position, readings.between.astype(np.int64)]
    pair = pair_of[readings.pin, readings.against]
    return np.where((slot >= 0) & (pair >= 0), slot * len(shape.pairs) + pair, -1)
