"""Sheets that meet refreshes, bulk calls, imports and each other: none is lost, and nobody is locked out."""

from __future__ import annotations

from contextlib import suppress
from threading import Barrier, BrokenBarrierError, Event
from typing import Any

import pytest
from django.db import transaction

from registry.errors import RegistryErrors
from registry.formats.tidy_reader import read_tidy
from registry.formats.tidy_table import TidyTable
from registry.models import Design, Sheet
from registry.services import refreshes
from registry.services.charts import chart_refreshed
from registry.services.imports.tidy_file import import_apply
from registry.services.sheet_bulk import sheets_submit
from registry.services.sheets import sheet_submit, sheet_withdraw
from tests.api.made import made_design, made_user, sheet_body
from tests.registry.at_once.meeting import WAIT, begun, on_postgresql, until_it_waits

pytestmark = [pytest.mark.django_db(transaction=True), on_postgresql]


def test_a_sheet_is_taken_back_while_a_chart_with_it_is_being_stored() -> None:
    """The chart's findings name the sheet, whose contributor waits to mark the design."""
    user = made_user()
    design = made_design(user)
    sheet = sheet_submit(by=user, body=sheet_body(design))
    held, computed = Event(), Event()

    def hold(_sheet: Sheet) -> None:
        held.set()
        assert computed.wait(WAIT)

    taking_back = begun(lambda: sheet_withdraw(by=user, sheet=sheet, reason="worn", still=hold))
    assert held.wait(WAIT)
    with transaction.atomic():
        assert chart_refreshed(design_id=design.pk)[0] is not None
        computed.set()
        assert until_it_waits(taking_back)
    taking_back.result(WAIT)
    assert Sheet.objects.get(pk=sheet.pk).withdrawn_at is not None
    assert Design.objects.get(pk=design.pk).stale


def test_bulk_calls_that_name_their_designs_in_different_orders(monkeypatch: pytest.MonkeyPatch) -> None:
    people = [made_user(name) for name in ("a", "b")]
    designs = [made_design(people[0], name) for name in ("Sweeper", "Rake")]
    for design in designs:  # what both call by its place is there already
        sheet_submit(by=people[0], body=sheet_body(design))
    both, mark = Barrier(2), refreshes._queue_one

    def slowly(pk: int) -> None:
        mark(pk)
        with suppress(BrokenBarrierError):  # the other waits for this one's design, and goes on after it
            both.wait(1)

    monkeypatch.setattr(refreshes, "_queue_one", slowly)
    orders = [
        [sheet_body(design, unit={"key": "8"}) for design in order] for order in (designs, designs[::-1])
    ]
    other = begun(lambda: sheets_submit(by=people[0], bodies=orders[0]))
    answers = [*sheets_submit(by=people[1], bodies=orders[1]), *other.result(WAIT)]
    assert [one.new for one in answers] == [True] * 4
    assert Sheet.objects.count() == 6


def test_a_sheet_that_is_sent_alone_and_in_a_bulk_call_at_once_is_stored_once() -> None:
    user = made_user()
    design = made_design(user)
    first, second = sheet_body(design), sheet_body(design, unit={"key": "8"})
    with transaction.atomic():
        sheet = sheet_submit(by=user, body=first)
        bulk = begun(lambda: sheets_submit(by=user, bodies=[first, second]))
        assert until_it_waits(bulk)
    known, new = bulk.result(WAIT)
    assert (known.sheet, known.new, new.new) == (sheet.uuid, False, True)
    assert Sheet.objects.count() == 2


def tidy(design: Design, sheet: str) -> TidyTable:
    head = "design,submission,unit,contributor,step,position,pin,against,reading"
    rows = [f"{design.name},{sheet}{n},{sheet}{n},me,1,P,2,1,0.4" for n in range(2)]
    return read_tidy("\n".join([head, *rows]).encode())


def test_one_file_that_is_imported_twice_at_once_is_stored_once() -> None:
    user = made_user()
    design = made_design(user)
    with transaction.atomic():
        first = import_apply(tidy(design, "a"), by=user)
        second = begun(lambda: import_apply(tidy(design, "a"), by=user))
        assert until_it_waits(second)
    assert (len(first.sheets_new), second.result(WAIT).sheets_known) == (2, 2)
    assert Sheet.objects.count() == 2


def test_two_files_at_once_are_no_way_around_the_days_allowance(settings: Any) -> None:
    settings.BENCHQUORUM_NEW_SHEETS = 3
    user = made_user()
    design = made_design(user)
    with transaction.atomic():
        import_apply(tidy(design, "a"), by=user)
        second = begun(lambda: import_apply(tidy(design, "b"), by=user))
        until_it_waits(second)
    with pytest.raises(RegistryErrors) as refused:
        second.result(WAIT)
    assert [error.code for error in refused.value] == ["allowance_used"]
    assert Sheet.objects.count() == 2
