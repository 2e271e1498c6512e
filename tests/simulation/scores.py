"""How an agreed chart compares with the truth: the figures that the tracker's bars are set in.

Works on the plain form of the file contract and on `truth.json`, so a result of the command, of a page or of
the engine is judged alike.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from typing import Any

import numpy as np

Plain = dict[str, Any]
MISTAKES = ("mirrored_pins", "shifted_positions", "wrong_common", "exchanged")
LIKELY_ALSO = 0.2
PUBLISHED = 4  # units and contributors of a table that may be published
RECOVERED_WRONG = 0.05  # a second table counts as recovered with at most this share of its cells wrong


@dataclass
class Tally:
    """Counts of one or more worlds; shares are worked out when asked for."""

    hits: dict[str, float] = field(default_factory=lambda: defaultdict(float))
    of: dict[str, float] = field(default_factory=lambda: defaultdict(float))
    values: dict[str, list[float]] = field(
        default_factory=lambda: defaultdict(list)
    )  # of which a median is asked

    def add(self, name: str, hits: float, of: float = 1.0) -> None:
        self.hits[name] += float(hits)
        self.of[name] += of

    def merge(self, other: Tally) -> None:
        for name in other.of:
            self.add(name, other.hits[name], other.of[name])
        for name in other.values:
            self.values[name] += other.values[name]

    def share(self, name: str) -> float:
        return self.hits[name] / self.of[name] if self.of[name] else float("nan")

    def rows(self) -> list[str]:
        shares = [(name, self.share(name), self.of[name]) for name in sorted(self.of)]
        medians = [(f"{name}, median", np.median(of), len(of)) for name, of in sorted(self.values.items())]
        return [f"{name:50s} {figure:9.5f}  of {of:8.0f}" for name, figure, of in [*shares, *medians]]


def score_agreed(agreed: Plain, truth: Plain) -> Tally:
    """Cells, variants, findings and resistances of one agreed result against its truth."""
    tally = Tally()
    findings = {finding["submission"]: finding for finding in agreed["submissions"]}
    for chart in agreed["designs"]:
        design = truth["designs"][chart["design"]]
        held = {
            entry["variant"] for entry in truth["submissions"].values() if entry["design"] == chart["design"]
        }
        tables = [table for at, table in enumerate(design["variants"]) if at == 0 or at in held]
        matched = _match_tables(chart, design, tables)
        tally.add("tables beyond the true ones", len(chart["variants"]) > len(tables))
        if len(tables) > 1:
            name = (
                "second tables recovered"
                if _publishable(chart, truth)
                else "second tables of few units shown"
            )
            tally.add(name, 1 in matched)
        for at, variant in matched.items():
            _score_cells(tally, variant, design, tables[at])
            _score_other_places(tally, variant, design, tables[at])
        keys = {variant["variant"]: at for at, variant in matched.items()}
        _score_findings(tally, chart, findings, truth, keys)
    return tally


def _publishable(chart: Plain, truth: Plain) -> bool:
    """Whether the second table is held by as many units, of as many readers, as a published one needs."""
    second = [
        entry
        for entry in truth["submissions"].values()
        if entry["design"] == chart["design"] and entry["variant"] == 1
    ]
    return all(len({entry[of] for entry in second}) >= PUBLISHED for of in ("unit", "contributor"))


def _cell_truth(design: Plain, table: list[list[float]]) -> dict[tuple[str, frozenset[str]], float]:
    common = design["common"]
    against = design.get("against") or [common] * len(design["pins"])
    return {
        (position, frozenset((pin, other))): table[row][column]
        for row, position in enumerate(design["positions"])
        for column, (pin, other) in enumerate(zip(design["pins"], against, strict=True))
    }


def _cells(variant: Plain, truth: dict[tuple[str, frozenset[str]], float]) -> list[tuple[Plain, float]]:
    """Read cells with their true Ω (-1 = open); places outside the true table are left out."""
    found = []
    for cell in variant["cells"]:
        key = (cell["position"], frozenset((cell["pin"], cell["against"])))
        if key in truth and not cell.get("between") and cell["standing"] != "unread":
            found.append((cell, truth[key]))
    return found


def _wrong_share(variant: Plain, design: Plain, table: list[list[float]]) -> float:
    cells = _cells(variant, _cell_truth(design, table))
    return float(np.mean([(cell["p_open"] > 0.5) != (ohm < 0) for cell, ohm in cells])) if cells else 1.0


def _match_tables(chart: Plain, design: Plain, tables: list[Any]) -> dict[int, Plain]:
    """True table: published variant.  The first always has one (the nearest), a second only if recovered."""
    variants = list(chart["variants"])
    if len(tables) == 1 or len(variants) == 1:
        return {0: variants[0]}
    wrong = [[_wrong_share(variant, design, table) for variant in variants] for table in tables]
    first = min(range(len(variants)), key=lambda at: wrong[0][at])
    others = [at for at in range(len(variants)) if at != first]
    second = min(others, key=lambda at: wrong[1][at])
    matched = {0: variants[first]}
    if wrong[1][second] <= RECOVERED_WRONG:
        matched[1] = variants[second]
    return matched


def _score_cells(tally: Tally, variant: Plain, design: Plain, table: list[list[float]]) -> None:
    for cell, ohm in _cells(variant, _cell_truth(design, table)):
        p = min(max(cell["p_open"], 1e-6), 1 - 1e-6)
        wrong = (p > 0.5) != (ohm < 0)
        tally.add("cells wrong", wrong)
        tally.add("cells log loss", -np.log(p if ohm < 0 else 1 - p))
        tally.add("cells agreed", cell["standing"] == "agreed")
        tally.add("cells agreed or provisional", cell["standing"] in ("agreed", "provisional"))
        if cell["standing"] == "agreed":
            tally.add("agreed but wrong", wrong)
        true_state = _state(ohm)
        tally.add("state right", cell["state"] == true_state)
        if max(p, 1 - p) >= 0.99:
            tally.add("wrong at p >= 0.99", wrong)
        if ohm >= 0 and cell["state"] == true_state and cell["ohm"]:
            _score_ohm(tally, cell, ohm)


def _score_other_places(tally: Tally, variant: Plain, design: Plain, table: list[list[float]]) -> None:
    """Gaps between the detents, where what is alike on both sides stays connected, and lines against each
    other, which are two contacts in series."""
    truth = _cell_truth(design, table)
    after = dict(zip(design["positions"], design["positions"][1:], strict=False))
    for cell in variant["cells"]:
        position, pins = cell["position"], frozenset((cell["pin"], cell["against"]))
        if cell["standing"] == "unread" or (not cell.get("between") and (position, pins) in truth):
            continue
        if not cell.get("between"):
            ohms = [truth.get((position, frozenset((pin, design["common"]))), -1.0) for pin in pins]
            name, ohm = "line to line", -1.0 if min(ohms) < 0 else sum(ohms)
        elif (position, pins) in truth:
            here, there = truth[position, pins], truth[after[position], pins]
            name, ohm = "gaps", here if here == there else -1.0
        else:
            name, ohm = "places that are none", -1.0
        tally.add(f"{name}: state right", cell["state"] == _state(ohm))
        tally.add(f"{name}: agreed", cell["standing"] == "agreed")
        if cell["standing"] == "agreed":
            tally.add(f"{name}: agreed but wrong", cell["state"] != _state(ohm))


def _state(ohm: float) -> str:
    return "open" if ohm < 0 else "closed" if ohm < 20 else "resistive"


def _score_ohm(tally: Tally, cell: Plain, ohm: float) -> None:
    """The tracker's bars for resistances; contact resistance (0.4 Ω typical) rides on every level."""
    figures = cell["ohm"]
    contact = 0.4
    inside = abs(figures["typical"] - ohm) <= 3 * figures["u"] + 2 * contact
    tally.add("ohm: true value inside typical ± 3u + contact", inside)
    if cell["standing"] != "agreed":
        return
    fresh = _fresh_units(ohm)
    low, high = figures["accept"]
    tally.add("ohm: range holds 95 % of fresh units", np.mean((fresh >= low) & (fresh <= high)) >= 0.95)
    true_width = np.quantile(fresh, 0.975) - np.quantile(fresh, 0.025)
    if ohm == 0:
        true_width = np.quantile(fresh, 0.95)  # one-sided for closed contacts
    tally.add("ohm: range at most 3 x the true width", (high - low) <= 3 * true_width)
    tally.values["ohm: width of the range by the true one's"].append(float((high - low) / true_width))


_FRESH: dict[float, np.ndarray] = {}


def _fresh_units(ohm: float) -> np.ndarray:
    """20 000 readings of fresh good units at a place of `ohm` Ω, in the simulator's own distribution."""
    if ohm not in _FRESH:
        rng = np.random.default_rng(5)
        contact = 0.4 * np.exp(np.hypot(0.28, 0.45) * rng.normal(size=20_000))
        dirty = np.where(rng.random(20_000) < 0.01, rng.uniform(5, 40, 20_000), 1.0)
        level = ohm * (1 + 0.012 * rng.normal(size=20_000)) if ohm > 0 else 0.0
        _FRESH[ohm] = level + contact * dirty
    return _FRESH[ohm]


def _score_findings(
    tally: Tally, chart: Plain, findings: dict[str, Plain], truth: Plain, keys: dict[str, int]
) -> None:
    entries = {
        name: entry for name, entry in truth["submissions"].items() if entry["design"] == chart["design"]
    }
    units = Counter({entry["unit"]: entry["variant"] for entry in entries.values()}.values())
    most = min(units, key=lambda table: (-units[table], table))  # may be the second table, by chance
    for name, entry in entries.items():
        finding = findings[name]
        named = {finding["finding"]} | {
            other["finding"] for other in finding.get("also", []) if other["p"] >= LIKELY_ALSO
        }
        labels = set(entry["labels"])
        faults = [label for label in labels if label.startswith("faulty_unit")]
        mistake = next((kind for kind in MISTAKES if kind in labels), None)
        if "coordinated" in labels:
            tally.add("found: coordinated", "coordinated" in named)
        elif mistake:
            if entry["off"] > 0:
                tally.add(f"found: {mistake}", mistake in named)
        elif faults:
            if entry["off"] > 0:
                tally.add("faulty or two slips: not called fits", finding["finding"] != "fits")
        elif entry.get("slips", entry["off"]) >= 2 and entry["off"] >= 2:
            tally.add("faulty or two slips: not called fits", finding["finding"] != "fits")
        elif entry["off"] == 0:
            if entry["variant"] != most:
                if len(keys) > 1:
                    tally.add("found: other_variant", "other_variant" in named)
            else:
                tally.add("clean sheets flagged", finding["finding"] not in ("fits", "slip"))
                tally.add("clean sheets not called fits", finding["finding"] != "fits")
