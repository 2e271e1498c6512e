"""Units over time in the tidy form of `benchquorum life`, with who reports them and what that means."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator

from registry.formats.life_words import selection_caution
from registry.formats.safe_cells import fit_name
from registry.models import Design
from registry.selectors.unit_lives import VOLUNTEERS, UnitLife, unit_lives

COLUMNS = ("design", "unit", "class", "entered_km", "good_km", "failed_km", "reported_by", "caution")


def export_lives(design: Design | None = None) -> Iterator[str]:
    """The file in pieces, of one design or of all; the same registry gives the same bytes."""
    yield _line(COLUMNS)
    designs = [design] if design else Design.objects.filter(merged_into=None).order_by("name", "uuid")
    for each in designs:
        yield "".join(_rows(each.name, unit_lives(each)))


def _rows(name: str, lives: Iterable[UnitLife]) -> Iterator[str]:
    for life in lives:
        caution = selection_caution() if life.cohort == VOLUNTEERS else ""
        km = (_km(value) for value in (life.entered, life.good, life.failed))
        yield _line((fit_name(name), fit_name(life.unit), life.source_class, *km, life.cohort, caution))


def _km(value: float | None) -> str:
    return "" if value is None else f"{value:.10g}"


def _line(fields: Iterable[str]) -> str:
    line = io.StringIO()
    csv.writer(line, lineterminator="\n").writerow(fields)
    return line.getvalue()
