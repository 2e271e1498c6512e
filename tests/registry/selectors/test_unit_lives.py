"""What counts of a unit over time: good distances, failures, units that came used, two that are one."""

from __future__ import annotations

from typing import Any
from uuid import UUID

import pytest

from registry.models import Decision, Design, PartNumber, Sheet, Unit, User
from registry.selectors.contact_drift import failed_soon, sheet_contacts
from registry.selectors.overlays import Overlays, decisions_in_force
from registry.selectors.unit_history import unit_history
from registry.selectors.unit_lives import FLEET, VOLUNTEERS, UnitLife, life_versions, unit_lives
from registry.services.accounts import contributor_of
from registry.services.lives.unit_events import unit_event_take_back
from registry.services.sheets import sheet_withdraw
from registry.services.units import unit_same
from tests.registry.pages.lives import confirmed_fleet, event
from tests.registry.pages.made import account, made_design, made_sheet, readings

pytestmark = pytest.mark.django_db
Known = tuple[float, float | None, float | None]


@pytest.fixture
def reader() -> User:
    return account("me", "Ferry Slip")


@pytest.fixture
def design(reader: User) -> Design:
    return made_design(reader)


def read(by: User, design: Design, key: str, km: float | None, **more: Any) -> Unit:
    return made_sheet(by, design, key, distance_km=km, **more).unit


def known(design: Design) -> list[Known]:
    """entered, good, failed of each unit, by distance."""
    return sorted((life.row for life in unit_lives(design)), key=lambda row: [km or 0.0 for km in row])


def test_a_good_reading_is_a_unit_still_good_there(reader: User, design: Design) -> None:
    read(reader, design, "a", 50_000)
    read(reader, design, "a", 70_000)
    read(reader, design, "no distance", None)
    read(reader, design, "new", None, held_good="new")
    assert known(design) == [(0, 0, None), (0, 70_000, None)]


def test_suspects_and_units_that_only_a_check_held_good_are_no_evidence(reader: User, design: Design) -> None:
    read(reader, design, "suspect", 50_000, purpose="suspect", held_good="no")
    read(reader, design, "checked", 50_000, held_good="passed_check")
    assert known(design) == []


def test_a_failure_lies_between_the_last_good_reading_and_where_it_was_found(
    reader: User, design: Design
) -> None:
    event(reader, read(reader, design, "a", 60_000), "failed", 90_000)
    assert known(design) == [(0, 60_000, 90_000)]


def test_a_failure_without_a_good_reading_since_new_was_noticed_when_it_happened(
    reader: User, design: Design
) -> None:
    event(reader, read(reader, design, "a", None, held_good="new"), "failed", 90_000)
    event(reader, read(reader, design, "b", 10_000), "failed", 95_000, good_km=95_000)
    assert known(design) == [(0, 90_000, 90_000), (0, 95_000, 95_000)]


def test_a_unit_that_came_used_is_seen_from_there_on(reader: User, design: Design) -> None:
    unit = read(reader, design, "a", None)
    event(reader, unit, "good", 80_000, entered_km=30_000)
    event(reader, unit, "out_good", 85_000)
    assert known(design) == [(30_000, 85_000, None)]


def test_what_can_not_be_true_of_one_switch_is_left_out(reader: User, design: Design) -> None:
    event(reader, read(reader, design, "good after it failed", 90_000), "failed", 40_000)
    assert known(design) == []


def test_what_was_taken_back_or_set_aside_does_not_count(reader: User, design: Design) -> None:
    unit = read(reader, design, "a", 50_000)
    told = event(reader, unit, "failed", 90_000)
    unit_event_take_back(by=reader, event=told)
    assert known(design) == [(0, 50_000, None)]
    sheet_withdraw(by=reader, sheet=unit.sheets.get(), reason="wrong unit")
    assert known(design) == []
    other = account("other")
    event(other, read(other, design, "b", 50_000), "failed", 60_000)
    Decision.objects.create(
        kind=Decision.Kind.SET_ASIDE_ACCOUNT,
        target_kind="account",
        target_uuid=contributor_of(other).uuid,
        proposer=reader,
        state=Decision.State.IN_FORCE,
        reason="made up",
    )
    assert known(design) == []


def test_two_units_that_are_one_have_one_life(reader: User, design: Design) -> None:
    other = account("other", "Yard 2")
    mine, theirs = read(reader, design, "mine", 50_000), read(other, design, "theirs", 80_000)
    assert len(known(design)) == 2
    unit_same(by=reader, unit=mine, same_as=theirs)
    unit_same(by=other, unit=mine, same_as=theirs)
    assert known(design) == [(0, 80_000, None)]


def test_a_cohort_needs_everybody_who_told_of_the_unit_to_report_all(reader: User, design: Design) -> None:
    other = account("other", "Yard 2")
    mine, theirs = read(reader, design, "mine", 50_000), read(other, design, "theirs", 80_000)
    read(reader, design, "alone", 20_000)
    confirmed_fleet("Ferry Slip")
    assert sorted(life.cohort for life in unit_lives(design)) == [FLEET, FLEET, VOLUNTEERS]
    unit_same(by=reader, unit=mine, same_as=theirs)
    unit_same(by=other, unit=mine, same_as=theirs)
    assert sorted(life.cohort for life in unit_lives(design)) == [FLEET, VOLUNTEERS]


def test_the_class_is_that_of_the_newest_sheet_else_of_the_part_number(reader: User, design: Design) -> None:
    read(reader, design, "a", 10_000, source_class="unknown", read_on="2026-03-01")
    read(reader, design, "a", 20_000, source_class="equivalent", read_on="2026-09-01")
    part = PartNumber.objects.create(number="EQ 77-1", source_class="equivalent")
    unit = Unit.objects.create(contributor=contributor_of(reader), design=design, key="b", part_number=part)
    event(reader, unit, "good", 5_000)
    assert [life.source_class for life in unit_lives(design)] == ["equivalent", "equivalent"]


def test_of_two_sheets_of_one_day_the_one_that_was_stored_later_is_the_newest(
    reader: User, design: Design
) -> None:
    for n, source_class in enumerate(("unknown", "equivalent")):
        unit = read(reader, design, "a", 10_000, source_class=source_class, read_on="2026-03-01")
        sheet = unit.sheets.order_by("pk").last()
        Sheet.objects.filter(pk=sheet.pk).update(uuid=UUID(int=9 - n))  # their ids say the contrary
    assert [life.source_class for life in unit_lives(design)] == ["equivalent"]
    assert [moment.sheet for moment in unit_history(unit)] == [UUID(int=9), UUID(int=8)]


def test_contacts_of_a_sheet_are_the_closed_ones_of_the_chart(
    reader: User, design: Design, django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        for n in range(6):
            read(account(f"r{n}", f"Yard {n}"), design, f"u{n}", 10_000.0 * n)
    with django_capture_on_commit_callbacks(execute=True):
        worn = readings(R4="9.5", N2="OL")
        worn = [row for row in worn if (row["position"], row["pin"]) != ("N", "2")]
        read(reader, design, "worn", 90_000, readings=worn)
    versions = life_versions(design, Overlays(decisions_in_force()))
    contacts = sheet_contacts(design, versions)
    assert [one.km for one in contacts] == [0, 10_000, 20_000, 30_000, 40_000, 50_000, 90_000]
    assert {(one.middle, one.worst, one.worst_over) for one in contacts[:6]} == {(0.4, 0.4, False)}
    assert (contacts[-1].middle, contacts[-1].worst) == (0.4, 9.5)


def test_failed_soon_takes_each_units_last_reading_that_tells() -> None:
    from registry.selectors.contact_drift import SheetContacts

    def read_at(unit: str, km: float, worst: float) -> SheetContacts:
        return SheetContacts(unit, km, 0.4, False, worst, False, False)

    def life(unit: str, good: float | None, failed: float | None) -> UnitLife:
        return UnitLife(unit, "original", FLEET, 0.0, good, failed)

    contacts = [read_at("a", 10, 0.5), read_at("a", 80, 5.0), read_at("b", 50, 0.6), read_at("c", 50, 0.7)]
    lives = [life("a", 80, 95), life("b", 70, None), life("c", 60, None)]
    # a failed within 20 of its reading at 80; b was good 20 further; of c nobody knows
    assert sorted(failed_soon(contacts, lives, 20)) == [(0.6, False), (5.0, True)]
