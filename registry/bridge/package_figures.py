"""Figures of a package that are no charts, made anew: cells, facts, units over time."""

from __future__ import annotations

import json
import operator
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any
from uuid import UUID

from registry.bridge.facts import MOST_ELSEWHERE, AnswerRow, FactRow, fact_agreements
from registry.formats.decision_overlays import Overlays
from registry.formats.fact_questions import BY_CODE, answer_key
from registry.formats.package_cell_table import CELLS, cell_rows
from registry.formats.package_files import Package
from registry.formats.package_job_tables import FACT_STANDINGS, LIVES, standing_row
from registry.formats.unit_lives import EventSaid, SheetSaid, lives_of

Plain = dict[str, Any]
Row = tuple[Any, ...]
SAME_TO = 1e-6  # of two machines' figures; words and counts are equal or not


@dataclass(frozen=True)
class FiguresVerified:
    """same: rows of a table that come out equal; differs: names of those that don't, or are missing."""

    table: str
    same: int
    differs: tuple[str, ...] = field(default=())


def verify_figures(package: Package) -> Iterator[FiguresVerified]:
    """One answer for each table; nothing for a package that is older than they are."""
    for table, made, equal in (
        (CELLS, _cells, operator.eq),  # only written in another form: exactly the same figures
        (FACT_STANDINGS, _standings, _equal),
        (LIVES, _lives, _equal),
    ):
        if package.has(table.name):
            names = table.names
            told = {
                _key(row, table.key): tuple(row[name] for name in names) for row in package.rows(table.name)
            }
            found = {_key(dict(zip(names, row, strict=True)), table.key): row for row in made(package)}
            differs = sorted(
                key for key in told.keys() | found.keys() if not equal(told.get(key), found.get(key))
            )
            yield FiguresVerified(table.name, len(found.keys() - set(differs)), tuple(differs))


def _key(row: Plain, key: tuple[str, ...]) -> str:
    return " ".join(str(row[name]) for name in key)


def _equal(one: Row | None, other: Row | None) -> bool:
    if one is None or other is None:
        return False
    return all(_same(*pair) for pair in zip(one, other, strict=True))


def _same(one: Any, other: Any) -> bool:
    if isinstance(one, float) and isinstance(other, float):
        return abs(one - other) <= SAME_TO * max(1.0, abs(one))
    return (
        (one or None) == (other or None) if isinstance(one, str) or isinstance(other, str) else one == other
    )


def _laid(package: Package) -> list[Any]:
    """Decisions in force, as `Overlays` takes them; those about accounts name nobody."""
    return [
        SimpleNamespace(kind=row["kind"], target_uuid=UUID(row["target"]), payload=row["payload"])
        for row in package.rows("decisions")
        if row["state"] == "in_force" and row["target"]
    ]


def _cells(package: Package) -> Iterator[Row]:
    """Of every chart, whichever engine made it: the table says what the chart says, and nothing else."""
    for row, content in zip(package.rows("charts"), package.lines("charts"), strict=True):
        yield from cell_rows(row["design"], row["revision"], json.loads(content))


def _standings(package: Package) -> Iterator[Row]:
    facts = {row["fact"]: row for row in package.rows("facts") if row["question"] in BY_CODE}
    disputed = {
        row["target"]
        for row in package.rows("disputes")
        if row["target_kind"] == "fact" and row["state"] == "open"
    }
    asked = {name: _fact_row(row, name in disputed) for name, row in facts.items()}
    answers = _answers(package, facts)
    by_design: dict[str, list[str]] = defaultdict(list)
    for name, row in facts.items():
        by_design[row["design"]].append(name)
    for _design, names in sorted(by_design.items()):
        here = [row for name in names for row in answers[name].values()]
        people = {row.contributor for row in here if row.quantity is None}
        other = _elsewhere(answers, people, set(names))
        elsewhere = {row.fact: asked[row.fact] for row in other}
        found = fact_agreements([asked[name] for name in names], [*here, *other], elsewhere)
        for name in names:
            yield (name, *standing_row(found[name]))


def _fact_row(row: Plain, disputed: bool) -> FactRow:
    question = BY_CODE[row["question"]]
    return FactRow(row["fact"], question.kind, question.codes, disputed)


def _answers(package: Package, facts: dict[str, Plain]) -> dict[str, dict[str, AnswerRow]]:
    """By fact and their own id, those that count."""
    shops = {row["contributor"]: row["workshop"] for row in package.rows("contributors")}
    aside = {
        str(decision.payload.get("answer")) for decision in _laid(package) if decision.kind == "set_aside"
    }
    found: dict[str, dict[str, AnswerRow]] = defaultdict(dict)
    for row in package.rows("fact_answers"):
        if row["counts"] and row["answer"] not in aside and row["fact"] in facts:
            key = answer_key(BY_CODE[facts[row["fact"]]["question"]], row["choice"])
            voice = shops[row["contributor"]] or row["contributor"]
            said = AnswerRow(row["fact"], row["contributor"], voice, key, row["quantity"])
            found[row["fact"]][row["answer"]] = said
    return found


def _elsewhere(answers: dict[str, dict[str, AnswerRow]], people: set[str], here: set[str]) -> list[AnswerRow]:
    """As the registry takes them: their answers to other facts, and the answers of all others to those."""
    found: dict[str, AnswerRow] = {}
    for name, told in answers.items():
        rows = {uuid: row for uuid, row in told.items() if row.quantity is None}
        if name not in here and any(row.contributor in people for row in rows.values()):
            found |= rows
    return [found[uuid] for uuid in sorted(found)[:MOST_ELSEWHERE]]


def _lives(package: Package) -> Iterator[Row]:
    overlays = Overlays(_laid(package))
    whole = {row["workshop"] for row in package.rows("workshops") if row["reports_all"]}
    fleet = {row["contributor"]: row["workshop"] in whole for row in package.rows("contributors")}
    units = {row["unit"]: row for row in package.rows("units")}
    classes = {row["part"]: row["class"] for row in package.rows("part_numbers")}
    names = {uuid: row["same_as"] or uuid for uuid, row in units.items()}
    sheets: dict[str, list[SheetSaid]] = defaultdict(list)
    for row in package.rows("sheets"):
        if row["current"] and row["counts"] and UUID(row["sheet"]) not in overlays.set_aside:
            design = overlays.design_of(UUID(row["sheet"]), UUID(row["design"]))
            sheets[str(design)].append(_sheet_said(row, names, fleet))
    events: dict[str, list[EventSaid]] = defaultdict(list)
    for row in package.rows("unit_events"):
        if row["counts"]:
            design = overlays.design_of(None, UUID(units[row["unit"]]["design"]))
            part = classes.get(units[row["unit"]]["part"])
            events[str(design)].append(_event_said(row, names, fleet, part))
    for uuid in sorted(sheets.keys() | events.keys()):
        for life in lives_of(sheets[uuid], events[uuid]):
            yield uuid, life.unit, life.source_class, *life.row, life.cohort


def _sheet_said(row: Plain, names: dict[str, str], fleet: dict[str, bool]) -> SheetSaid:
    read_on = "" if row["read_on"] is None else row["read_on"].isoformat()
    return SheetSaid(
        unit=names[row["unit"]],
        at=(read_on, row.get("stored") or 0, row["sheet"]),
        source_class=row["class"],
        held_good=row["held_good"],
        distance_km=row["distance_km"],
        whole_fleet=fleet[row["contributor"]],
    )


def _event_said(row: Plain, names: dict[str, str], fleet: dict[str, bool], part: str | None) -> EventSaid:
    return EventSaid(
        unit=names[row["unit"]],
        kind=row["kind"],
        source_class=part,
        distance_km=row["distance_km"],
        entered_km=row["entered_km"],
        good_km=row["good_km"],
        whole_fleet=fleet[row["contributor"]],
    )
