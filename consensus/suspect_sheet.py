"""A suspect's sheet laid on a chart: its readings in the chart's numbering, and all explanations of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from consensus import unit_explanations as ex
from consensus.chart_table import ChartTable, Prepared, prepared_for
from consensus.common_faults import resistive_commons
from consensus.contacts import OPEN
from consensus.other_designs import OtherDesigns, log_joint_others
from consensus.predictions import Rows, predict
from consensus.reading_odds import ReadingOdds, contact_figures, reading_odds, with_repeats
from consensus.readings import DesignReadings, Readings
from consensus.results import DesignAgreement
from consensus.settings import Settings
from consensus.shape import Shape
from consensus.sheet_likelihood import SheetLikelihood
from consensus.unit_explanations import Block
from consensus.unit_priors import unit_priors
from consensus.unit_table import UnitTable, unit_table

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

NEGLIGIBLE = 1e-9  # explanations below this probability are dropped


@dataclass(frozen=True)
class Laid:
    """Readings of one sheet that the chart has a place for, in the chart's indices; cells: (n,)."""

    readings: Readings
    shape: Shape
    cells: IntArray


def lay_on_chart(sheet: DesignReadings, chart: DesignAgreement, settings: Settings) -> tuple[Laid, Prepared]:
    """Match by label (positions by order where no label matches); what the chart doesn't know is left out."""
    pin_at = {pin: at for at, pin in enumerate(chart.pins)}
    position_at = {label: at for at, label in enumerate(chart.positions)}
    if not set(sheet.positions) & set(chart.positions) and len(sheet.positions) == len(chart.positions):
        position_at = {label: at for at, label in enumerate(sheet.positions)}
    pins = np.array([pin_at.get(pin, -1) for pin in sheet.pins], np.int32)
    positions = np.array([position_at.get(label, -1) for label in sheet.positions], np.int32)
    old = sheet.readings
    columns = {
        **old.__dict__,
        "pin": pins[old.pin],
        "against": pins[old.against],
        "position": positions[old.position],
    }
    known = (columns["pin"] >= 0) & (columns["against"] >= 0) & (columns["position"] >= 0)
    known &= columns["pin"] != columns["against"]
    if old.between.any():
        gaps = {position_at[cell.position] for v in chart.variants for cell in v.cells if cell.between}
        known &= ~old.between | np.isin(columns["position"], list(gaps))
    readings = Readings(**{name: column[known] for name, column in columns.items()})
    low = np.minimum(readings.pin, readings.against)
    high = np.maximum(readings.pin, readings.against)
    read = sorted(set(zip(low.tolist(), high.tolist(), strict=True)))
    prepared = prepared_for(chart, read, settings)
    shape = prepared.tables[0].shape
    named_at = {pair: at for at, pair in enumerate(shape.named)}
    slot_at = {slot: at for at, slot in enumerate(shape.slots)}
    cells = [
        slot_at[position, between] * len(shape.named) + named_at[a, b]
        for position, between, a, b in zip(
            *(side.tolist() for side in (readings.position, readings.between, low, high)), strict=True
        )
    ]
    return Laid(readings, shape, np.array(cells, dtype=np.int64)), prepared


@dataclass(frozen=True)
class Explained(Rows):
    """Posterior over explanations: the blocks' rows that matter, with their probabilities.

    p: (H,) descending; symbols: (H, n) predicted for the readings taken; p_unknown: nonsense; others: other
    designs that matter, with their probabilities; units: of each variant.
    """

    laid: Laid
    units: tuple[UnitTable, ...]
    odds: ReadingOdds
    p: FloatArray
    symbols: IntArray
    p_unknown: float
    others: tuple[tuple[str, float], ...]

    @property
    def tables(self) -> tuple[ChartTable, ...]:
        return tuple(unit.table for unit in self.units)

    @cached_property
    def groups(self) -> IntArray:
        """(H,) group of each explanation, in order of the likeliest: within one, all predict the same for
        every reading taken.  A worn contact stands for what was read there: open or some resistance."""
        if not len(self):
            return np.empty(0, dtype=np.int64)
        table = self.units[0].table
        seen = np.where(self.odds.shows_open, OPEN, table.alphabet.odd)
        rows = np.where(self.symbols == table.worn, seen, self.symbols)
        weights = np.random.default_rng(1).integers(-(2**62), 2**62, rows.shape[1])
        _, first, group = np.unique(rows @ weights, return_index=True, return_inverse=True)
        return np.argsort(np.argsort(first))[group]


def explain(
    sheet: DesignReadings,
    chart: DesignAgreement,
    others: Sequence[DesignAgreement] | OtherDesigns,
    settings: Settings,
) -> Explained:
    """Posterior probability of every explanation of one sheet."""
    laid, prepared = lay_on_chart(sheet, chart, settings)
    who, levels = sheet.sheets[0], prepared.levels
    read_by = (laid.readings, prepared.alphabet, chart.model, who.contributor, settings, who.read_at)
    odds = with_repeats(reading_odds(*read_by, levels=levels), laid.cells)
    figures = contact_figures(laid.readings)
    units = tuple(unit_table(table) for table in prepared.tables)
    on_the_way = {"harness": settings.harness_fault_rate, "connector": settings.connector_fault_rate}
    sweeps = laid.readings.sweep.astype(np.int64)
    blocks: list[Block] = []
    for at, unit in enumerate(units):
        priors = unit_priors(unit, _mistake_shares(chart, settings), settings)
        likelihood = SheetLikelihood(unit, laid.cells, odds)
        log_variant = float(np.log(max(unit.table.share, 1e-3)))
        block, alone = ex.single_faults(likelihood, priors, at, log_variant)
        blocks += [block, ex.fault_pairs(likelihood, priors, at, log_variant, alone)]
        if who.read_at in on_the_way:
            blocks.append(ex.harness_faults(block, likelihood, priors, on_the_way[who.read_at]))
        if len(set(sweeps.tolist())) > 1:
            share = settings.sweep_fault_share
            blocks.append(ex.one_sweep_faults(likelihood, priors, at, log_variant, sweeps, share))
        common = resistive_commons(
            likelihood,
            priors,
            at,
            log_variant,
            figures,
            lambda added: reading_odds(*read_by, added_ohm=added, levels=levels),
            settings,
        )
        blocks += [] if common is None else [common]
    flat = float(np.log(odds.flat).sum() + np.log(settings.suspect_unknown_rate))
    named = log_joint_others(sheet, laid.readings, odds, chart, others, settings)
    return _posterior(laid, units, odds, blocks, flat, named)


def _mistake_shares(chart: DesignAgreement, settings: Settings) -> dict[str, float]:
    """Share of sheets by mistake: as learned with the chart, else as set."""
    shares = {
        "mirrored_pins": settings.mistake_mirrored,
        "shifted_positions": settings.mistake_shifted,
        "wrong_common": settings.mistake_wrong_common,
        "exchanged": settings.mistake_exchanged,
    }
    return {**shares, **{kind: p for kind, p in chart.model.mistakes if kind in shares}}


def _posterior(
    laid: Laid,
    units: tuple[UnitTable, ...],
    odds: ReadingOdds,
    blocks: list[Block],
    flat: float,
    named: list[tuple[str, float]],
) -> Explained:
    log_joint = np.concatenate([block.log_joint for block in blocks])
    log_others = np.array([log_p for _, log_p in named])
    total = logsumexp(np.concatenate([log_joint, [flat], log_others]))
    p = np.exp(log_joint - total)
    order = np.flatnonzero(p > NEGLIGIBLE)
    order = order[np.argsort(-p[order], kind="stable")]
    variant = np.concatenate([np.full(len(block.log_joint), block.variant) for block in blocks])
    columns = {
        name: np.concatenate([getattr(block, name) for block in blocks])
        for name in ("mistake", "first", "second", "common", "ohm", "harness", "sweep")
    }
    rows = Rows(variant=variant, **columns).taken(order)
    return Explained(
        **rows.__dict__,
        laid=laid,
        units=units,
        odds=odds,
        p=p[order],
        symbols=_symbols(laid, units, blocks, rows, order),
        p_unknown=float(np.exp(flat - total)),
        others=tuple(
            (name, share)
            for (name, _), share in zip(named, np.exp(log_others - total).tolist(), strict=True)
            if share > NEGLIGIBLE
        ),
    )


def _symbols(
    laid: Laid, units: tuple[UnitTable, ...], blocks: list[Block], rows: Rows, order: IntArray
) -> IntArray:
    """(H, n) what the readings show under the explanations that matter, `order` of all blocks' together."""
    out = np.empty((len(order), len(laid.cells)), dtype=np.int64)
    start = 0
    for block in blocks:
        end = start + len(block.log_joint)
        mine = np.flatnonzero((order >= start) & (order < end))
        if block.symbols is not None:
            out[mine] = block.symbols[order[mine] - start]
        elif len(mine):
            out[mine] = predict(units, rows.taken(mine), laid.cells, laid.readings.sweep.astype(np.int64))
        start = end
    return out
