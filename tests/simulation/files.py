"""Worlds as tidy CSV and truth, and as what the engine is given; also reads the sample worlds back."""

from __future__ import annotations

import csv
import io
import json
import re
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from consensus.readings import DesignReadings, Kind, Readings, Sheet
from registry.bridge.tables import designs_from_table
from registry.formats.tidy_reader import read_tidy
from tests.simulation.sheets import SimulatedSheet, figure_of
from tests.simulation.worlds import World

COLUMNS = ("design", "submission", "unit", "contributor", "step", "position", "pin", "against", "reading")
PLAIN = {"lead_ohm": "0", "between": "no"}  # what a column says that may as well be left out
Row = dict[str, str]


def tidy_rows(sheets: Sequence[SimulatedSheet]) -> list[Row]:
    """One row a reading, in the columns of the file contract; leads and gaps only where somebody has them."""
    rows = [
        {
            "design": sheet.design.name,
            "submission": sheet.name,
            "unit": sheet.switch.name,
            "contributor": sheet.reader.name,
            "step": str(written.position + 1),
            "position": sheet.design.positions[written.position],
            "pin": sheet.design.pins[written.pin],
            "against": sheet.design.pins[written.against],
            "reading": written.text,
            "sweep": str(written.sweep),
            "limit_ohm": f"{sheet.reader.limit:.0f}",
            "held_good": sheet.held_good,
            "lead_ohm": f"{sheet.reader.lead:g}",
            "between": "yes" if written.between else "no",
        }
        for sheet in sheets
        for written in sheet.readings
    ]
    spare = [name for name, plain in PLAIN.items() if all(row[name] == plain for row in rows)]
    return (
        [{name: text for name, text in row.items() if name not in spare} for row in rows] if spare else rows
    )


def sheet_truth(sheet: SimulatedSheet) -> dict[str, Any]:
    """What was done to a sheet, in the words of the sample worlds' truth.json."""
    labels = [f"faulty_unit:{fault.kind}" for fault in sheet.switch.faults]
    if sheet.mistake:
        labels += [
            sheet.mistake.kind,
            *([sheet.mistake.detail] if sheet.mistake.kind == "mirrored_pins" else []),
        ]
    if sheet.block:
        labels.append("coordinated")
    return {
        "design": sheet.design.name,
        "unit": sheet.switch.name,
        "contributor": sheet.reader.name,
        "variant": sheet.switch.variant,
        "labels": sorted(labels),
        "slips": sheet.slips,
        "differs": sheet.differs,
        "off": sheet.off,
        "taken": len(sheet.readings),
    }


def world_truth(world: World) -> dict[str, Any]:
    designs = {
        design.name: {
            "positions": list(design.positions),
            "pins": [design.pins[pin] for pin, _ in design.pairs],
            "against": [design.pins[against] for _, against in design.pairs],
            "common": None if design.common is None else design.pins[design.common],
            "kind": design.kind,
            "variants": [table.tolist() for table in design.tables],
        }
        for design in world.designs
    }
    return {
        "scenario": world.kind,
        "designs": designs,
        "submissions": {sheet.name: sheet_truth(sheet) for sheet in world.sheets},
    }


def write_world(world: World, folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    write_rows(tidy_rows(world.sheets), folder / "readings.csv")
    (folder / "truth.json").write_text(json.dumps(world_truth(world)))


def write_rows(rows: Sequence[Row], path: Path) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, rows[0].keys(), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def read_world(folder: Path) -> tuple[list[DesignReadings], dict[str, Any]]:
    """A stored world as engine input and its truth (a common given; slips are not in the stored truth)."""
    with (folder / "readings.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    truth = json.loads((folder / "truth.json").read_text())
    by_design: dict[str, list[Row]] = {}
    for row in rows:
        by_design.setdefault(row["design"], []).append(row)
    return [design_readings(name, group) for name, group in by_design.items()], truth


def _natural(label: str) -> list[Any]:
    return [int(part) if part.isdigit() else part for part in re.split(r"(\d+)", label)]


def design_readings(
    name: str, rows: Sequence[Row], pins: Sequence[str] | None = None, common: str | None = ""
) -> DesignReadings:
    """Rows of one design as arrays.  common "": the `against` that most sheets name, None: there is none."""
    steps = sorted({(int(row["step"]), row["position"]) for row in rows})
    labels = sorted({row["pin"] for row in rows} | {row["against"] for row in rows}, key=_natural)
    pin_labels = list(pins) if pins is not None else labels
    names = list(dict.fromkeys(row["submission"] for row in rows))
    first = {row["submission"]: row for row in reversed(rows)}
    if common == "":
        sheets_naming = Counter(
            against for against, _ in {(row["against"], row["submission"]) for row in rows}
        )
        common = max(sorted(sheets_naming, key=_natural), key=lambda label: sheets_naming[label])
    return DesignReadings(
        design=name,
        positions=tuple(label for _, label in steps),
        pins=tuple(pin_labels),
        common=None if common is None else pin_labels.index(common),
        sheets=tuple(_sheet(first[submission]) for submission in names),
        readings=_columns(rows, names, [step for step, _ in steps], pin_labels),
    )


def _sheet(row: Row) -> Sheet:
    return Sheet(
        row["submission"], row["unit"], row["contributor"], held_good=row.get("held_good") or "worked"
    )


def _columns(rows: Sequence[Row], names: list[str], steps: list[int], pins: list[str]) -> Readings:
    sheet_at = {name: at for at, name in enumerate(names)}
    step_at = {step: at for at, step in enumerate(steps)}
    pin_at = {pin: at for at, pin in enumerate(pins)}
    kinds, lows, highs = zip(*(_reading(row) for row in rows), strict=True)
    return Readings(
        sheet=np.array([sheet_at[row["submission"]] for row in rows], np.int32),
        position=np.array([step_at[int(row["step"])] for row in rows], np.int32),
        between=np.array([row.get("between") == "yes" for row in rows]),
        sweep=np.array([int(row.get("sweep") or 1) for row in rows], np.int32),
        pin=np.array([pin_at[row["pin"]] for row in rows], np.int32),
        against=np.array([pin_at[row["against"]] for row in rows], np.int32),
        kind=np.array(kinds, np.int32),
        low=np.array(lows, np.float64),
        high=np.array(highs, np.float64),
        limit=np.array([float(row.get("limit_ohm") or 2e7) for row in rows]),
        lead=np.array([float(row.get("lead_ohm") or 0.0) for row in rows]),
    )


def _reading(row: Row) -> tuple[int, float, float]:
    nan, text = float("nan"), row["reading"]
    if text == "OL":
        return Kind.OVER_LIMIT, nan, nan
    if text == "cont":
        return Kind.CONTINUITY, nan, nan
    low, _, high = text.partition("…")
    if not high:
        return Kind.VALUE, figure_of(low), figure_of(low)
    return Kind.RANGE, figure_of(low), float(row.get("limit_ohm") or 2e7) if high == "OL" else figure_of(high)


def file_input(world: World) -> list[DesignReadings]:
    """All designs of a world as the command gets them from a file: pins, positions and commons as it finds
    them."""
    text = io.StringIO(newline="")
    rows = tidy_rows(world.sheets)
    writer = csv.DictWriter(text, rows[0].keys(), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return designs_from_table(read_tidy(text.getvalue().encode()))


def engine_input(world: World) -> list[DesignReadings]:
    """All designs of a world as the engine is given them."""
    return [sheets_readings(world.of(design.name)) for design in world.designs]


def sheets_readings(sheets: Sequence[SimulatedSheet]) -> DesignReadings:
    """Sheets of one design as arrays; positions and pins are the design's own."""
    design = sheets[0].design
    common = None if design.common is None else design.pins[design.common]
    readings = design_readings(design.name, tidy_rows(sheets), design.pins, common)
    steps = sorted({written.position for sheet in sheets for written in sheet.readings})
    moved = np.array(steps, np.int32)[readings.readings.position]
    columns = {**readings.readings.__dict__, "position": moved}
    return DesignReadings(
        design=design.name,
        positions=design.positions,
        pins=design.pins,
        common=design.common,
        sheets=readings.sheets,
        readings=Readings(**columns),
    )
