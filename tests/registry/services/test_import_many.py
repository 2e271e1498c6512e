"""Many designs in one file: stored together, evidence fetched together, no chart from what was overtaken."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from registry.formats.tidy_reader import read_tidy
from registry.models import Connector, Design, Pin, Position, SheetFinding, User
from registry.selectors import evidence
from registry.selectors.evidence import Overlays, design_inputs, evidence_kept, evidence_named, evidence_of
from registry.services.imports.tidy_file import import_apply
from registry.services.sheets import sheet_submit

HEAD = "design,submission,unit,contributor,step,position,pin,against,reading\n"
A_DESIGN = (
    23  # statements that one more design may cost: its chart with its entry in the log, nothing to store it
)
pytestmark = pytest.mark.django_db


def table_of(designs: int, first: int = 0) -> Any:
    rows = "\n".join(
        f"Lark {d},d{d}s{sheet},u{sheet},reader {sheet},{step},{position},{pin},1,{reading}"
        for d in range(first, first + designs)
        for sheet in range(3)
        for step, position, pin, reading in ((1, "P", 2, "0.4"), (1, "P", 3, "OL"), (2, "R", 3, "0.5"))
    )
    return read_tidy((HEAD + rows).encode())


def statements(designs: int, first: int) -> int:
    with CaptureQueriesContext(connection) as asked:
        import_apply(table_of(designs, first))
    return len(asked)


def test_one_more_design_costs_the_statements_of_its_chart_alone() -> None:
    statements(1, 0)
    few, many = statements(2, 10), statements(12, 30)
    assert many - few <= 10 * A_DESIGN, (few, many)


def test_new_designs_have_their_positions_pins_and_common() -> None:
    import_apply(table_of(3))
    for design in Design.objects.all():
        steps = Position.objects.filter(design=design).order_by("step").values_list("step", "label")
        pins = Pin.objects.filter(connector__design=design).values_list("order", "column", "label")
        assert list(steps) == [(1, "P"), (2, "R")]
        assert list(pins.order_by("order")) == [(1, 1, "1"), (2, 2, "2"), (3, 3, "3")]
        common = Connector.objects.get(design=design).common
        assert common is not None and common.label == "1"
        assert Design.objects.get(key=design.key) == design and design.key
    assert SheetFinding.objects.count() == 9
    assert {finding.body["finding"] for finding in SheetFinding.objects.all()} == {"fits"}


def test_separate_contacts_with_rows_missing_are_made_without_a_common() -> None:
    rows = [f"Wren,s{sheet},u{sheet},reader {sheet},{step},{position},{pair},OL" for sheet in range(3)
            for step, position in ((1, "P"), (2, "R")) for pair in ("2,1", "4,3")
            if (step, pair) != (2, "4,3")]  # fmt: skip
    import_apply(read_tidy((HEAD + "\n".join(rows)).encode()))
    assert Connector.objects.get(design__name="Wren").common is None


def test_evidence_of_many_is_that_of_each(monkeypatch: pytest.MonkeyPatch) -> None:
    import_apply(table_of(4))
    designs = list(Design.objects.order_by("pk"))
    alone = [design_inputs(design) for design in designs]
    with evidence_kept():
        together = evidence_of(designs, Overlays([]))
        monkeypatch.setattr(evidence, "designs_inputs", None)  # nothing is asked again
        assert [design_inputs(design) for design in designs] == alone
        for design, one in zip(designs, together, strict=True):
            assert evidence_named(design_inputs(design)) is one and len(one.readings) == 9


def test_evidence_that_came_in_the_meantime_is_not_passed_over() -> None:
    import_apply(table_of(2))
    with evidence_kept():
        evidence_of(list(Design.objects.order_by("pk")), Overlays([]))
        reading = {"position": "P", "pin": "2", "against": "1", "reading": "0.4"}
        body = {"client_id": str(uuid.uuid4()), "design": "Lark 0", "unit": {"key": "mine"}}
        reader = User.objects.create_user("late@workshop.example")
        sheet_submit(by=reader, body={**body, "measured_it_myself": True, "readings": [reading]})
        late = design_inputs(Design.objects.get(name="Lark 0"))
        assert len(late["sheets"]) == 4 and len(evidence_named(late).readings) == 10
        assert len(design_inputs(Design.objects.get(name="Lark 1"))["sheets"]) == 3
