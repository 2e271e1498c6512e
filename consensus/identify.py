"""Which switch is this?  Designs ranked by a sheet whose pins may be numbered in any way.

The lead that stayed put is the common as a rule, or one line by mistake.  Every numbering of the other pins
is equally likely beforehand; the likelihood is summed over all of them (assignment.py).  Positions come in
detent order; where the sheet has fewer than the chart, every way of leaving some out is tried.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln, logsumexp

from consensus.assignment import log_mean_assignments
from consensus.chart_table import ChartTable, Prepared, prepared_chart
from consensus.check_results import Candidate, Identification
from consensus.errors import ConsensusError
from consensus.numbering import (
    Columns,
    column_targets,
    column_weights,
    contact_columns,
    log_choices,
    pin_numbering,
    position_alignments,
    same_labels,
    skipped_shares,
    target_symbols,
)
from consensus.reading_odds import ReadingOdds, contact_figures, reading_odds
from consensus.readings import DesignReadings
from consensus.results import DesignAgreement, VariantPattern
from consensus.settings import Settings

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

COMMON_FAULT = 0.03  # of units: a resistance in the common
MOST_CANDIDATES = 10
LEAST_P = 1e-4
NOTHING_KNOWN = 0.01  # prior share of switches that are none of the charts'


def identify_sheet(
    sheet: DesignReadings,
    charts: Sequence[DesignAgreement],
    settings: Settings | None = None,
    as_read: bool = False,
) -> Identification:
    """Designs and variants ranked by probability, with the likeliest numbering of the pins.

    sheet: exactly one sheet, its design ignored; as_read: its pin labels are known to be right.
    """
    settings = settings or Settings()
    if len(sheet.sheets) != 1:
        raise ConsensusError(
            "one_sheet", f"{len(sheet.sheets)} sheets were given.", "Identify them one by one."
        )
    name = sheet.sheets[0].name
    detents = ~sheet.readings.between
    if not detents.any():
        return Identification(name, ())
    columns = contact_columns(sheet, detents)
    flat = -np.inf
    scored = []
    for chart in charts:
        if not chart.variants or len(sheet.positions) > len(chart.positions):
            continue
        prepared = prepared_chart(chart, settings)
        odds = _odds(sheet, chart, prepared, settings)
        flat = max(flat, float(np.log(odds[0].flat[detents]).sum()))
        for variant, table in zip(chart.variants, prepared.tables, strict=True):
            scored.append(_score(sheet, columns, odds, detents, chart, variant, table, as_read))
    return _ranked(name, scored, flat, len(charts))


def _odds(
    sheet: DesignReadings, chart: DesignAgreement, prepared: Prepared, settings: Settings
) -> list[ReadingOdds]:
    """Likelihoods of the readings, and where several contacts read alike too much, those with a resistive
    common of that figure."""
    who = sheet.sheets[0]
    given = (sheet.readings, prepared.alphabet, chart.model, who.contributor, settings, who.read_at)
    found = [reading_odds(*given, levels=prepared.levels)]
    figures = contact_figures(sheet.readings)
    resistive = figures[(figures >= settings.closed_below_ohm) & (figures < settings.open_above_ohm)]
    closed = (figures < settings.closed_below_ohm).sum()
    if len(resistive) >= 2 and len(resistive) > closed:
        # among levels the lowest figure is that of a plain contact behind the common
        excess = resistive.min() if prepared.levels else np.median(resistive)
        added = np.full(len(figures), float(excess))
        found.append(reading_odds(*given, levels=prepared.levels, added_ohm=added))
    return found


@dataclass(frozen=True)
class _Scored:
    design: str
    variant: str
    log_p: float
    pins: dict[str, str]


def _score(
    sheet: DesignReadings,
    columns: Columns,
    odds: Sequence[ReadingOdds],
    detents: NDArray[np.bool_],
    chart: DesignAgreement,
    variant: VariantPattern,
    table: ChartTable,
    as_read: bool,
) -> _Scored:
    """Log probability of the sheet under one variant, and its likeliest numbering."""
    log_prior = float(np.log(max(variant.share, 1e-3)))
    rows = sheet.readings.position[detents]
    positions_skipped, lines_skipped = skipped_shares(columns, rows)
    alignments, log_alignment = position_alignments(sheet.positions, chart.positions, positions_skipped)
    targets = column_targets(columns, table)
    if targets is None:
        return _Scored(chart.design, variant.variant, -np.inf, {})
    log_prior += log_choices(len(columns.pairs), targets.first.shape[1], lines_skipped)
    shown = target_symbols(table, targets)
    named = [[(chart.pins[a], chart.pins[b]) for a, b in pins] for pins in targets.pins]
    known = np.stack([same_labels(columns, sheet, pins) for pins in named])
    best_p, best_pins = -np.inf, dict[str, str]()
    logs = []
    for at, with_common in enumerate(odds):
        # (A, hubs, read columns, targets)
        weight = column_weights(
            columns, rows, with_common.likelihood[detents], alignments, shown, table, at == 0
        )
        if as_read:
            weight = np.where(known[None], weight, -np.inf)
        flat = weight.reshape(-1, *weight.shape[2:])
        log_p = (log_alignment[:, None] + targets.log_prior[None, :]).ravel() + log_mean_assignments(flat)
        log_p = (
            log_p + (np.log(COMMON_FAULT) if at else 0.0) + (_labels_known(flat.shape) if as_read else 0.0)
        )
        logs.append(log_p)
        if log_p.max() > best_p:
            likeliest = int(log_p.argmax())
            best_p = float(log_p[likeliest])
            best_pins = pin_numbering(columns, sheet, flat[likeliest], named[likeliest % len(named)])
    total = float(logsumexp(np.concatenate(logs)))
    return _Scored(chart.design, variant.variant, total + log_prior, best_pins)


def _labels_known(shape: tuple[int, ...]) -> float:
    """log of the number of assignments: with known labels the one right numbering has all the prior."""
    _, rows, targets = shape
    return float(gammaln(targets + 1) - gammaln(max(targets - rows, 0) + 1))


def _ranked(name: str, scored: Sequence[_Scored], flat: float, charts: int) -> Identification:
    """Probabilities over variants of all charts and "none of these"."""
    if not scored:
        return Identification(name, ())
    log_p = np.array([one.log_p for one in scored]) + np.log((1 - NOTHING_KNOWN) / max(charts, 1))
    none = flat + np.log(NOTHING_KNOWN)
    p = np.exp(log_p - logsumexp(np.append(log_p, none)))
    order = [int(at) for at in np.argsort(-p, kind="stable")][:MOST_CANDIDATES]
    kept = [at for rank, at in enumerate(order) if p[at] >= LEAST_P or rank == 0]
    candidates = tuple(
        Candidate(scored[at].design, scored[at].variant, float(p[at]), scored[at].pins)
        for at in kept
        if np.isfinite(log_p[at])
    )
    return Identification(name, candidates, float(np.exp(none - logsumexp(np.append(log_p, none)))))
