"""The chart as a code: against the published Gray code, Hamming's examples, and faults worked out by hand."""

from __future__ import annotations

from collections import Counter
from itertools import combinations, product

import numpy as np
import pytest

from consensus import ConsensusError, line_code
from consensus.line_codes import hamming_distance, parity_sets
from tests.consensus.charts import chart
from tests.consensus.check_values import published

EIGHT = tuple("ABCDEFGH")


def test_published_hamming_distances() -> None:
    data, expected = published("hamming")  # Hamming (1950)
    assert [hamming_distance(*pair) for pair in data["pairs"]] == expected["distance"]
    with pytest.raises(ConsensusError, match="one length"):
        hamming_distance("101", "10")


def test_the_code_of_seven_with_four_corrects_one_line() -> None:
    # Hamming (1950): three parity lines over three of four each; weights counted in the paper
    _, expected = published("hamming")
    words = []
    for bits in product((0, 1), repeat=4):
        a, b, c, d = bits
        words.append("".join(str(bit % 2) for bit in (a + b + d, a + c + d, a, b + c + d, b, c, d)))
    distances = [hamming_distance(first, second) for first, second in combinations(words, 2)]
    assert min(distances) == expected["hamming74_min_distance"]
    weights = Counter(str(hamming_distance("0000000", word)) for word in words)
    assert weights == expected["hamming74_weights"]
    gray = [f"{value:04b}" for value in published("gray_code")[1]["n4_int"]]
    steps = {hamming_distance(one, other) for one, other in zip(gray, gray[1:] + gray[:1], strict=True)}
    assert steps == {expected["gray_neighbours"]}


def test_gray_code_changes_one_line_a_step() -> None:
    _, expected = published("gray_code")  # Gray (1953): n = 3
    code = line_code(chart([word.replace("1", "x").replace("0", ".") for word in expected["n3"]], EIGHT))
    assert code.one_line_steps
    assert code.least_distance == 1
    assert code.parity == ()
    assert code.distances[0][7] == 1  # cyclic


def test_distances_are_counted_line_by_line() -> None:
    _, expected = published("gray_code")
    words = [f"{value:04b}" for value in expected["n4_int"][:8]]
    code = line_code(chart([word.replace("1", "x").replace("0", ".") for word in words], EIGHT))
    for at, first in enumerate(words):
        assert list(code.distances[at]) == [hamming_distance(first, second) for second in words]


def test_even_parity_detects_every_single_error() -> None:
    # all words of 3 bits with a parity bit: distance 2, so one line in error is no position (Hamming 1950)
    words = [f"{value:03b}" for value in range(8)]
    rows = [(word + str(word.count("1") % 2)).replace("1", "x").replace("0", ".") for word in words]
    code = line_code(chart(rows, EIGHT))
    assert code.least_distance == 2
    assert [(set(one.lines), one.odd) for one in code.parity] == [({"2", "3", "4", "5"}, False)]
    for effect in code.effects:
        if effect.cause == "worn_contact":
            assert effect.noticed == effect.positions
            assert effect.passes == ()


def test_parity_sets_span_all_and_only_true_ones() -> None:
    rng = np.random.default_rng(8)
    for _ in range(20):
        words = rng.integers(0, 2, (5, 6))
        found = parity_sets(words)
        for columns, parity in found:
            assert set((words[:, list(columns)].sum(axis=1) & 1).tolist()) == {parity}
        # brute force: every parity set over moving columns is a sum of those found
        moving = [at for at in range(6) if len(set(words[:, at])) > 1]
        masks = [sum(1 << at for at in columns) for columns, _ in found]
        span = {0}
        for mask in masks:
            span |= {mask ^ other for other in span}
        for subset in range(1 << len(moving)):
            columns = [moving[at] for at in range(len(moving)) if subset >> at & 1]
            constant = len(set((words[:, columns].sum(axis=1) & 1).tolist())) == 1
            assert constant == (sum(1 << at for at in columns) in span)


def test_line_four_stuck_open_worked_by_hand() -> None:
    # pins 2, 3, 4 against 1; P = 2 and 4, R = 3 and 4, N = 3, D = 2 and 3 and 4
    code = line_code(chart(["x.x", ".xx", ".x.", "xxx"]))
    assert code.start_positions == ("P", "N")
    assert not code.start_known
    effect = next(one for one in code.effects if one.cause == "line_open" and one.pins == ("4",))
    assert effect.noticed == ("P", "D")
    assert [(one.position, one.reads_as, one.danger) for one in effect.passes] == [("R", "N", True)]
    assert effect.start_lost == ("P",)
    assert effect.danger
    assert code.effects[0].danger  # dangers come first


def test_named_start_positions_win_over_custom() -> None:
    rows = ["x.x", ".xx", ".x.", "xxx"]
    code = line_code(chart(rows), start_positions=("D",))
    assert code.start_positions == ("D",)
    assert code.start_known
    assert not any(one.danger for effect in code.effects for one in effect.passes if one.reads_as == "N")
    assert line_code(chart(rows, starts=("R",))).start_positions == ("R",)


def test_a_resistive_line_belongs_to_no_parity() -> None:
    code = line_code(chart(["xa.", ".bx", "xa.", ".cx"], EIGHT))
    assert [set(one.lines) for one in code.parity] == [{"2", "4"}]
    assert code.parity[0].odd


def test_unread_places_are_named() -> None:
    assert line_code(chart(["x?", ".x"])).unsure == (("P", "3"),)


def test_plain_form_is_json_ready() -> None:
    import json

    plain = line_code(chart(["x.x", ".xx", ".x.", "xxx"])).to_plain()
    assert json.loads(json.dumps(plain)) == plain
    assert {"distances", "steps", "parity", "effects", "start_known"} <= set(plain)
