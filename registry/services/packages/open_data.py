"""The nightly file: the open-data package at an address of its own, written when something changed.

Its tables are in it as Parquet too, where the library is installed (`benchquorum[parquet]`).
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.utils import timezone

from registry.formats.package_parquet import parquet_is_there
from registry.selectors.changes import newest_number
from registry.services.packages.writing import export_package

FILE, ABOUT = "benchquorum-data.zip", "benchquorum-data.json"
EACH = timedelta(hours=20)  # a clock that runs by the hour writes it once a night


@dataclass(frozen=True)
class OpenData:
    """The file that is there: where, its package's digest, bytes, when it was written, up to which change.

    parquet: its tables are in it in that form too.
    """

    path: Path
    digest: str
    size: int
    made: datetime
    change: int
    parquet: bool = False


def open_data_file() -> OpenData | None:
    folder = open_data_folder()
    try:
        about = json.loads((folder / ABOUT).read_text(encoding="utf-8"))
        size = (folder / FILE).stat().st_size
    except (OSError, ValueError):
        return None
    made = datetime.fromisoformat(about["made"])
    return OpenData(folder / FILE, about["digest"], size, made, about["change"], about.get("parquet", False))


def open_data_due(*, now: datetime | None = None) -> bool:
    there = open_data_file()
    if there is None:
        return True
    return (now or timezone.now()) - there.made >= EACH and newest_number() != there.change


def open_data_write(*, now: datetime | None = None) -> OpenData:
    """Write the package; who downloads meanwhile gets the earlier one whole."""
    folder = open_data_folder()
    folder.mkdir(parents=True, exist_ok=True)
    change = newest_number()  # before: what comes meanwhile is written the next night
    parquet = parquet_is_there()
    digest = export_package(folder / FILE, parquet=parquet)
    made = (now or timezone.now()).isoformat()
    about = {"made": made, "digest": digest, "change": change, "parquet": parquet}
    partial = folder / (ABOUT + ".part")
    partial.write_text(json.dumps(about), encoding="utf-8")
    partial.replace(folder / ABOUT)
    written = open_data_file()
    assert written is not None
    return written


def open_data_folder() -> Path:
    """Of this machine: what writes here and what serves it need the folder in common."""
    return Path(settings.DATA_DIR) / "open-data"
