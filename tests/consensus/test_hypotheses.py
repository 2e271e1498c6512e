"""Hypotheses as index arrays: where a reading really comes from."""

from __future__ import annotations

import numpy as np

from consensus.hypotheses import CLOSED, CONSTANTS, OPEN, UNKNOWN, Shape, enumerate_hypotheses

ROWS, LINES = 3, 4
SHAPE = Shape(
    ROWS, LINES + 1, 0, tuple((row, False) for row in range(ROWS)),
    tuple((0, pin) for pin in range(1, LINES + 1)),
    tuple((0, pin) for pin in range(1, LINES + 1)) + tuple((pin, LINES) for pin in range(1, LINES)),
)  # fmt: skip
SET = enumerate_hypotheses(SHAPE)


def index_of(
    kind: str, detail: str = "", pins: tuple[int, ...] = (), fault: str = "none", **at: tuple[int, ...]
) -> int:
    mistake = next(
        at_ for at_, one in enumerate(SET.mistakes)
        if one.kind == kind and one.detail == detail and (not pins or one.pins == pins)
    )  # fmt: skip
    number = next(
        at_ for at_, one in enumerate(SET.faults)
        if one.kind == fault and (not at.get("fault_pins") or one.pins == at["fault_pins"])
    )  # fmt: skip
    return number * len(SET.mistakes) + mistake


def operands(hypothesis: int, row: int, low: int, high: int) -> tuple[int, ...]:
    cell = row * len(SHAPE.named) + SHAPE.named.index((low, high))
    return tuple(int(x) for x in SET.operands[SET.source[hypothesis, cell]])


def place(row: int, pin: int) -> int:
    return CONSTANTS + row * LINES + pin - 1


def alone(x: int) -> tuple[int, ...]:
    return (x, OPEN, CLOSED, OPEN)


def test_as_read_shows_each_place_itself():
    assert [operands(0, row, 0, pin) for row in range(ROWS) for pin in range(1, 5)] == [
        alone(place(row, pin)) for row in range(ROWS) for pin in range(1, 5)
    ]


def test_a_pair_of_lines_is_its_two_contacts_in_series():
    assert operands(0, 1, 2, 4) == (place(1, 2), OPEN, place(1, 4), OPEN)


def test_mirrored_lines_keep_the_common_and_a_mirrored_face_moves_it():
    assert operands(index_of("mirrored_pins", "lines"), 0, 0, 1) == alone(place(0, 4))
    assert operands(index_of("mirrored_pins", "face"), 0, 3, 4) == alone(place(0, 1))
    assert operands(index_of("mirrored_pins", "face"), 0, 0, 4) == alone(place(0, 4))


def test_a_shift_reads_the_last_position_twice_and_only_once_as_evidence():
    out = index_of("shifted_positions", "out")
    assert operands(out, 0, 0, 2) == alone(place(1, 2))
    assert operands(out, 2, 0, 2) == alone(place(2, 2))
    silent = SET.silent[out].reshape(ROWS, -1)
    assert silent[2].all()
    assert not silent[:2].any()


def test_a_lead_on_a_line_reads_two_contacts_and_that_lines_own():
    stayed = index_of("wrong_common", pins=(3,))
    assert set(operands(stayed, 1, 0, 1)) == {place(1, 1), place(1, 3), OPEN}
    assert operands(stayed, 1, 0, 3) == alone(place(1, 3))


def test_faults_of_lines():
    opened = index_of("none", fault="line_open", fault_pins=(2,))
    assert operands(opened, 0, 0, 2) == alone(OPEN)
    stuck = index_of("none", fault="line_closed", fault_pins=(2,))
    assert operands(stuck, 0, 0, 2) == alone(CLOSED)
    assert operands(stuck, 0, 2, 4) == (CLOSED, OPEN, place(0, 4), OPEN)
    bridged = index_of("none", fault="bridged_lines", fault_pins=(1, 2))
    assert operands(bridged, 0, 0, 1) == (place(0, 1), place(0, 2), CLOSED, OPEN)
    assert operands(bridged, 0, 2, 4) == (place(0, 2), place(0, 1), place(0, 4), OPEN)


def test_past_the_end_of_travel_a_shifted_detent_connects_nothing():
    shifted = next(at for at, fault in enumerate(SET.faults) if fault.kind == "detent_shift")
    hypothesis = shifted * len(SET.mistakes)
    assert operands(hypothesis, 0, 0, 1) == alone(place(1, 1))
    assert operands(hypothesis, 2, 0, 1) == alone(OPEN)


def test_a_mistake_acts_on_what_the_faulty_unit_shows():
    both = index_of("mirrored_pins", "lines", fault="line_open", fault_pins=(4,))
    assert operands(both, 0, 0, 1) == alone(OPEN)
    assert operands(both, 0, 0, 4) == alone(place(0, 1))


def test_without_a_common_no_star_is_assumed():
    shape = Shape(1, 4, None, ((0, False),), ((0, 1), (2, 3)), ((0, 1), (0, 2), (2, 3)))
    found = enumerate_hypotheses(shape)
    assert {mistake.kind for mistake in found.mistakes}.isdisjoint({"wrong_common"})
    assert tuple(found.operands[found.source[0, 1]]) == alone(UNKNOWN)


def test_every_hypothesis_names_a_source_for_every_cell():
    assert SET.source.shape == (len(SET.mistakes) * len(SET.faults), SHAPE.cells)
    assert SET.source.max() < len(SET.operands)
    assert np.unique(SET.operands, axis=0).shape == SET.operands.shape
