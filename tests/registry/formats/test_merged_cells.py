"""Merged cells as a workshop has them; and as nobody has, who means well."""

from __future__ import annotations

from collections.abc import Iterable

import pytest

from registry.errors import RegistryErrors
from registry.formats.matrix_table import read_cells
from registry.services.imports.mapped_table import LIMITS
from tests.registry.services.malformed_matrices import SHEET, replaced


def merged(refs: Iterable[str]) -> bytes:
    """A small XLSX in which these cells are merged."""
    told = "".join(f'<mergeCell ref="{ref}"/>' for ref in refs)
    return replaced(SHEET, b"</sheetData>", f"</sheetData><mergeCells>{told}</mergeCells>".encode())


def codes(data: bytes) -> list[str]:
    with pytest.raises(RegistryErrors) as refused:
        read_cells(data, LIMITS)
    return [error.code for error in refused.value]


def test_cells_beside_each_other_are_spread() -> None:
    assert read_cells(merged(["A1:B1", "C1:D1"]), LIMITS)[0] == ["position", "position", "3", "3"]


@pytest.mark.parametrize("refs", [["A1:D4"] * 1000, [f"A1:XFD{n}" for n in range(1, 1000)]])
def test_cells_over_each_other_are_refused(refs: list[str]) -> None:
    """Each would be written into every place that it covers: for hours, in a list of 20 000 rows."""
    assert codes(merged(refs)) == ["matrix_bomb"]


@pytest.mark.parametrize("ref", ["A", "1:3", "a1:b1", "A1:B2:C3"])
def test_what_names_no_cells_makes_a_damaged_file(ref: str) -> None:
    assert codes(merged([ref])) == ["matrix_unreadable"]
