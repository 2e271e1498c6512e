"""Designs of far more pins or positions than a switch has, such as labelled data of other fields make: memory
and time stay within bounds, and the answers right."""

from __future__ import annotations

import time
import tracemalloc

import numpy as np
import pytest

from consensus import DesignReadings, Kind, Readings, Settings, Sheet, agree
from consensus.hypotheses import MOST_FIGURES, enumerate_hypotheses
from consensus.shape import Shape
from tests.consensus.test_noisy_readers import dawid_skene, log_loss, noisy_labels

READERS = 40


def readings_of(labels: list[tuple[int, int, bool]], positions: int, lines: int) -> DesignReadings:
    """(item, reader, open) labels as sheets of one design, an item a place."""
    item, reader, is_open = (np.array(column) for column in zip(*labels, strict=True))
    order = np.argsort(reader, kind="stable")
    item, reader, is_open = item[order], reader[order], is_open[order]
    many, ohm = len(item), np.where(is_open, np.nan, 0.4)
    columns = {"sheet": reader, "position": item // lines, "pin": item % lines + 1, "against": np.zeros(many)}
    columns |= {"sweep": np.ones(many), "kind": np.where(is_open, Kind.OVER_LIMIT, Kind.VALUE)}
    return DesignReadings(
        design="many",
        positions=tuple(f"S{n}" for n in range(1, positions + 1)),
        pins=tuple(str(n) for n in range(1, lines + 2)),
        common=0,
        sheets=tuple(Sheet(name=f"s{n}", unit=f"u{n}", contributor=f"r{n}") for n in range(reader.max() + 1)),
        readings=Readings(
            **{name: np.asarray(column, dtype=np.int32) for name, column in columns.items()},
            between=np.zeros(many, dtype=bool),
            low=ohm,
            high=ohm,
            limit=np.full(many, 2e7),
            lead=np.zeros(many),
        ),
    )


@pytest.mark.parametrize(("positions", "lines"), [(1, 800), (800, 1), (8, 127)])
def test_many_places_fit_into_memory_and_are_judged_as_by_dawid_and_skene(positions: int, lines: int) -> None:
    """800 items as pins, as positions, 128 pins in 8 positions; 40 readers who err by 30 %.  Under 1 GB of
    arrays, a minute; accuracy and log loss no worse than theirs but for rounding at 40 labels an item."""
    items = positions * lines
    labels, truth = noisy_labels(3, items, READERS)
    design = readings_of(labels, positions, lines)
    began = time.monotonic()
    tracemalloc.start()
    _, (chart,) = agree([design], Settings())
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert time.monotonic() - began < 60
    assert most < 1e9
    place = {(cell.position, cell.pin): cell.states[0] for cell in chart.variants[0].cells}
    ours = np.array([place[f"S{item // lines + 1}", str(item % lines + 2)] for item in range(items)])
    theirs = dawid_skene(labels, items, READERS)
    assert np.mean((ours > 0.5) == truth) >= np.mean((theirs > 0.5) == truth) - 0.005
    assert log_loss(ours, truth) <= log_loss(theirs, truth) + 0.005
    assert {one.finding for one in chart.findings} <= {"fits", "slip"}


def star(positions: int, pins: int) -> Shape:
    slots = tuple((row, False) for row in range(positions))
    pairs = tuple((0, pin) for pin in range(1, pins))
    return Shape(positions, pins, 0, slots, pairs, pairs)


def test_up_to_forty_pins_each_fault_is_weighed_with_each_mistake() -> None:
    found = enumerate_hypotheses(star(8, 40))
    assert {fault.kind for fault in found.faults} >= {"line_open", "line_closed", "bridged_lines"}
    assert {mistake.kind for mistake in found.mistakes} >= {"wrong_common", "exchanged"}


@pytest.mark.parametrize("shape", [star(8, 128), star(1, 801), star(64, 64), star(2, 400)])
def test_where_hypotheses_would_fill_the_memory_those_of_single_lines_are_left_out(shape: Shape) -> None:
    found = enumerate_hypotheses(shape)
    assert found.source.size <= MOST_FIGURES
    assert {fault.kind for fault in found.faults} <= {"none", "detent_shift", "resistive_common"}
    assert {mistake.kind for mistake in found.mistakes} >= {"none", "mirrored_pins", "unexplained"}
    assert found.mistakes[-1].kind == "unexplained" and found.faults[-1].kind == "resistive_common"
