"""Bench sheets from a CSV file in the tidy form: one meter reading a row."""

from __future__ import annotations

import csv
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

NEEDED = ("design", "submission", "unit", "position", "pin", "against", "reading")
NAMESPACE = uuid.UUID("0e0a0f6e-4b8b-4f57-9a9f-3e1f5f3d7a21")  # the same file makes the same ids: sent once


def sheets_from_csv(path: str | Path, *, measured_it_myself: bool = False) -> Iterator[dict[str, Any]]:
    """Bodies ready to be checked or sent, in the order of the file; ValueError where a column is missing.

    measured_it_myself: your word for every sheet of the file; the registry takes none without it.
    """
    with Path(path).open(encoding="utf-8-sig", newline="") as file:
        sample = file.readline()
        file.seek(0)
        rows = csv.DictReader(file, delimiter=";" if sample.count(";") > sample.count(",") else ",")
        missing = [name for name in NEEDED if name not in (rows.fieldnames or ())]
        if missing:
            raise ValueError(f"The file has no column {', '.join(missing)}.")
        sheets: dict[str, dict[str, Any]] = {}
        for row in rows:
            name = row["submission"]
            if name not in sheets:
                sheets[name] = _sheet(row, measured_it_myself)
            sheets[name]["readings"].append(_reading(row))
    yield from sheets.values()


def _sheet(row: dict[str, str], measured: bool) -> dict[str, Any]:
    held_good = row.get("held_good") or "worked"
    meter = {name: row[name] for name in ("limit_ohm", "lead_ohm") if row.get(name)}
    key = f"{row['design']}/{row.get('contributor', '')}/{row['submission']}"
    return {
        "client_id": str(uuid.uuid5(NAMESPACE, key)),
        "design": row["design"],
        "name": row["submission"],
        "unit": {"key": row["unit"]},
        "purpose": "suspect" if held_good == "no" else "known_good",
        "held_good": held_good,
        "source_class": row.get("class") or "unknown",
        "meter": meter,
        "measured_it_myself": measured,
        "readings": [],
    }


def _reading(row: dict[str, str]) -> dict[str, Any]:
    return {
        "position": row["position"],
        "pin": row["pin"],
        "against": row["against"],
        "reading": row["reading"],
        "sweep": int(row.get("sweep") or 1),
        "between": (row.get("between") or "").strip().lower() == "yes",
    }
