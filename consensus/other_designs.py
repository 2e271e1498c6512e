"""Whether a sheet rather belongs to another design of the same shape: the wrong switch was in the hand."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from consensus.chart_table import ChartTable, Prepared, prepared_chart
from consensus.hypotheses import Shape
from consensus.reading_odds import ReadingOdds, reading_odds
from consensus.readings import DesignReadings, Readings
from consensus.results import DesignAgreement
from consensus.settings import Settings

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]


def log_joint_others(
    sheet: DesignReadings,
    readings: Readings,
    odds: ReadingOdds,
    chart: DesignAgreement,
    others: Sequence[DesignAgreement],
    settings: Settings,
) -> list[tuple[str, float]]:
    """(design, log of prior times likelihood) of each other design with the same positions, pins and common.

    readings, odds: the sheet in the numbering of `chart`, which those of the same shape share.  The unit is
    taken as good and the sheet as read; the reader's slip rates stand at their means.
    """
    shape = (chart.positions, chart.pins, chart.common)
    same = [
        one
        for one in others
        if one.design != chart.design and (one.positions, one.pins, one.common) == shape and one.variants
    ]
    if not same or not len(readings):
        return []
    log_prior = float(np.log(settings.suspect_other_design_rate / len(same)))
    mine = prepared_chart(chart, settings)
    found = []
    for one in same:
        theirs = prepared_chart(one, settings)
        likelihood = _likelihood(sheet, readings, odds, one, mine, theirs, settings)
        best = max(_log_likelihood(readings, likelihood, table) for table in theirs.tables)
        found.append((one.design, best + log_prior))
    return found


def _likelihood(
    sheet: DesignReadings,
    readings: Readings,
    odds: ReadingOdds,
    one: DesignAgreement,
    mine: Prepared,
    theirs: Prepared,
    settings: Settings,
) -> FloatArray:
    """(n, A + 2) likelihoods in the other chart's alphabet; without levels on either side it is the same."""
    if not mine.levels and not theirs.levels:
        return odds.likelihood
    who = sheet.sheets[0]
    return reading_odds(
        readings, theirs.alphabet, one.model, who.contributor, settings, who.read_at, levels=theirs.levels
    ).likelihood


def _log_likelihood(readings: Readings, likelihood: FloatArray, table: ChartTable) -> float:
    """Log likelihood of a good unit read without a mistake; places that the chart has not are unknown."""
    places = _places(readings, table.shape)
    known = places >= 0
    rows = np.arange(len(places))
    at = np.where(known, places, 0)
    doubt = table.doubt[at]
    p = (1 - doubt) * likelihood[rows, table.symbols[at]] + doubt * likelihood[rows, table.other[at]]
    return float(np.log(np.where(known, p, likelihood[:, table.unknown])).sum())


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
