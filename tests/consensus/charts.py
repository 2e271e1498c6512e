"""Small charts and sheets to check by, written as rows of states."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from consensus import (
    CellAgreement,
    DesignAgreement,
    DesignReadings,
    OhmFigures,
    ReadingModel,
    Readings,
    Sheet,
    VariantPattern,
)
from tests.simulation.files import design_readings

MODEL = ReadingModel(
    miss=0.02,
    invent=0.01,
    leak=0.03,
    dirty=1e-4,
    misread_level=0.002,
    contact_ohm=0.4,
    contact_spread=0.5,
    level_spread=0.012,
)


def cell(position: str, pin: str, against: str, ohm: float | None, p: float = 0.9999) -> CellAgreement:
    """ohm: None unread, inf open, 0 closed, else a resistive level."""
    state = None if ohm is None else "open" if np.isinf(ohm) else "closed" if ohm == 0 else "resistive"
    words = ("open", "closed", "resistive")
    states = tuple(p if word == state else (1 - p) / 2 for word in words) if state else (0.5, 0.5, 0.0)
    figures = None if state in (None, "open") else OhmFigures(0.4 + (ohm or 0.0), 0.05, (0.0, 2.0), 0.5, 9)
    levels = ((float(ohm), p),) if state == "resistive" and ohm is not None else ()
    standing = "unread" if state is None else "agreed"
    return CellAgreement(position, pin, against, False, state, states, standing, 9, 9, 5, figures, levels)


def chart(
    rows: Sequence[str],
    positions: Sequence[str] = ("P", "R", "N", "D", "4", "3", "2", "1"),
    design: str = "X",
    p: float = 0.9999,
    starts: tuple[str, ...] | None = None,
    variants: Sequence[Sequence[str]] = (),
) -> DesignAgreement:
    """A chart with common "1" and lines "2", "3"…: each row a position, x closed, . open, ? unread."""
    ohms = {"x": 0.0, ".": float("inf"), "?": None, "a": 220.0, "b": 1200.0, "c": 6800.0}
    labels = tuple(positions[: len(rows)])
    pins = tuple(str(at + 1) for at in range(len(rows[0]) + 1))
    tables = [rows, *variants]
    shares = [1.0] if len(tables) == 1 else [0.7, *[0.3 / (len(tables) - 1)] * (len(tables) - 1)]
    made = tuple(
        VariantPattern(
            "abc"[at],
            shares[at],
            9,
            9,
            5,
            tuple(
                cell(labels[row], pins[line + 1], "1", ohms[mark], p)
                for row, marks in enumerate(table)
                for line, mark in enumerate(marks)
            ),
        )
        for at, table in enumerate(tables)
    )
    return DesignAgreement(design, labels, pins, "1", made, (), MODEL, starts)


def sheet(
    like: DesignAgreement, rows: Sequence[str], sweep: int = 1, marks: dict[str, str] | None = None
) -> DesignReadings:
    """A sheet in the numbering of a chart: x reads 0.4 Ω, . over limit, _ not taken; others by `marks`."""
    texts = {"x": "0.4", ".": "OL", "a": "220.4", "b": "1.2k", "c": "6.8k", "h": "2.4k", **(marks or {})}
    tidy = [
        {
            "design": like.design,
            "submission": "s1",
            "unit": "u1",
            "contributor": "somebody",
            "step": str(row + 1),
            "position": like.positions[row],
            "pin": like.pins[line + 1],
            "against": like.pins[0],
            "reading": texts[mark],
            "sweep": str(sweep),
            "held_good": "no",
        }
        for row, line_marks in enumerate(rows)
        for line, mark in enumerate(line_marks)
        if mark != "_"
    ]
    return _whole(design_readings(like.design, tidy, like.pins, like.pins[0]), like)


def _whole(read: DesignReadings, like: DesignAgreement) -> DesignReadings:
    """The same with all positions of the chart, read or not."""
    at = np.array([like.positions.index(label) for label in read.positions], np.int32)
    columns = {**read.readings.__dict__, "position": at[read.readings.position]}
    return DesignReadings(
        like.design, like.positions, like.pins, like.pins.index("1"), read.sheets, Readings(**columns)
    )


def joined(first: DesignReadings, second: DesignReadings) -> DesignReadings:
    """Two sweeps of one sheet."""
    columns = {
        name: np.concatenate([column, second.readings.__dict__[name]])
        for name, column in first.readings.__dict__.items()
    }
    return DesignReadings(
        first.design, first.positions, first.pins, first.common, first.sheets, Readings(**columns)
    )


def read_at(given: DesignReadings, where: str) -> DesignReadings:
    """The same sheet, read at the connector or through the harness."""
    old = given.sheets[0]
    changed = Sheet(old.name, old.unit, old.contributor, held_good=old.held_good, read_at=where)
    return DesignReadings(given.design, given.positions, given.pins, given.common, (changed,), given.readings)
