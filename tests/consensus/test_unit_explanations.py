"""The posterior of a small sheet against an enumeration that shares no code with it but the likelihoods.

What each explanation predicts is worked out here from the simulator's network of resistances, one reading at
a time; priors are those of the settings; the two slip rates are integrated by quadrature.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy import special

from consensus import Settings, check_sheet
from consensus.chart_table import chart_alphabet
from consensus.reading_odds import reading_odds, with_repeats
from tests.consensus.charts import MODEL, chart, sheet
from tests.simulation.switches import between

ROWS = ["x.", ".x", "xx"]
LINES = 2
SETTINGS = Settings(suspect_pair_share=1e-300, suspect_unknown_rate=1e-300, verdict_good_p=0.9)
LOW, HIGH = 0.4, 1e12  # Ω: a closed contact and an open one


def unit_tables() -> dict[tuple, list[np.ndarray]]:
    """Conductances per position of a good unit and of each single fault that changes something."""

    def network(closed: np.ndarray, bridge: tuple[int, int] | None = None) -> list[np.ndarray]:
        out = []
        for row in closed:
            g = np.zeros((LINES + 1, LINES + 1))
            for line in range(LINES):
                if row[line]:
                    g[0, line + 1] = g[line + 1, 0] = 1 / LOW
            if bridge:
                a, b = bridge
                g[a, b] = g[b, a] = 1 / LOW
            out.append(g)
        return out

    closed = np.array([[mark == "x" for mark in row] for row in ROWS])
    found: dict[tuple, list[np.ndarray]] = {("none",): network(closed)}
    for line in range(LINES):
        for kind, value in (("line_open", False), ("line_closed", True)):
            changed = closed.copy()
            changed[:, line] = value
            found[kind, line] = network(changed)
    found["bridged_lines", 1] = network(closed, (1, 2))
    for step in (-1, 1):
        moved = np.zeros_like(closed)
        for row in range(3):
            if 0 <= row + step < 3:
                moved[row] = closed[row + step]
        found["detent_shift", step] = network(moved)
    for row, line in np.argwhere(closed):
        found["worn_contact", int(row), int(line)] = network(closed)
    return found


def touches() -> list[tuple[str, dict]]:
    """Each mistake as a map of written (position, pin, against) to the place that the leads were on."""
    written = [(row, line, 0) for row in range(3) for line in (1, 2)]
    swap = {1: 2, 2: 1, 0: 0}
    found = [("none", {place: place for place in written})]
    found.append(("mirrored_pins", {(p, a, b): (p, swap[a], b) for p, a, b in written}))  # the lines
    found.append(("mirrored_pins", {(p, a, b): (p, 2 - a, 2 - b) for p, a, b in written}))  # the face
    for step in (1, -1):
        found.append(
            ("shifted_positions", {(p, a, b): (min(max(p + step, 0), 2), a, b) for p, a, b in written})
        )
    for stayed in (1, 2):
        found.append(
            ("wrong_common", {(p, a, b): (p, a, b if a == stayed else stayed) for p, a, b in written})
        )
    found.append(("exchanged", {(p, a, b): (p, swap[a], b) for p, a, b in written}))
    for first, second in pairwise(range(3)):
        order = {first: second, second: first}
        found.append(("exchanged", {(p, a, b): (order.get(p, p), a, b) for p, a, b in written}))
    return found


def integrated(slips: float, others: float, mean: float, weight: float) -> float:
    """∫ p^slips (1-p)^others dBeta: a slip rate by Gauss-Jacobi quadrature.

    The counts are not whole where the chart is in doubt."""
    nodes, weights = special.roots_jacobi(80, (1 - mean) * weight - 1, mean * weight - 1)
    p = (nodes + 1) / 2
    return float((weights * p**slips * (1 - p) ** others).sum() / weights.sum())


def over_hands(shown: float, missed: float, held: float, invented: float) -> float:
    """Chance of the counts over the kinds of hands, over the same at the mean rates."""
    hands = SETTINGS.suspect_hands
    miss, invent = (sum(hand[0] * hand[at] for hand in hands) for at in (1, 2))
    chance = sum(
        share * integrated(missed, shown, m, worth) * integrated(invented, held, i, worth)
        for share, m, i, worth in hands
    )
    return chance / (miss**missed * (1 - miss) ** shown * invent**invented * (1 - invent) ** held)


def enumerated(marks: list[str]) -> dict[str, float]:
    """Posterior probability of a good unit and of each kind of fault."""
    like = chart(ROWS, ("A", "B", "C"), p=1.0)
    given = sheet(like, marks)
    alphabet = chart_alphabet(like, SETTINGS)
    odds = reading_odds(given.readings, alphabet, MODEL, "somebody", SETTINGS)
    places = list(
        zip(
            given.readings.position.tolist(),
            given.readings.pin.tolist(),
            given.readings.against.tolist(),
            strict=True,
        )
    )
    odds = with_repeats(odds, np.arange(len(places)))
    tables, maps = unit_tables(), touches()
    shares = dict(SETTINGS.suspect_fault_shares)
    kinds = [key[0] for key in tables]
    mistake_share = {
        "mirrored_pins": SETTINGS.mistake_mirrored,
        "shifted_positions": SETTINGS.mistake_shifted,
        "wrong_common": SETTINGS.mistake_wrong_common,
        "exchanged": SETTINGS.mistake_exchanged,
    }
    names = [name for name, _ in maps]
    doubt = SETTINGS.unit_deviation
    total: dict[str, float] = {}
    for key, positions in tables.items():
        prior = 1 - SETTINGS.suspect_fault_rate
        if key[0] != "none":
            prior = SETTINGS.suspect_fault_rate * shares[key[0]] / kinds.count(key[0])
        for name, where in maps:
            share = 1 - sum(mistake_share.values())
            if name != "none":
                share = mistake_share[name] / names.count(name)
            p = prior * share
            counts, through = np.zeros(4), False
            for at, written in enumerate(places):
                row, a, b = where[written]
                good = int(between(tables["none",][row], a, b) < HIGH)
                symbol = int(between(positions[row], a, b) < HIGH)
                line = next((pin for pin in (a, b) if key[0] == "worn_contact" and pin == key[-1] + 1), None)
                if line is not None and row == key[1] and good:
                    symbol = alphabet.size + 1
                contacts = 1 if 0 in (a, b) else 2
                likelihood = odds.likelihood[at, symbol]
                if symbol == good:
                    unsure = doubt * contacts
                    likelihood = (1 - unsure) * likelihood + unsure * odds.likelihood[at, 1 - good]
                p *= likelihood
                if symbol < alphabet.size:
                    weight, slip = 1 - 2 * doubt * contacts, odds.slip[at, symbol]
                    counts[2 * (1 - symbol)] += (1 - slip) * weight
                    counts[2 * (1 - symbol) + 1] += slip * weight
                through |= good == 1 and 0 in (a, b) and bool(odds.shows_contact[at])
            p *= over_hands(*counts)
            if key == ("none",) and not through:
                # no contact at the common was read: one with a resistance in it reads as a good one does
                resistive = SETTINGS.suspect_fault_rate * shares["resistive_common"]
                total["resistive_common"] = total.get("resistive_common", 0.0) + p / prior * resistive
            total[key[0]] = total.get(key[0], 0.0) + p
    whole = sum(total.values())
    return {kind: p / whole for kind, p in total.items()}


@pytest.mark.parametrize(
    "marks",
    [
        ["x.", ".x", "xx"],
        ["x.", "..", "x."],
        [".x", "x.", "xx"],
        ["x.", ".x", "x_"],
        ["xx", "xx", "xx"],
        ["x.", "x.", "__"],
        [".x", "xx", ".."],
    ],
)
def test_posterior_is_that_of_enumeration(marks: list[str]) -> None:
    expected = enumerated(marks)
    check = check_sheet(
        sheet(chart(ROWS, ("A", "B", "C"), p=1.0), marks), chart(ROWS, ("A", "B", "C"), p=1.0), (), SETTINGS
    )
    assert check.p_good == pytest.approx(expected["none"], abs=1e-6)
    for kind in set(expected) - {"none"}:
        named = sum(cause.p for cause in check.causes if cause.cause == kind)
        # causes below half a percent are not named
        assert named == pytest.approx(expected[kind], abs=0.03 if named < expected[kind] else 1e-6)
