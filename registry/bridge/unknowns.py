"""Sheets of switches that nobody has named yet: `benchquorum/identify/1`."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from consensus import identify_sheet
from consensus.readings import DesignReadings
from registry.bridge.agreed import Charts
from registry.bridge.parallel import each_sheet
from registry.bridge.tables import sheets_from_table
from registry.formats.documents import IDENTIFY
from registry.formats.tidy_table import TidyTable

Plain = dict[str, Any]
Progress = Callable[[float], None]


def identify_document(
    table: TidyTable,
    charts: Charts,
    as_read: bool = False,
    progress: Progress | None = None,
    workers: int = 1,
) -> Plain:
    """For every sheet of the file the designs that it may be, likeliest first."""
    sheets = sheets_from_table(table)
    units = each_sheet(_identified, (charts, as_read), sheets, progress, workers)
    return {"format": IDENTIFY, "units": units}


def _identified(shared: tuple[Charts, bool], sheet: DesignReadings) -> Plain:
    charts, as_read = shared
    return identify_sheet(sheet, tuple(charts.by_design.values()), charts.settings, as_read).to_plain()
