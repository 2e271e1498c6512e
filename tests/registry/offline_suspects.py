"""Made-up suspects of a chart: good and faulty units, careful and careless readers, few and many readings."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

Plain = dict[str, Any]
FAULTS = ("none", "none", "none", "line_open", "line_closed", "worn", "bridged", "common", "shift")
MISTAKES = ("none", "none", "none", "none", "lines", "face", "shifted", "wrong_common", "exchanged")
PLACES = ("bench", "bench", "connector", "harness")


def made_suspects(chart: Plain, count: int, seed: int) -> Iterator[Plain]:
    """Sheets {read_at, readings}; chart: `designs` of an agreed document, or a stored chart."""
    rng = np.random.default_rng(seed)
    for _sheet in range(count):
        yield _suspect(chart, rng)


def _suspect(chart: Plain, rng: np.random.Generator) -> Plain:
    variant = chart["variants"][0 if rng.random() < 0.8 else -1]
    positions, pins, common = list(chart["positions"]), list(chart["pins"]), chart["common"]
    cells = [cell for cell in variant["cells"] if not cell.get("between")]
    truth = {(cell["position"], frozenset((cell["pin"], cell["against"]))): _ohm(cell) for cell in cells}
    places = sorted(truth, key=lambda place: (positions.index(place[0]), sorted(place[1])))
    shown = _with_fault(dict(truth), places, positions, pins, common, rng)
    seen = _through_mistake(shown, positions, pins, common, rng)
    careless = rng.random() < 0.3
    meter = {"limit": float(rng.choice([2e7, 2e7, 6e7, 2000.0])), "lead": float(rng.choice([0.0, 0.2]))}
    wanted = rng.choice(len(places), size=int(rng.integers(1, len(places) + 1)), replace=False)
    sweeps = 2 if rng.random() < 0.2 else 1
    readings = []
    for sweep in range(1, sweeps + 1):
        for at in sorted(wanted):
            position, pair = places[at]
            pin, against = _ends(pair, common)
            ohm = seen.get((position, pair), np.inf)
            readings.append(_read(position, pin, against, ohm, sweep, careless, meter, rng))
    return {"read_at": str(rng.choice(PLACES)), "readings": readings}


def _ohm(cell: Plain) -> float:
    if cell["state"] == "closed":
        return 0.0
    return float(cell["ohm"]["typical"]) if cell["state"] == "resistive" and cell["ohm"] else np.inf


def _ends(pair: frozenset[str], common: str | None) -> tuple[str, str]:
    first, second = sorted(pair)
    return (second, first) if first == common else (first, second)


def _with_fault(
    shown: Plain, places: list[Any], positions: list[str], pins: list[str], common: Any, rng: Any
) -> Plain:
    fault = rng.choice(FAULTS)
    lines = [pin for pin in pins if pin != common]
    line = str(rng.choice(lines))
    if fault in ("line_open", "line_closed"):
        value = np.inf if fault == "line_open" else 0.0
        return {place: value if line in place[1] else ohm for place, ohm in shown.items()}
    if fault == "worn":
        closed = [place for place in places if shown[place] < 1e5]
        if closed:
            shown[closed[int(rng.integers(len(closed)))]] = float(rng.choice([np.inf, 900.0, 70.0]))
    if fault == "common":
        more = float(rng.choice([18.0, 60.0, 480.0, 3000.0]))
        return {place: ohm + more if common in place[1] else ohm for place, ohm in shown.items()}
    if fault == "bridged" and common is not None and len(lines) > 1:
        other = str(rng.choice([pin for pin in lines if pin != line]))
        for position in positions:
            one, two = ((position, frozenset((pin, common))) for pin in (line, other))
            low = min(shown.get(one, np.inf), shown.get(two, np.inf))
            shown.update({place: low for place in (one, two) if place in shown})
    if fault == "shift":
        step = int(rng.choice([-1, 1]))
        moved = {
            label: positions[min(max(n + step, 0), len(positions) - 1)] for n, label in enumerate(positions)
        }
        return {place: shown.get((moved[place[0]], place[1]), np.inf) for place in shown}
    return shown


def _through_mistake(shown: Plain, positions: list[str], pins: list[str], common: Any, rng: Any) -> Plain:
    mistake = rng.choice(MISTAKES)
    lines = [pin for pin in pins if pin != common]
    turn = {pin: pin for pin in pins}
    rows = {label: label for label in positions}
    if mistake == "lines":
        turn.update(zip(lines, reversed(lines), strict=True))
    elif mistake == "face":
        turn.update(zip(pins, reversed(pins), strict=True))
    elif mistake == "exchanged":
        turn[lines[0]], turn[lines[1]] = lines[1], lines[0]
    elif mistake == "shifted":
        last = len(positions) - 1
        rows = {label: positions[min(n + 1, last)] for n, label in enumerate(positions)}
    elif mistake == "wrong_common" and common is not None:
        stayed = lines[0]

        def two(place: Any) -> float:
            (pin,) = place[1] - {common} if common in place[1] else (stayed,)
            mine = shown.get((place[0], frozenset((stayed, common))), np.inf)
            return mine if pin == stayed else mine + shown.get(place, np.inf)

        return {place: two(place) for place in shown}
    return {
        (position, pair): shown.get((rows[position], frozenset(turn[pin] for pin in pair)), np.inf)
        for position, pair in shown
    }


def _read(
    position: str, pin: str, against: str, ohm: float, sweep: int, careless: bool, meter: Plain, rng: Any
) -> Plain:
    row = {"position": position, "pin": pin, "against": against, "sweep": sweep, "between": False}
    lead = meter["lead"]
    if rng.random() < (0.08 if careless else 0.01):
        ohm = 0.0 if np.isinf(ohm) else np.inf
    row |= {**meter, "low": 0.0, "high": 0.0}
    if np.isinf(ohm) or ohm > row["limit"]:
        if np.isinf(ohm) and row["limit"] > 1e6 and rng.random() < 0.1:
            leak = float(f"{10 ** rng.uniform(5.2, 7.2):.3g}")
            return row | {"kind": "value", "low": leak, "high": leak}
        return row | {"kind": "over_limit"}
    if ohm == 0.0 and rng.random() < 0.1:
        return row | {"kind": "continuity"}
    figure = float(f"{(0.4 * np.exp(rng.normal(0, 0.5)) + ohm * np.exp(rng.normal(0, 0.02))) + lead:.3g}")
    if rng.random() < 0.03:
        return row | {"kind": "range", "low": figure, "high": float(f"{figure * 60:.3g}")}
    return row | {"kind": "value", "low": figure, "high": figure}


def typed(reading: Plain) -> str:
    """As a technician writes it."""
    low, high = f"{reading['low']:.12g}", f"{reading['high']:.12g}"
    words = {"over_limit": "OL", "continuity": "cont", "range": f"{low}…{high}"}
    return words.get(reading["kind"], low)
