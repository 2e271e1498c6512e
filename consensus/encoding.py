"""A design's readings as the arrays that inference works on.

Only sheets that count shape places, levels and weights; the others are encoded alongside, so that
each of them gets its finding.  Several sweeps of one place in one sheet are one reading whose
likelihood is the geometric mean of theirs: they are not independent.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from consensus import contacts
from consensus.contacts import Alphabet
from consensus.hypotheses import Shape
from consensus.readings import DesignReadings
from consensus.settings import Settings
from consensus.sweeps import merge_sweeps

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class Encoded:
    """n sheets, U units, R merged readings.

    sheet, cell, code: (R,); ohm: (R,) Ω (nan without a figure of its own, inf over limit);
    missed, torn: (R,) as in `MergedSweeps`;
    sweeps: (raw,) merged reading of each raw reading, raw_code its code,
    raw_limit its Ω, inf where the limit lies in the open range;
    unit, contributor: (n,) indices; counts: (n,); group: (n,) contributor or, where known, workshop;
    weight: (R,) what a reading weighs as evidence beside others of the same group (design effect);
    strange: (n,) sheets that read other pairs than the design's own; offset: (n,) Ω that a resistive
    common would add, nan where nothing suggests one; shifted_code: (R,) codes with it taken off.
    """

    readings: DesignReadings
    shape: Shape
    alphabet: Alphabet
    sheet: IntArray
    cell: IntArray
    code: IntArray
    ohm: FloatArray
    missed: FloatArray
    torn: BoolArray
    sweeps: IntArray | None
    raw_code: IntArray
    raw_limit: FloatArray
    unit: IntArray
    contributor: IntArray
    counts: BoolArray
    unit_names: tuple[str, ...]
    contributor_names: tuple[str, ...]
    weight: FloatArray
    strange: BoolArray
    offset: FloatArray
    shifted_code: IntArray

    @property
    def sheet_order(self) -> IntArray:
        """Sheets that shape the pattern."""
        return np.flatnonzero(self.counts)

    @property
    def sheets(self) -> int:
        return len(self.unit)

    @property
    def units(self) -> int:
        return len(self.unit_names)


def encode(design: DesignReadings, settings: Settings) -> Encoded:
    """Arrays of one design; see `Encoded`."""
    counts = np.array([sheet.counts for sheet in design.sheets], dtype=bool)
    unit, unit_names = _indices([sheet.unit for sheet in design.sheets])
    contributor, names = _indices([sheet.contributor for sheet in design.sheets])
    group, _ = _indices([_group(sheet.workshop, sheet.contributor) for sheet in design.sheets])
    readings = design.readings
    sheet = readings.sheet.astype(np.int64)
    low = np.minimum(readings.pin, readings.against).astype(np.int64)
    high = np.maximum(readings.pin, readings.against).astype(np.int64)
    shape = find_shape(design, counts, sheet, low, high)
    cell = _cells(shape, readings.position, readings.between, low, high)
    ohm = contacts.contact_ohms(readings)
    ohm[contacts.past_limit(readings, settings)] = np.inf
    ohm[contacts.wandering(readings, settings)[0]] = np.nan  # between two states a middle is no figure
    solid = counts[sheet] if counts.any() else np.ones(len(sheet), dtype=bool)
    levels = contacts.find_levels(ohm[solid], unit[sheet[solid]], settings)
    alphabet = contacts.make_alphabet(levels, settings)
    code = contacts.reading_codes(readings, ohm, alphabet, settings)
    limit = np.where(contacts.past_limit(readings, settings), readings.limit, np.inf)
    first, sweeps = _merge(sheet * shape.cells + cell)
    merged = merge_sweeps(code, ohm, sweeps, alphabet)
    sheet, cell = sheet[first], cell[first]
    pairs = set(shape.pairs)
    own = np.array([pair in pairs for pair in shape.named], dtype=bool)
    return Encoded(
        readings=design,
        shape=shape,
        alphabet=alphabet,
        sheet=sheet,
        cell=cell,
        code=merged.code,
        ohm=merged.ohm,
        missed=merged.missed,
        torn=merged.torn,
        sweeps=sweeps,
        raw_code=code,
        raw_limit=limit,
        unit=unit,
        contributor=contributor,
        counts=counts,
        unit_names=unit_names,
        contributor_names=names,
        offset=np.full(len(counts), np.nan),
        shifted_code=merged.code,
        strange=np.bincount(sheet, ~own[cell % len(shape.named)], len(counts)) > 0,
        weight=_weights(group[sheet] * shape.cells + cell, counts[sheet], settings),
    )


def _group(workshop: str | None, contributor: str) -> str:
    return f"c:{contributor}" if workshop is None else f"w:{workshop}"


def _indices(names: list[str]) -> tuple[IntArray, tuple[str, ...]]:
    """Index of each name among the names, in order of first appearance."""
    seen: dict[str, int] = {}
    index = [seen.setdefault(name, len(seen)) for name in names]
    return np.array(index, dtype=np.int64), tuple(seen)


def find_shape(
    design: DesignReadings, counts: BoolArray, sheet: IntArray, low: IntArray, high: IntArray
) -> Shape:
    """Which pairs are places of their own.

    With a common: every line against it, and a pair of lines if a counting sheet reads it that mostly keeps
    to the common.  Without: every pair read.  A sheet numbered from the other face does not keep to it: all
    that it reads is against the pin that lies where the common does from that face, also where most of it
    happens to be between that pin and the common.
    """
    pins, common = len(design.pins), design.common
    between = design.readings.between
    gaps = sorted({int(p) for p in design.readings.position[between]}) if between.any() else []
    slots = tuple(sorted([(p, False) for p in range(len(design.positions))] + [(p, True) for p in gaps]))
    read_keys = np.bincount(low * pins + high, minlength=pins * pins) > 0
    named = {divmod(int(key), pins) for key in np.flatnonzero(read_keys)}
    if common is None:
        own = set(named)
    else:
        own = {(min(line, common), max(line, common)) for line in range(pins) if line != common}
        on_common = (low == common) | (high == common)
        share = np.bincount(sheet, on_common, len(counts)) / np.maximum(
            np.bincount(sheet, minlength=len(counts)), 1
        )
        face = pins - 1 - common  # what a sheet numbered from the other face calls the common
        on_face = (low == face) | (high == face)
        apart = np.bincount(sheet, on_common.astype(int) - on_face, len(counts)) >= 0
        apart &= np.bincount(sheet, ~on_face, len(counts)) > 0
        keeps = (share > 0.5) & apart & (counts if counts.any() else True)
        extra = ~on_common & keeps[sheet]
        own |= {divmod(int(key), pins) for key in np.unique(low[extra] * pins + high[extra])}
        named |= {(min(pin, face), max(pin, face)) for pin in range(pins) if pin != face}
    return Shape(
        positions=len(design.positions),
        pins=pins,
        common=common,
        slots=slots,
        pairs=tuple(sorted(own)),
        named=tuple(sorted(named | own)),
    )


def _cells(
    shape: Shape, position: NDArray[np.int32], between: BoolArray, low: IntArray, high: IntArray
) -> IntArray:
    slot_of = np.full((shape.positions, 2), -1, dtype=np.int64)
    for index, (row, gap) in enumerate(shape.slots):
        slot_of[row, int(gap)] = index
    named_of = np.full((shape.pins, shape.pins), -1, dtype=np.int64)
    for index, (a, b) in enumerate(shape.named):
        named_of[a, b] = index
    return np.asarray(slot_of[position, between.astype(np.int64)] * len(shape.named) + named_of[low, high])


def _merge(key: IntArray) -> tuple[IntArray, IntArray | None]:
    """First raw index of each distinct key in order of appearance, and the merged index of each raw one."""
    distinct, first, inverse = np.unique(key, return_index=True, return_inverse=True)
    if len(distinct) == len(key):
        return np.arange(len(key)), None
    order = np.argsort(first, kind="stable")
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    return first[order], rank[inverse]


def _weights(key: IntArray, counts: BoolArray, settings: Settings) -> FloatArray:
    """Design effect of m readings of one place by one group: each weighs 1 / (1 + (m - 1) rho)."""
    _, inverse, many = np.unique(key[counts], return_inverse=True, return_counts=True)
    weight = np.ones(len(key))
    weight[counts] = 1 / (1 + (many[inverse] - 1) * settings.contributor_correlation)
    return weight


def reading_likelihoods(encoded: Encoded, table: FloatArray) -> FloatArray:
    """(R, A) likelihood of each merged reading, from the (contributors, codes, A) table of contacts.py."""
    raw_sheet = encoded.readings.readings.sheet
    who = encoded.contributor[raw_sheet]
    rows = table[who, encoded.raw_code]
    low = np.isfinite(encoded.raw_limit)
    if low.any():
        rows[low] = contacts.censored_likelihood(table, who[low], encoded.raw_limit[low], encoded.alphabet)
    if encoded.sweeps is None:
        return rows
    total = np.zeros((len(encoded.sheet), rows.shape[1]))
    np.add.at(total, encoded.sweeps, np.log(rows))
    return np.asarray(np.exp(total / np.bincount(encoded.sweeps)[:, None]))
