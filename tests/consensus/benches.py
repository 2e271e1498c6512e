"""Made-up benches for tests: sheets written as rows of words, one row a position, one word a line."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from consensus import (
    CellAgreement,
    DesignAgreement,
    DesignReadings,
    Kind,
    Readings,
    Reliability,
    Settings,
    Sheet,
    SheetFinding,
    agree_design,
)
from tests.simulation.sheets import figure_of

PATTERN = ("o c c o", "c o c c", "c c o o", "o o c c", "c c c o", "o c o c")
TYPED = {"o": "OL", "c": "0.4", ".": ""}
SETTINGS = Settings()
BEFORE = Reliability.from_settings(SETTINGS)


def typed_sheet(rows: Sequence[str], **columns: Any) -> dict[str, Any]:
    """One sheet: `o` over limit, `c` 0.4 Ω, `.` not taken, anything else as typed (0.4…35, cont, 2.2k)."""
    return {"rows": rows, **columns}


def bench(
    sheets: Sequence[dict[str, Any]],
    pins: Sequence[str] = ("1", "2", "3", "4", "5"),
    common: int | None = 0,
    **design: Any,
) -> DesignReadings:
    """A design whose lines are all pins but the common; a sheet may name other `pairs` for its columns, and
    the rows of a sweep that are read `again` otherwise."""
    positions = len(sheets[0]["rows"])
    lines = [(pin, common) for pin in range(len(pins)) if pin != common]
    columns: list[tuple[Any, ...]] = []
    made = []
    for at, sheet in enumerate(sheets):
        given = {
            key: value
            for key, value in sheet.items()
            if key not in ("rows", "pairs", "limit", "lead", "sweeps", "again")
        }
        made.append(
            Sheet(**{"name": f"s{at:02d}", "unit": f"u{at:02d}", "contributor": f"c{at:02d}", **given})
        )
        for sweep in range(1, sheet.get("sweeps", 1) + 1):
            for row, words in enumerate(sheet.get("again", {}).get(sweep, sheet["rows"])):
                for (pin, against), word in zip(sheet.get("pairs", lines), words.split(), strict=True):
                    text = TYPED.get(word, word)
                    if text:
                        limit = sheet.get("limit", 2e7)
                        columns.append((at, row, False, sweep, pin, against, *_figure(text, limit),
                                        limit, sheet.get("lead", 0.0)))  # fmt: skip
    names = (
        "sheet",
        "position",
        "between",
        "sweep",
        "pin",
        "against",
        "kind",
        "low",
        "high",
        "limit",
        "lead",
    )
    types = (np.int32, np.int32, bool, np.int32, np.int32, np.int32, np.int32, float, float, float, float)
    arrays = {name: np.array(column, dtype=kind) for name, kind, column in
              zip(names, types, zip(*columns, strict=True), strict=True)}  # fmt: skip
    return DesignReadings(
        **{
            "design": "sweeper lever",
            "positions": tuple(f"S{row + 1}" for row in range(positions)),
            **design,
        },
        pins=tuple(pins),
        common=common,
        sheets=tuple(made),
        readings=Readings(**arrays),
    )


def _figure(text: str, limit: float) -> tuple[int, float, float]:
    if text == "OL":
        return Kind.OVER_LIMIT, np.nan, np.nan
    if text == "cont":
        return Kind.CONTINUITY, np.nan, np.nan
    low, _, high = text.partition("…")
    if not high:
        return Kind.VALUE, figure_of(low), figure_of(low)
    return Kind.RANGE, figure_of(low), limit if high == "OL" else figure_of(high)


def good_sheets(count: int, rows: Sequence[str] = PATTERN, **columns: Any) -> list[dict[str, Any]]:
    """`count` sheets of the same pattern, by as many contributors."""
    return [typed_sheet(rows, **columns) for _ in range(count)]


def chart_of(*sheets: dict[str, Any], **design: Any) -> DesignAgreement:
    """The chart of a bench under nothing learned before."""
    return agree_design(bench(sheets, **design), BEFORE, SETTINGS)


def finding_of(chart: DesignAgreement, at: int) -> SheetFinding:
    return chart.findings[at]


def cell_at(chart: DesignAgreement, position: str, pin: str) -> CellAgreement:
    """Of the largest table."""
    return next(cell for cell in chart.variants[0].cells if (cell.position, cell.pin) == (position, pin))


def turned(rows: Sequence[str]) -> list[str]:
    """The rows with their lines in reverse order."""
    return [" ".join(reversed(row.split())) for row in rows]


def state_table(chart: DesignAgreement, variant: int = 0) -> list[str]:
    """States of a chart as rows of words, `-` where unread."""
    cells = {(cell.position, cell.pin): cell.state for cell in chart.variants[variant].cells}
    lines = [pin for pin in chart.pins if pin != chart.common]
    return [" ".join((cells[row, pin] or "-")[0] for pin in lines) for row in chart.positions]


def third_apart() -> tuple[list[str], list[str]]:
    """Two patterns of eight positions and six lines that differ at a third of their places."""
    rng = np.random.default_rng(2)
    closed = rng.random((8, 6)) < 0.5
    other = closed.ravel().copy()
    other[rng.choice(48, 16, replace=False)] ^= True
    first, second = (
        [" ".join("oc"[int(at)] for at in row) for row in table] for table in (closed, other.reshape(8, 6))
    )
    return first, second
