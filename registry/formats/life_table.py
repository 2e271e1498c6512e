"""Reads the tidy form of units over time (contracts.md): one unit a row, all errors of a file in one go."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from registry.errors import RegistryError, refusal
from registry.formats.labels import parse_name
from registry.formats.tidy_columns import SOURCE_CLASSES, Column, parse_source_class
from registry.formats.tidy_fields import BAD, ErrorList, FieldCodes
from registry.formats.tidy_reader import unknown_warnings
from registry.formats.tidy_rows import RowReader
from registry.formats.tidy_text import Progress, TidyText, read_bytes
from registry.translation import gettext as _
from registry.translation import ngettext

FARTHEST_KM = 1e7
_AMBIGUOUS = re.compile(r"[0-9]{1,3}(,[0-9]{3})+")
_DISTANCE = re.compile(r"[0-9]+([.,][0-9]+)?([eE][+]?[0-9]+)?")


def parse_km(text: str) -> float:
    """A distance in km, nan where the field is empty.

    >>> parse_km("84000"), parse_km(" 84000,5 km ")
    (84000.0, 84000.5)
    """
    plain = text.strip()
    if not plain:
        return math.nan
    figure = plain[:-2].strip() if plain[-2:].lower() == "km" else plain
    if _AMBIGUOUS.fullmatch(figure):
        head, _comma, tail = figure.partition(",")
        message = _("“{text}” is ambiguous: {small} or {large}?").format(
            text=plain[:20], small=f"{head}.{tail[:3]}", large=figure.replace(",", "")
        )
        raise RegistryError("distance_ambiguous", message, _("Write it without a comma."))
    if not _DISTANCE.fullmatch(figure):
        message = _("“{text}” is not a distance in km.").format(text=plain[:20])
        advice = _("Write the km on the unit, such as 84000; leave it empty if not known.")
        raise RegistryError("distance_unreadable", message, advice)
    value = float(figure.replace(",", "."))
    if value > FARTHEST_KM:
        message = _("No unit lasts {text} km.").format(text=plain[:20])
        raise RegistryError("distance_impossible", message, _("Write the km on the unit."))
    return value


LIFE_COLUMNS: tuple[Column, ...] = (
    Column("design", True, parse_name),
    Column("unit", True, parse_name),
    Column("class", False, parse_source_class),
    Column("entered_km", False, parse_km),
    Column("good_km", False, parse_km),
    Column("failed_km", False, parse_km),
)


@dataclass(frozen=True)
class LifeTable:
    """n units.  design: index into `designs`; source_class: into SOURCE_CLASSES; km with nan where empty."""

    designs: tuple[str, ...]
    design: NDArray[np.int64]
    source_class: NDArray[np.int64]
    entered: NDArray[np.float64]
    good: NDArray[np.float64]
    failed: NDArray[np.float64]
    warnings: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.design)


def read_life(source: Path | bytes, progress: Progress | None = None) -> LifeTable:
    """The units of a file, or `RegistryErrors` with every line and column that can't be read."""
    text = TidyText(source if isinstance(source, bytes) else read_bytes(source), progress)
    errors = ErrorList(LIFE_COLUMNS)
    rows = RowReader(text, errors, LIFE_COLUMNS)
    codes = {column.name: FieldCodes(_bitwise(column.parse)) for column in LIFE_COLUMNS}
    for name in ("good_km", "failed_km"):
        codes[name] = codes["entered_km"]
    chunks = [_coded(rows, codes, errors, *chunk) for chunk in rows.chunks()]
    for number, error in text.bad.items():
        errors.add(error, number)
    columns = {name: np.concatenate([c[name] for c in chunks]) for name in chunks[0]} if chunks else {}
    table = _checked(columns, codes, errors, unknown_warnings(list(rows.header.unknown)))
    errors.raise_any()
    if table is None or not len(table):
        message, advice = _("The file has no units."), _("Write one unit a line under the header.")
        raise refusal("file_empty", message, advice)
    return table


def _bitwise(parse: Callable[[str], Any]) -> Callable[[str], Any]:
    """nan is not equal to itself: an empty distance gets one code as None."""

    def parsed(text: str) -> Any:
        value = parse(text)
        return None if isinstance(value, float) and math.isnan(value) else value

    return parsed


def _coded(
    rows: RowReader,
    codes: dict[str, FieldCodes],
    errors: ErrorList,
    lines: NDArray[np.int32],
    fields: Sequence[Sequence[str]],
) -> dict[str, NDArray[Any]]:
    """The chunk's columns as codes; rows that can't be read go to `errors` and are left out."""
    count, coded = len(lines), {"line": lines}
    for column in LIFE_COLUMNS:
        place, look_up = rows.header.places.get(column.name), codes[column.name].__getitem__
        texts = [""] * count if place is None else fields[place]
        coded[column.name] = np.fromiter(map(look_up, texts), dtype=np.int32, count=count)
    bad = np.any([coded[column.name] == BAD for column in LIFE_COLUMNS], axis=0)
    for row in np.flatnonzero(bad):
        typed = {name: fields[place][int(row)] for name, place in rows.header.places.items()}
        for name, field in typed.items() if any(text.strip() for text in typed.values()) else ():
            if (error := codes[name].errors.get(field)) is not None:
                errors.add(error, int(lines[row]), name)
    return {name: values[~bad] for name, values in coded.items()}


def _checked(
    columns: dict[str, NDArray[Any]],
    codes: dict[str, FieldCodes],
    errors: ErrorList,
    warnings: list[str],
) -> LifeTable | None:
    if not columns:
        return None
    km = np.array([math.nan if value is None else value for value in codes["entered_km"].found])
    km = km if len(km) else np.empty(0)
    entered, good, failed = (km[columns[name]] for name in ("entered_km", "good_km", "failed_km"))
    entered = np.nan_to_num(entered)
    lines = columns["line"]
    _twice(columns, codes, errors)
    _order(good, failed, entered, lines, errors)
    early = good < entered
    if early.any():
        text = ngettext(
            "In line {line} good_km is below entered_km: a unit that came under observation was good then.",
            "In {count} lines, first in line {line}, good_km is below entered_km: a unit that came under "
            "observation was good then.",
            int(early.sum()),
        )
        warnings = [*warnings, text.format(count=int(early.sum()), line=int(lines[early][0]))]
    classes = np.array([SOURCE_CLASSES.index(name) for name in codes["class"].found], dtype=np.int64)
    return LifeTable(
        designs=tuple(codes["design"].found),
        design=columns["design"].astype(np.int64),
        source_class=classes[columns["class"]] if len(classes) else np.empty(0, np.int64),
        entered=entered,
        good=np.where(early, entered, good),
        failed=failed,
        warnings=tuple(warnings),
    )


def _order(good: Any, failed: Any, entered: Any, lines: Any, errors: ErrorList) -> None:
    """A unit is good before it fails, and fails after it came under observation."""
    for row in np.flatnonzero(failed < good):
        message = _("It failed at {failed:g} km but was good at {good:g} km.").format(
            failed=failed[row], good=good[row]
        )
        advice = _("good_km is the longest distance at which it was good before it failed.")
        errors.add(RegistryError("distance_order", message, advice), int(lines[row]), "failed_km")
    for row in np.flatnonzero((failed <= entered) & ~(failed < good)):
        message = _("It failed at {failed:g} km, not after it came under observation at {entered:g} km.")
        errors.add(
            RegistryError(
                "distance_order",
                message.format(failed=failed[row], entered=entered[row]),
                _("Count distances on the unit: entered_km is where it came under observation."),
            ),
            int(lines[row]),
            "failed_km",
        )


def _twice(columns: dict[str, NDArray[Any]], codes: dict[str, FieldCodes], errors: ErrorList) -> None:
    """A unit stands in the file once: its row says all that is known of it."""
    design, unit, lines = columns["design"], columns["unit"], columns["line"]
    key = design.astype(np.int64) * (len(codes["unit"].found) + 1) + unit
    _keys, first, back = np.unique(key, return_index=True, return_inverse=True)
    for row in np.flatnonzero(first[back] != np.arange(len(key))):
        message = _("Unit {unit} of {design} is in line {line} already.").format(
            unit=codes["unit"].found[unit[row]],
            design=codes["design"].found[design[row]],
            line=int(lines[first[back[row]]]),
        )
        errors.add(RegistryError("unit_twice", message, _("Keep one row a unit.")), int(lines[row]), "unit")
