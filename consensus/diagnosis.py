"""Check a suspect: is the unit good, which fault does it have, or is the trouble in the sheet?

The verdict stands for the unit.  Its probability is the posterior mass of all explanations without a unit
fault (unit_explanations.py), so it follows from the chart's own doubts, spreads and slip rates, not from a
cut-off on the number of cells that differ.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from consensus import start_positions as start
from consensus.causes import cause_keys, is_faulty, name_causes
from consensus.check_results import Cause, SheetCheck, UnlikeReading
from consensus.errors import ConsensusError
from consensus.other_designs import OtherDesigns
from consensus.reading_choice import next_readings
from consensus.readings import DesignReadings
from consensus.results import DesignAgreement
from consensus.settings import Settings
from consensus.suspect_sheet import Explained, explain
from consensus.unit_grid import grid_of
from consensus.unlike_readings import unlike_readings

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

SHIFTS = ("shifted_positions", "detent_shift")


def check_sheet(
    sheet: DesignReadings,
    chart: DesignAgreement,
    others: Sequence[DesignAgreement] | OtherDesigns = (),
    settings: Settings | None = None,
) -> SheetCheck:
    """Verdict, causes and next readings for one unit.

    sheet: exactly one sheet, in its own numbering of pins and positions (matched by label); chart: what the
    design agreed on; others: further charts, of which those of the same shape are tried as "other design"
    (OtherDesigns: made once for many checks).
    """
    settings = settings or Settings()
    if len(sheet.sheets) != 1:
        raise ConsensusError(
            "one_sheet", f"A check takes one sheet, {len(sheet.sheets)} were given.", "Check them one by one."
        )
    name = sheet.sheets[0].name
    if not chart.variants:
        return SheetCheck(name, chart.design, None, "undecided", 0.5, reason="no_chart")
    explained = explain(sheet, chart, others, settings)
    faulty = is_faulty(explained)
    p_faulty = float(explained.p[faulty].sum())
    p_good = float(explained.p[~faulty].sum()) + sum(share for _, share in explained.others)
    p_good += explained.p_unknown * (1 - settings.suspect_fault_rate)
    starts = start.start_indices(chart.positions, chart.start_positions or _labels(sheet))
    open_dangers = _open_dangers(explained, starts)
    verdict, reason = _verdict(explained, p_good, p_faulty, bool(open_dangers), settings)
    causes = name_causes(explained, chart)
    unlike, agreeing = unlike_readings(explained, chart, settings)
    causes = _with_slip(causes, explained, unlike, p_good)
    return SheetCheck(
        submission=name,
        design=chart.design,
        variant=explained.tables[explained.variant[0]].variant if len(explained.p) else None,
        verdict=verdict,
        p_good=min(max(p_good, 0.0), 1.0),
        causes=causes,
        next=next_readings(explained, chart, faulty, open_dangers),
        unlike=unlike,
        reason=reason,
        not_excluded=tuple(_danger_plain(explained, chart, danger) for danger in open_dangers),
        p_unknown=explained.p_unknown,
        compared=len(explained.laid.cells),
        agreeing=agreeing,
    )


def _labels(sheet: DesignReadings) -> tuple[str, ...] | None:
    if sheet.start_positions is None:
        return None
    return tuple(sheet.positions[at] for at in sheet.start_positions)


def _verdict(
    explained: Explained, p_good: float, p_faulty: float, dangers: bool, settings: Settings
) -> tuple[str, str]:
    """Verdict and, where it is undecided, why."""
    if not len(explained.laid.cells):
        return "undecided", "no_readings"
    if _shift_untold(explained):
        return "undecided", "shift"
    if p_good >= settings.verdict_good_p:
        return ("undecided", "start_position") if dangers else ("good", "")
    if 1 - p_good >= 1 - settings.verdict_faulty_p and p_faulty > 0.5:
        return "faulty", ""
    return "undecided", "evidence"


def _shift_untold(explained: Explained) -> bool:
    """Whether a shifted sheet and a shifted detent, which predict the same, carry most of the probability."""
    groups = explained.groups
    if not len(groups):
        return False
    alike = np.flatnonzero(groups == groups[0])
    keys = cause_keys(explained, alike)
    sheet, unit = (keys.only(kind) for kind in SHIFTS)
    return bool(sheet.any() and unit.any()) and float(explained.p[alike[sheet | unit]].sum()) > 0.5


def _open_dangers(explained: Explained, starts: Sequence[int]) -> list[tuple[int, int, int]]:
    """Faults that could pass for a start position and that no reading taken would have shown."""
    if not len(explained.p) or not starts:
        return []
    table = explained.tables[explained.variant[0]]
    dangers = start.passing_faults(table, starts)
    unit = explained.units[explained.variant[0]]
    predicted = unit.symbols[:, unit.grid.touched[explained.mistake[0], explained.laid.cells]]
    shown = (predicted != predicted[0]).any(axis=1)
    return [danger for danger in dangers if not shown[danger[0]]]


def _danger_plain(
    explained: Explained, chart: DesignAgreement, danger: tuple[int, int, int]
) -> dict[str, object]:
    fault, position, passes_for = danger
    what = grid_of(explained.laid.shape).faults[fault]
    pins = [chart.pins[pin] for pin in what.pins if pin != explained.laid.shape.common]
    return {
        "cause": what.kind,
        "pins": pins,
        "position": chart.positions[position],
        "passes_for": chart.positions[passes_for],
    }


def _with_slip(
    causes: tuple[Cause, ...], explained: Explained, unlike: Sequence[UnlikeReading], p_good: float
) -> tuple[Cause, ...]:
    """Name the slips that a good unit's sheet must hold, where a good unit is the likeliest."""
    if not unlike or not len(explained.p) or is_faulty(explained)[0]:
        return causes
    slip = Cause(
        "slip",
        tuple(dict.fromkeys(reading.pin for reading in unlike)),
        tuple(dict.fromkeys(reading.position for reading in unlike)),
        float(explained.p[~is_faulty(explained) & (explained.groups == explained.groups[0])].sum()),
        int(explained.groups[0]),
        {"of": "sheet", "readings": len(unlike)},
    )
    return tuple(sorted([*causes, slip], key=lambda cause: -cause.p))
