"""From explanations to causes: what may be wrong, how probably, and which can't be told apart."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from consensus.check_results import Cause
from consensus.results import DesignAgreement
from consensus.shape import Shape
from consensus.suspect_sheet import Explained
from consensus.unit_grid import grid_of

IntArray = NDArray[np.int64]
Key = tuple[str, tuple[int, ...], tuple[int, ...]]
LEAST_P = 0.005  # causes below are not named
MOST_CAUSES = 12


@dataclass(frozen=True)
class CauseKeys:
    """Causes of H explanations.  keys: what may be wrong; at: (H, 4) number of each explanation's mistake,
    first and second fault and resistive common in `keys`, -1 where there is none."""

    keys: tuple[Key, ...]
    at: IntArray

    def only(self, kind: str) -> NDArray[np.bool_]:
        """(H,) True where the one cause of an explanation is of this kind."""
        of_kind = np.array([key[0] == kind for key in self.keys] + [False])  # the last: none
        return np.asarray(((self.at >= 0).sum(axis=1) == 1) & of_kind[self.at].any(axis=1))


def cause_keys(explained: Explained, which: IntArray | slice = slice(None)) -> CauseKeys:
    """Which causes each explanation has, or some of them."""
    keys, mistake, fault, harness, resistive = _cause_numbers(explained.laid.shape)
    first, on_the_way = explained.first[which], explained.harness[which]
    columns = [
        mistake[explained.mistake[which]],
        np.where(on_the_way, harness[first], fault[first]),
        fault[explained.second[which]],
        np.where(explained.common[which], resistive, -1),
    ]
    return CauseKeys(keys, np.stack(columns, axis=1))


@lru_cache(maxsize=128)
def _cause_numbers(shape: Shape) -> tuple[tuple[Key, ...], IntArray, IntArray, IntArray, int]:
    """Causes of a shape; the number of each mistake's, each fault's, of a line open on the way, -1 for none;
    that of a resistive common."""
    grid, common = grid_of(shape), shape.common
    numbers: dict[Key, int] = {}

    def numbered(kind: str, pins: tuple[int, ...] = (), positions: tuple[int, ...] = ()) -> int:
        return -1 if kind == "none" else numbers.setdefault((kind, pins, positions), len(numbers))

    mistake = [numbered(one.kind, one.pins, one.positions) for one in grid.mistakes]
    pins = [tuple(pin for pin in one.pins if pin != common) for one in grid.faults]
    fault = [numbered(one.kind, mine, one.positions) for one, mine in zip(grid.faults, pins, strict=True)]
    harness = [
        numbered("harness_open", mine) if one.kind == "line_open" else -1
        for one, mine in zip(grid.faults, pins, strict=True)
    ]
    resistive = numbered("resistive_common", () if common is None else (common,))
    return tuple(numbers), np.array(mistake), np.array(fault), np.array(harness), resistive


def is_faulty(explained: Explained) -> np.ndarray:
    """(H,) True where the unit has a fault."""
    in_unit = (explained.first > 0) & ~explained.harness
    return np.asarray(in_unit | (explained.second > 0) | explained.common)


def name_causes(explained: Explained, chart: DesignAgreement) -> tuple[Cause, ...]:
    """Causes by probability that they are present; a slip is named where a good reading explains the rest."""
    causes = []
    if len(explained):
        named = cause_keys(explained)
        has, count = named.at >= 0, len(explained)
        p = np.bincount(named.at[has], np.broadcast_to(explained.p[:, None], has.shape)[has], len(named.keys))
        # a cause's group is that of the likeliest explanation which it alone makes, if there is one
        rank = np.arange(count) + np.where(has.sum(axis=1) > 1, count, 0)
        shown = np.full(len(named.keys), 2 * count)
        np.minimum.at(shown, named.at[has], np.broadcast_to(rank[:, None], has.shape)[has])
        for key in np.flatnonzero(p >= LEAST_P):
            row = int(shown[key]) % count
            column = int(np.flatnonzero(named.at[row] == key)[0])
            causes.append(_cause(named.keys[key], row, column, float(p[key]), explained, chart))
    causes += _choices(explained, chart, len(set(explained.groups.tolist())))
    return tuple(sorted(causes, key=lambda cause: (-cause.p, cause.cause, cause.pins))[:MOST_CAUSES])


def _detail(explained: Explained, row: int, column: int) -> str:
    """Detail of the mistake (column 0) or of a fault of one explanation."""
    grid = explained.units[0].grid
    if column == 0:
        return grid.mistakes[explained.mistake[row]].detail
    return grid.faults[(explained.first, explained.second)[column - 1][row]].detail if column < 3 else ""


def _cause(key: Key, row: int, column: int, p: float, explained: Explained, chart: DesignAgreement) -> Cause:
    """One cause; row, column: an explanation that shows it, and where in it."""
    kind, pins, positions = key
    detail, sweep = _detail(explained, row, column), int(explained.sweep[row])
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
        tuple(chart.positions[at] for at in positions),
        p,
        int(explained.groups[row]),
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
