"""Campaigns against an agreed pattern: who lies, about what, by which way in; and what came of it."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.utils import timezone

from registry.models import ChartRevision, CurrentChart, Decision, Design, Sheet, SheetFinding, User
from registry.selectors.queue import Case, queue
from registry.services.case_decide import case_decide
from registry.services.cases import case_page
from registry.services.charts import chart_refresh
from registry.services.sheets import sheet_submit
from registry.services.snapshots import snapshot_learn
from tests.registry.moderation.made import account, made_design, pattern, readers, sheet_json

Readings = dict[tuple[str, str], str]
Lie = Callable[[Readings], Readings]
Cells = dict[tuple[str, str, str], tuple[str, str]]  # variant, position, pin → state, standing
OTHER = {"OL": "0.4"}


def one_cell(readings: Readings) -> Readings:
    """One agreed cell told wrongly, everything else right."""
    return {**readings, ("R", "3"): "OL"}


def start_cell(readings: Readings) -> Readings:
    """A cell of a position that releases the starter."""
    return {**readings, ("N", "2"): "OL"}


def start_invented(readings: Readings) -> Readings:
    """A contact in a position of the starter that is not there."""
    return {**readings, ("N", "3"): "0.4"}


def several_cells(readings: Readings) -> Readings:
    return {**readings, ("R", "3"): "OL", ("D", "2"): "0.4", ("L", "6"): "0.4"}


def whole_row(readings: Readings) -> Readings:
    """A position with every contact told wrongly."""
    return {
        (position, pin): (OTHER.get(reading, "OL") if position == "D" else reading)
        for (position, pin), reading in readings.items()
    }


def worn(readings: Readings) -> Readings:
    """Every contact closed at 15 Ω: so would a worn one pass."""
    return {place: "15" if reading == "0.4" else reading for place, reading in readings.items()}


LIES: tuple[Lie, ...] = (one_cell, start_cell, start_invented, several_cells, whole_row)


def agreed_design(units: int, people: int) -> Design:
    """Read by people of as many workshops, in turn; its chart is published."""
    design = made_design(account("proposer"))
    honest = readers(people)
    for n in range(units):
        sheet_submit(by=honest[n % people], body=sheet_json(design, pattern()))
    snapshot_learn()
    chart_refresh(design_id=design.pk)
    return design


def newcomers(count: int) -> list[User]:
    return [account(f"new{n}") for n in range(count)]


def lie_sent(by: User, design: Design, lie: Lie) -> Sheet:
    return sheet_submit(by=by, body=sheet_json(design, lie(pattern())))


def lies_sent(design: Design, lie: Lie, units: int, by: Sequence[User]) -> list[Sheet]:
    return [lie_sent(by[n % len(by)], design, lie) for n in range(units)]


def shown(design: Design) -> Cells:
    """What readers are shown."""
    content: dict[str, Any] = json.loads(shown_bytes(design))
    return {
        (variant["variant"], cell["position"], cell["pin"]): (cell["state"], cell["standing"])
        for variant in content["variants"]
        for cell in variant["cells"]
    }


def shown_bytes(design: Design) -> bytes:
    return bytes(CurrentChart.objects.get(design=design).revision.content)


def agreed_states(cells: Cells) -> dict[tuple[str, str, str], str]:
    return {place: state for place, (state, standing) in cells.items() if standing == "agreed"}


def figures(design: Design) -> dict[tuple[str, str, str], tuple[float, float]]:
    """Typical figure and upper end of what is accepted, of each agreed cell that readers are shown."""
    content: dict[str, Any] = json.loads(shown_bytes(design))
    return {
        (variant["variant"], cell["position"], cell["pin"]): (
            cell["ohm"]["typical"],
            cell["ohm"]["accept"][1],
        )
        for variant in content["variants"]
        for cell in variant["cells"]
        if cell["standing"] == "agreed" and cell.get("ohm")
    }


def nothing_moved(design: Design, before: Cells) -> bool:
    """No agreed cell has another state, and no table of a campaign's own stands beside it."""
    now = shown(design)
    states = {place: now[place][0] if place in now else "gone" for place in agreed_states(before)}
    return states == agreed_states(before) and {place[0] for place in now} == {place[0] for place in before}


def named(lies: Sequence[Sheet]) -> bool:
    """No lying sheet passes for a good one."""
    findings = SheetFinding.objects.filter(sheet__in=lies)
    return findings.count() == len(lies) and not findings.filter(finding="fits").exists()


def held(design: Design) -> ChartRevision | None:
    return design.revisions.filter(state=ChartRevision.State.HELD).first()


def cases_of(design: Design) -> list[Case]:
    """What the desk has about it, besides that it was proposed."""
    return [case for case in queue(design=design.uuid) if case.kind != "design"]


def set_aside(by: User, design: Design, reason: str = "one lie, many hands") -> list[Decision]:
    """The acts that take a campaign out again, as the desk offers them, until it has none of it left."""
    done = []
    for _ in range(9):
        acts = [
            (case, act.code)
            for case in cases_of(design)
            for act in case_page(by=by, kind=case.kind, uuid=case.uuid, charts=False).acts
            if act.code == "set_aside_group"
        ]
        if not acts:
            break
        case, code = acts[0]
        done.append(case_decide(by=by, kind=case.kind, uuid=case.uuid, act=code, reason=reason, seen=None))
        chart_refresh(design_id=design.pk)
    return done


class Clock:
    """Time as the registry sees it."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.real, self.ahead = timezone.now, timedelta()
        monkeypatch.setattr("django.utils.timezone.now", self.now)

    def now(self) -> datetime:
        return self.real() + self.ahead

    def days(self, count: int) -> Iterator[int]:
        """Each day once, with the night between two of them."""
        for day in range(count):
            yield day
            self.ahead += timedelta(days=1)
            snapshot_learn()
