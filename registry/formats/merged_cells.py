"""Merged cells of a spreadsheet: one text that stands in several places at once."""

from __future__ import annotations

import re
from collections.abc import Iterable

Cells = list[list[str]]
_PLACE = re.compile(r"\$?([A-Z]{1,3})\$?(\d{1,7})")


class Overlapping(ValueError):
    """Merged cells lie over each other, which no spreadsheet makes: a hundred thousand of them over a whole
    list would keep a processor busy for hours."""


class Spread(str):
    """The text of a merged cell, in each place that it covers: a head or a unit of several rows.

    No reading: nobody can say in which of the places it was taken.
    """

    __slots__ = ()


def spread(cells: Cells, refs: Iterable[str]) -> None:
    """Fill what merged cells (A1:C1) cover with their text, as far as there are rows.

    >>> cells = [["Pins", "", ""], ["shelf 3", "P", "0.4"], ["", "R", "OL"]]
    >>> spread(cells, ["A1:C1", "A2:A3"])
    >>> cells
    [['Pins', 'Pins', 'Pins'], ['shelf 3', 'P', '0.4'], ['shelf 3', 'R', 'OL']]

    Raises Overlapping; ValueError where one can't be read.
    """
    room = sum(map(len, cells))
    for ref in refs:
        first, _colon, last = ref.partition(":")
        (top, left), (bottom, right) = _place(first), _place(last or first)
        if top >= len(cells) or left >= len(cells[top]):
            continue
        text = Spread(cells[top][left])
        for row in cells[top : bottom + 1]:
            covered = len(row[left : right + 1])
            room -= max(covered, 1)
            if room < 0:
                raise Overlapping(ref)
            row[left : right + 1] = [text] * covered


def _place(text: str) -> tuple[int, int]:
    """Row and column, from 0."""
    found = _PLACE.fullmatch(text)
    if found is None:
        raise ValueError(text)
    column = 0
    for letter in found[1]:
        column = 26 * column + ord(letter) - 64
    return int(found[2]) - 1, column - 1
