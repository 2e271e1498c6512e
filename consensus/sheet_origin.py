"""Sheets that fit another design better than their own: the unit, or the label, was another one.

Compared are designs of the same shape only (positions and pins by label), by the sheet's readings as read
under the published tables (chart_origin.py); the tables of all designs of a shape are stacked.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from consensus.chart_origin import INVENT, MISS, ChartOrigin, Suspect, chart_origin, place_numbers
from consensus.contacts import contact_ohms
from consensus.problem import mistakes_told
from consensus.readings import DesignReadings
from consensus.results import DesignAgreement, SheetFinding
from consensus.settings import Settings

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

SAME_LEVEL = 0.1  # share by which a figure may differ from the level of another chart
LIKELY = 0.5
GRID = ("position", "between", "pin", "against")
# tables of other designs that are held against a sheet one by one, the likeliest at first sight
CANDIDATES = 24


def name_other_designs(
    designs: Sequence[DesignReadings], charts: Sequence[DesignAgreement], settings: Settings
) -> tuple[DesignAgreement, ...]:
    """`charts` with the finding `other_design` where a sheet fits another chart far better than its own.

    designs, charts: in the same order; see `other_designs_found`.
    """
    origins = [chart_origin(design, chart) for design, chart in zip(designs, charts, strict=True)]
    named = list(charts)
    for (at, sheet), finding in other_designs_found(designs, origins, settings).items():
        findings = named[at].findings
        named[at] = replace(named[at], findings=(*findings[:sheet], finding, *findings[sheet + 1 :]))
    return tuple(named)


def other_designs_found(
    designs: Sequence[DesignReadings], origins: Sequence[ChartOrigin], settings: Settings
) -> dict[tuple[int, int], SheetFinding]:
    """The finding `other_design` of each (design, sheet) that fits another chart far better than its own.

    designs, origins: in the same order.  The prior share of such sheets is `other_design_rate`, divided among
    the charts of the same shape; "params" name the design, its variant and the readings that agree.
    """
    alike: dict[object, list[int]] = defaultdict(list)
    for at, origin in enumerate(origins):
        if origin.tables:
            alike[origin.shape].append(at)
    found: dict[tuple[int, int], SheetFinding] = {}
    for members in alike.values():
        suspects = [(at, suspect) for at in members for suspect in origins[at].suspects]
        if suspects and len(members) > 1:
            found |= _compared(designs, origins, members, suspects, settings)
    return found


@dataclass(frozen=True)
class _Stack:
    """T tables of designs of one shape over the Q places that any of them has, an unread one behind them.

    design: (T,) index of each table's design; states: (T, Q + 1, 3); level: (T, Q + 1)."""

    design: IntArray
    variant: list[str]
    place: IntArray
    states: FloatArray
    level: FloatArray

    def columns(self, place: IntArray) -> IntArray:
        """(n,) column of each place number, the unread one where no table has it."""
        at = np.searchsorted(self.place, place)
        known = self.place.take(np.minimum(at, len(self.place) - 1)) == place if len(self.place) else False
        return np.where(known, at, len(self.place))


def _stacked(origins: Sequence[ChartOrigin], members: Sequence[int]) -> _Stack:
    tables = [(at, table) for at in members for table in origins[at].tables]
    place = np.unique(np.concatenate([table.place for _, table in tables]))
    states = np.full((len(tables), len(place) + 1, 3), 1 / 3)
    level = np.full(states.shape[:2], np.nan)
    for row, (_, table) in enumerate(tables):
        at = np.searchsorted(place, table.place)
        states[row, at], level[row, at] = table.states, table.level
    design = np.array([at for at, _ in tables], dtype=np.int64)
    return _Stack(design, [table.variant for _, table in tables], place, states, level)


@dataclass(frozen=True)
class _Read:
    """Readings of one sheet, of the first sweep.  column: (n,) of a stack; ohm: (n,) Ω, nan continuity, inf
    over limit; shows: (n,) open, closed or resistive."""

    column: IntArray
    ohm: FloatArray
    shows: IntArray


def _read(design: DesignReadings, sheets: Sequence[int], stack: _Stack, settings: Settings) -> list[_Read]:
    readings, ohms = design.readings, contact_ohms(design.readings)
    shows = np.where(ohms >= settings.open_above_ohm, 0, 2)
    shows[np.isnan(ohms) | (ohms < settings.closed_below_ohm)] = 1
    pins = len(design.pins)
    found = []
    for sheet in sheets:
        rows = np.flatnonzero(readings.sheet == sheet)
        position, between, pin, against = (getattr(readings, name)[rows].astype(np.int64) for name in GRID)
        place, first = np.unique(place_numbers(position, between, pin, against, pins), return_index=True)
        found.append(_Read(stack.columns(place), ohms[rows[first]], shows[rows[first]]))
    return found


def _compared(
    designs: Sequence[DesignReadings],
    origins: Sequence[ChartOrigin],
    members: Sequence[int],
    suspects: Sequence[tuple[int, Suspect]],
    settings: Settings,
) -> Mapping[tuple[int, int], SheetFinding]:
    """The suspects of designs of one shape (members) that are of another one."""
    stack = _stacked(origins, members)
    read: list[_Read] = []
    for at in members:
        sheets = [suspect.sheet for suspect in origins[at].suspects]
        read += _read(designs[at], sheets, stack, settings) if sheets else []
    near = _at_first_sight(stack, read)
    found = {}
    for (at, suspect), readings, chance in zip(suspects, read, near, strict=True):
        others = np.flatnonzero(stack.design != at)
        if len(others) > CANDIDATES:
            others = np.sort(others[np.argsort(-chance[others], kind="stable")[:CANDIDATES]])
        own = np.flatnonzero(stack.design == at)
        renamed = _renamed(stack, own, others, readings, suspect, len(members) - 1, origins, settings)
        if renamed is not None:
            found[at, suspect.sheet] = renamed
    return found


def _at_first_sight(stack: _Stack, read: Sequence[_Read]) -> FloatArray:
    """(S, T) log likelihoods under the slips allowed for, whatever the level: tables worth a look."""
    shown = np.stack([chances((MISS, INVENT), kind) for kind in range(3)], axis=1)
    logs = np.log(stack.states @ shown).reshape(len(stack.design), -1)
    column = np.concatenate([one.column * 3 + one.shows for one in read])
    begins = np.cumsum([0, *(len(one.column) for one in read)])
    taken = csr_array((np.ones(len(column)), column, begins), shape=(len(read), logs.shape[1]))
    return np.asarray(taken @ logs.T)


def chances(rates: tuple[float, float], shows: int, near: bool = True) -> FloatArray:
    """(3,) chance of a reading that shows open, closed or resistive (0, 1, 2) where the contact is open,
    closed, on the level; rates: of missed and invented contacts; near: the figure is that of the level."""
    miss, invent = rates
    if shows == 1:
        return np.array([invent, 1 - miss, 0.01])
    if shows == 0:
        return np.array([1 - invent, miss, miss])
    return np.array([0.01, 0.01, 1 - miss if near else 0.02])


def _fits(
    stack: _Stack, rows: IntArray, read: _Read, rates: tuple[float, float]
) -> tuple[FloatArray, IntArray]:
    """(rows,) log likelihood of a sheet as read under tables, and how many readings agree with each."""
    states, level = stack.states[rows[:, None], read.column], stack.level[rows[:, None], read.column]
    like = np.stack([chances(rates, kind, near=False) for kind in range(3)])[read.shows]
    p = (states * like).sum(axis=2)
    figure = read.shows == 2
    if figure.any():
        apart = np.abs(np.log(read.ohm[figure] / np.maximum(level[:, figure], 1e-3)))
        more = chances(rates, 2)[2] - chances(rates, 2, near=False)[2]
        p[:, figure] += np.where(apart < SAME_LEVEL, more, 0.0) * states[:, figure, 2]
    return np.log(p).sum(axis=1), (states.argmax(axis=2) == read.shows).sum(axis=1)


def _renamed(
    stack: _Stack,
    own: IntArray,
    others: IntArray,
    read: _Read,
    suspect: Suspect,
    designs: int,
    origins: Sequence[ChartOrigin],
    settings: Settings,
) -> SheetFinding | None:
    """The finding of a sheet that rather is of one of `others`; designs: how many these are chosen from."""
    finding, rates = suspect.finding, suspect.rates
    here = float(_fits(stack, own, read, rates)[0].max())
    # what the sheet's own finding explains beyond "as read": its repaired readings
    readings, agreeing = finding.params["readings"], finding.params["agreeing"]
    repaired = agreeing * np.log(1 - rates[0]) + (readings - agreeing) * np.log(rates[1])
    here = max(here, float(repaired) if finding.finding != "unexplained" else here)
    told = max(float(mistakes_told(1 - sum(rates))), 1e-9)
    fit, agree = _fits(stack, others, read, rates)
    best = int(fit.argmax())
    prior = np.log(settings.other_design_rate * told / designs)
    p = 1 / (1 + np.exp(np.clip(here - fit[best] - prior, -50, 50)))
    if p <= LIKELY:
        return None
    row = int(others[best])
    params = {
        "design": origins[stack.design[row]].design,
        "variant": stack.variant[row],
        "readings": readings,
        "agreeing": int(agree[best]),
        **{name: finding.params[name] for name in ("counts",) if name in finding.params},
    }
    also = ((finding.finding, finding.p), *finding.also)
    return replace(finding, finding="other_design", p=float(p), also=also[:4], params=params)
