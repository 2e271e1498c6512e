"""A tidy table → the engine's input, by design or by sheet.

In files pins stand in the natural order of their labels, positions in that of their steps, and the common is
the `against` that most sheets name (contracts.md); separate contacts have none.  Nothing depends on the order
of rows.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from consensus.readings import DesignReadings, Readings
from registry.bridge.inputs import engine_sheet
from registry.formats.labels import natural_key
from registry.formats.reading import ReadingKind
from registry.formats.tidy_steps import step_labels
from registry.formats.tidy_table import BoolArray, IntArray, TidyTable

LabelArray = NDArray[np.integer[Any]]


@dataclass(frozen=True)
class SortedTable:
    """A table with sheets by design and name, labels in natural order and rows by sheet and place.

    order: row of the table for each sorted row; sheet, pin, against: ranks; sheets: index into the table's;
    begins: (sheets + 1,) first sorted row of each sheet.
    """

    table: TidyTable
    labels: tuple[str, ...]
    sheets: tuple[int, ...]
    order: IntArray
    sheet: IntArray
    pin: IntArray
    against: IntArray
    begins: IntArray

    @classmethod
    def of(cls, table: TidyTable) -> SortedTable:
        by_label = sorted(range(len(table.labels)), key=lambda code: _label_key(table.labels[code]))
        designs = {name: natural_key(name) for name in table.designs}

        def sheet_key(index: int) -> tuple[object, ...]:
            sheet = table.sheets[index]
            design = table.designs[sheet.design]
            return designs[design], design, _label_key(sheet.name)

        by_sheet = sorted(range(len(table.sheets)), key=sheet_key)
        label_rank, sheet_rank = _ranks(by_label), _ranks(by_sheet)
        sheet, pin, against = sheet_rank[table.sheet], label_rank[table.pin], label_rank[table.against]
        order = np.lexsort((against, pin, table.sweep, table.between, table.step, sheet)).astype(np.int32)
        sheet, pin, against = sheet[order], pin[order], against[order]
        begins = np.searchsorted(sheet, np.arange(len(by_sheet) + 1)).astype(np.int32)
        labels = tuple(table.labels[code] for code in by_label)
        return cls(table, labels, tuple(by_sheet), order, sheet, pin, against, begins)

    def pins_of(self, rows: slice) -> IntArray:
        """Ranks of the pins that the rows name."""
        return np.unique(np.concatenate((self.pin[rows], self.against[rows])))

    def readings(
        self,
        design: str,
        sheets: range,
        positions: tuple[str, ...],
        pins: Sequence[str],
        common: str | None,
    ) -> DesignReadings:
        """The readings of some neighbouring sheets; `pins` name all that they use."""
        begin, end = self.begins[sheets.start], self.begins[sheets.stop]
        taken = np.arange(begin, end)[self.table.kind[self.order[begin:end]] != ReadingKind.NOT_TAKEN]
        rows, table = self.order[taken], self.table
        index = np.zeros(len(self.labels), dtype=np.int32)
        place_of = {label: place for place, label in enumerate(pins)}
        for rank in self.pins_of(slice(begin, end)):
            index[rank] = place_of[self.labels[rank]]
        return DesignReadings(
            design=design,
            positions=positions,
            pins=tuple(pins),
            common=None if common is None else place_of[common],
            sheets=tuple(engine_sheet(table.sheets[self.sheets[sheet]]) for sheet in sheets),
            readings=Readings(
                sheet=(self.sheet[taken] - sheets.start).astype(np.int32),
                position=(table.step[rows] - 1).astype(np.int32),
                between=table.between[rows],
                sweep=table.sweep[rows],
                pin=index[self.pin[taken]],
                against=index[self.against[taken]],
                kind=table.kind[rows],
                low=table.low[rows],
                high=table.high[rows],
                limit=table.limit[rows],
                lead=table.lead[rows],
            ),
        )

    def by_design(self) -> Iterator[tuple[int, range]]:
        """Index of each design, and its sheets."""
        start = 0
        for stop in range(1, len(self.sheets) + 1):
            design = self.table.sheets[self.sheets[start]].design
            if stop == len(self.sheets) or self.table.sheets[self.sheets[stop]].design != design:
                yield design, range(start, stop)
                start = stop


def designs_from_table(table: TidyTable) -> list[DesignReadings]:
    """One input for each design of the file, in natural order of their names."""
    ordered = SortedTable.of(table)
    positions, _warnings = step_labels(table)
    found = []
    for design, sheets in ordered.by_design():
        rows = slice(ordered.begins[sheets.start], ordered.begins[sheets.stop])
        ranks = ordered.pins_of(rows)
        pin, against = (np.searchsorted(ranks, column[rows]) for column in (ordered.pin, ordered.against))
        common = common_pin(ordered.sheet[rows] - sheets.start, pin, against, len(sheets), len(ranks))
        pins = [ordered.labels[rank] for rank in ranks]
        found.append(
            ordered.readings(
                table.designs[design],
                sheets,
                positions[design],
                pins,
                None if common is None else pins[common],
            )
        )
    return found


def common_pin(sheet: LabelArray, pin: LabelArray, against: LabelArray, sheets: int, pins: int) -> int | None:
    """The pin that most sheets name as `against`, or None.

    A sheet names the pin against which more than half of its readings are, if it reads two others or more
    against it: of separate contacts one may well be read more often than the rest.  A sheet of a single pair
    names its `against`; so does the design, whose common has two partners or is one end of its only pair.
    """
    counts = np.bincount(sheet * pins + against, minlength=sheets * pins).reshape(sheets, pins)
    most = counts.argmax(axis=1)
    on_most = against == most[sheet]
    pair = np.minimum(pin, against) * pins + np.maximum(pin, against)
    partners = _differ(sheet[on_most], pin[on_most], sheets)
    names = (counts.max(axis=1) * 2 > counts.sum(axis=1)) & (partners | ~_differ(sheet, pair, sheets))
    votes = np.bincount(most[names], minlength=pins)
    common = int(votes.argmax())
    if votes[common] <= np.count_nonzero(~names):
        return None
    several = len(np.unique(pin[against == common])) > 1 or len(np.unique(pair)) == 1
    return common if several else None


def _differ(group: LabelArray, value: LabelArray, groups: int) -> BoolArray:
    """(groups,) True where the values of a group are not all the same."""
    one = np.zeros(groups, dtype=value.dtype)
    one[group] = value  # any of them
    return np.asarray(np.bincount(group[value != one[group]], minlength=groups) > 0)


def sheets_from_table(table: TidyTable) -> list[DesignReadings]:
    """One input for each sheet by itself, as `identify` takes them: its own steps, pins and common."""
    ordered = SortedTable.of(table)
    found = []
    for place, index in enumerate(ordered.sheets):
        rows = slice(ordered.begins[place], ordered.begins[place + 1])
        ranks = ordered.pins_of(rows)
        pin, against = (np.searchsorted(ranks, column[rows]) for column in (ordered.pin, ordered.against))
        common = common_pin(np.zeros(len(against), dtype=np.int32), pin, against, 1, len(ranks))
        pins = [ordered.labels[rank] for rank in ranks]
        found.append(
            ordered.readings(
                table.designs[table.sheets[index].design],
                range(place, place + 1),
                sheet_positions(ordered, rows),
                pins,
                None if common is None else pins[common],
            )
        )
    return found


def sheet_positions(ordered: SortedTable, rows: slice) -> tuple[str, ...]:
    """The sheet's own labels of steps 1, 2, …; a step without a reading is called by its number."""
    table, order = ordered.table, ordered.order[rows]
    last = int((table.step[order] + table.between[order]).max(initial=0))
    named = {int(table.step[row]): table.labels[table.position[row]] for row in order}
    return tuple(named.get(step, str(step)) for step in range(1, last + 1))


def _ranks(order: Sequence[int]) -> IntArray:
    ranks = np.empty(len(order), dtype=np.int32)
    ranks[list(order)] = np.arange(len(order), dtype=np.int32)
    return ranks


def _label_key(label: str) -> tuple[object, ...]:
    """Natural order; labels that it takes for equal (`a`, `A`; `1`, `01`) by their characters."""
    return natural_key(label), label
