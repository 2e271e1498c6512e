"""From explanations to causes: what may be wrong, how probably, and which can't be told apart."""

from __future__ import annotations

from collections import defaultdict

import numpy as np

from consensus.check_results import Cause
from consensus.contacts import OPEN
from consensus.results import DesignAgreement
from consensus.shape import Fault, Mistake
from consensus.suspect_sheet import Explained
from consensus.unit_grid import grid_of

Key = tuple[str, tuple[int, ...], tuple[int, ...]]
LEAST_P = 0.005  # causes below are not named
MOST_CAUSES = 12


def explanation_keys(explained: Explained, at: int) -> list[tuple[Key, str]]:
    """Causes of one explanation, each with its detail: mistake of the reader, then faults of the unit."""
    grid = grid_of(explained.laid.shape)
    mistake = grid.mistakes[explained.mistake[at]]
    keys = [] if mistake.kind == "none" else [mistake_key(mistake)]
    common = explained.laid.shape.common
    for fault in (explained.first[at], explained.second[at]):
        if fault > 0:
            (kind, pins, rows), detail = fault_key(grid.faults[fault], common)
            keys.append((("harness_open" if explained.harness[at] else kind, pins, rows), detail))
    if explained.common[at]:
        keys.append((("resistive_common", () if common is None else (common,), ()), ""))
    return keys


def mistake_key(mistake: Mistake) -> tuple[Key, str]:
    return (mistake.kind, mistake.pins, mistake.positions), mistake.detail


def fault_key(fault: Fault, common: int | None) -> tuple[Key, str]:
    """Key of a fault; the common is not named beside the line of a worn contact."""
    pins = tuple(pin for pin in fault.pins if pin != common)
    return (fault.kind, pins, fault.positions), fault.detail


def is_faulty(explained: Explained) -> np.ndarray:
    """(H,) True where the unit has a fault."""
    in_unit = (explained.first > 0) & ~explained.harness
    return np.asarray(in_unit | (explained.second > 0) | explained.common)


def seen_symbols(explained: Explained) -> np.ndarray:
    """(H, n) predicted symbols, a worn contact standing for what was read there: open or some resistance.

    Two explanations with equal rows predict the same for every reading taken.
    """
    table = explained.tables[0]
    seen = np.where(explained.odds.shows_open, OPEN, table.alphabet.odd)
    return np.where(explained.symbols == table.worn, seen, explained.symbols)


def groups_of(explained: Explained) -> np.ndarray:
    """(H,) group number of each explanation, in order of the likeliest."""
    rows = seen_symbols(explained)
    seen: dict[bytes, int] = {}
    return np.array([seen.setdefault(row.tobytes(), len(seen)) for row in rows], dtype=np.int64)


def name_causes(explained: Explained, chart: DesignAgreement) -> tuple[Cause, ...]:
    """Causes by probability that they are present; a slip is named where a good reading explains the rest."""
    groups = groups_of(explained)
    p: dict[Key, float] = defaultdict(float)
    shown: dict[Key, tuple[int, str, int]] = {}
    single: dict[Key, bool] = {}
    for at in range(len(explained.p)):
        keys = explanation_keys(explained, at)
        for key, detail in keys:
            p[key] += float(explained.p[at])
            # the group of a cause is that of the likeliest explanation which it alone makes, if there is one
            if key not in shown or (len(keys) == 1 and not single[key]):
                shown[key] = (int(groups[at]), detail, int(explained.sweep[at]))
                single[key] = len(keys) == 1
    causes = [
        _cause(key, shown[key], share, explained, chart) for key, share in p.items() if share >= LEAST_P
    ]
    causes += _choices(explained, chart, len(set(groups.tolist())))
    return tuple(sorted(causes, key=lambda cause: (-cause.p, cause.cause, cause.pins))[:MOST_CAUSES])


def _cause(
    key: Key, shown: tuple[int, str, int], p: float, explained: Explained, chart: DesignAgreement
) -> Cause:
    kind, pins, positions = key
    group, detail, sweep = shown
    sheet = kind in ("mirrored_pins", "wrong_common", "shifted_positions", "exchanged")
    params: dict[str, object] = {"of": "sheet" if sheet else "harness" if kind == "harness_open" else "unit"}
    if sweep:
        params["sweeps"] = [sweep]
    if detail:
        params["detail"] = detail
    if kind == "resistive_common":
        ohm = explained.ohm[explained.common][0]  # of the likeliest
        if np.isfinite(ohm):
            params["ohm"] = float(f"{ohm:.3g}")
    return Cause(
        kind,
        tuple(chart.pins[pin] for pin in pins),
        tuple(chart.positions[row] for row in positions),
        p,
        group,
        params,
    )


def _choices(explained: Explained, chart: DesignAgreement, group: int) -> list[Cause]:
    """Another variant, another design, nothing known."""
    out = []
    minority = explained.variant > 0
    if minority.any() and (p := float(explained.p[minority].sum())) >= LEAST_P:
        at = int(np.flatnonzero(minority)[0])
        variant = explained.tables[explained.variant[at]].variant
        out.append(Cause("other_variant", (), (), p, group, {"of": "choice", "variant": variant}))
    others = [pair for pair in explained.others if pair[1] > 0]
    if others and (p := sum(share for _, share in others)) >= LEAST_P:
        best = max(others, key=lambda pair: pair[1])[0]
        out.append(Cause("other_design", (), (), p, group + 1, {"of": "choice", "design": best}))
    if explained.p_unknown >= LEAST_P:
        out.append(Cause("unknown", (), (), explained.p_unknown, group + 2, {"of": "choice"}))
    return out
