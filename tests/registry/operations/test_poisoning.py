"""A campaign of 30 % moves nothing agreed without a moderator, is flagged at once, undone by one act.

The bound in DEVELOPERS.md, § Threat model, rests on `test_bound.py`.
"""

from __future__ import annotations

import csv
import io
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from registry.formats.tidy_reader import read_tidy
from registry.models import Contributor, Decision, Design, Sheet, User
from registry.services.accounts import account_erase
from registry.services.charts import chart_refresh
from registry.services.decisions import undo
from registry.services.holding import WIDER
from registry.services.imports.tidy_file import import_apply
from registry.services.sheets import sheet_submit, sheet_withdraw
from tests.api.made import made_token
from tests.registry.moderation.made import account, made_design, pattern, readers, sheet_json
from tests.registry.operations.campaigns import (
    LIES,
    Clock,
    Lie,
    agreed_design,
    agreed_states,
    cases_of,
    figures,
    held,
    lie_sent,
    lies_sent,
    named,
    newcomers,
    nothing_moved,
    one_cell,
    set_aside,
    several_cells,
    shown,
    shown_bytes,
    start_cell,
    worn,
)

pytestmark = pytest.mark.django_db
HONEST, PEOPLE, CAMPAIGN = 14, 7, 6  # 6 of 20 units are 30 %


@pytest.fixture(autouse=True)
def no_limit(settings: Any) -> None:
    """The campaign got round the limits on sheets a day."""
    settings.BENCHQUORUM_NEW_SHEETS = 0


@pytest.fixture
def design() -> Design:
    return agreed_design(HONEST, PEOPLE)


@pytest.fixture
def desk() -> User:
    return account("desk", moderator=True)


def stands(design: Design, lies: list[Sheet], before: Any) -> None:
    """The bar: nothing moved, every sheet named, the desk has a case, all within one refresh."""
    assert len(agreed_states(before)) == 25
    chart_refresh(design_id=design.pk)
    assert nothing_moved(design, before)
    assert named(lies)
    assert cases_of(design)


@pytest.mark.parametrize("lie", LIES, ids=lambda lie: lie.__name__)
@pytest.mark.parametrize("accounts", [1, 2, 6])
def test_thirty_in_a_hundred_and_the_one_act_that_takes_them_out(
    design: Design, desk: User, lie: Lie, accounts: int
) -> None:
    before, content = shown(design), shown_bytes(design)
    lies = lies_sent(design, lie, CAMPAIGN, newcomers(accounts))
    stands(design, lies, before)
    decisions = set_aside(desk, design)
    assert [decision.state for decision in decisions] == [Decision.State.IN_FORCE]
    assert shown_bytes(design) == content
    assert held(design) is None and not cases_of(design)
    undo(by=desk, decision=Decision.objects.get(pk=decisions[0].pk), reason="they were right")
    chart_refresh(design_id=design.pk)
    assert named(lies) and nothing_moved(design, before)


@pytest.mark.parametrize("accounts", [1, 2, 6])
@pytest.mark.parametrize(("units", "people"), [(HONEST, PEOPLE), (5, 3)])
def test_a_lie_about_ohms_moves_no_figure(accounts: int, units: int, people: int) -> None:
    design = agreed_design(units, people)
    before, was, content = figures(design), shown(design), shown_bytes(design)
    lies_sent(design, worn, -(-3 * units // 7), newcomers(accounts))
    chart_refresh(design_id=design.pk)
    now = figures(design)
    assert nothing_moved(design, was) and len(before) > 9
    for place, (_typical, accepted) in before.items():
        assert now[place][0] <= accepted and now[place][1] <= WIDER * accepted, place
    assert [case.kind for case in cases_of(design)] == ["variant"]  # within one refresh
    assert len(set_aside(account("desk", moderator=True), design)) == 1
    assert shown_bytes(design) == content and not cases_of(design)


@pytest.mark.parametrize(("reading", "waits"), [("15", True), ("0.4", False)])
def test_first_figure_of_contacts_that_were_read_by_a_buzzer(reading: str, waits: bool) -> None:
    design = made_design(account("proposer"))
    buzzer = {place: "cont" if told == "0.4" else told for place, told in pattern().items()}
    for person in readers(5):
        sheet_submit(by=person, body=sheet_json(design, buzzer))
    chart_refresh(design_id=design.pk)
    assert agreed_states(shown(design)) and not figures(design)
    lies_sent(design, lambda told: {**told, ("P", "2"): reading}, 1, newcomers(1))
    chart_refresh(design_id=design.pk)
    assert (held(design) is not None) == waits
    assert ("a", "P", "2") not in figures(design) or not waits


@pytest.mark.parametrize(("units", "people"), [(5, 3), (6, 3), (7, 4), (8, 4)])
@pytest.mark.parametrize("lie", [one_cell, start_cell, several_cells], ids=lambda lie: lie.__name__)
@pytest.mark.parametrize("alone", [True, False])
def test_a_design_that_is_barely_agreed(units: int, people: int, lie: Lie, alone: bool) -> None:
    design = agreed_design(units, people)
    count = -(-3 * units // 7)  # 30 % of all, rounded up
    lies = lies_sent(design, lie, count, newcomers(1 if alone else count))
    stands(design, lies, shown(design))


def test_a_drop_a_day(design: Design, desk: User, monkeypatch: pytest.MonkeyPatch) -> None:
    """Twelve accounts, one sheet each, over weeks: what waited is not published because time went by."""
    clock, before = Clock(monkeypatch), shown(design)
    states = {place: state for place, (state, _standing) in before.items()}
    liars, lies = newcomers(12), []
    for day in clock.days(60):
        if day % 5 == 0:
            lies.append(lie_sent(liars[day // 5], design, one_cell))
        chart_refresh(design_id=design.pk)
        assert nothing_moved(design, before), day
        assert named(lies), day
    assert len(set_aside(desk, design)) == 1
    assert {place: state for place, (state, _standing) in shown(design).items()} == states


def test_dormant_accounts_are_as_new(design: Design) -> None:
    before = shown(design)
    liars = newcomers(CAMPAIGN)
    for liar in liars[:3]:  # these sent something good long ago
        sheet_submit(by=liar, body=sheet_json(design, pattern()))
    chart_refresh(design_id=design.pk)
    long_ago = timezone.now() - timedelta(days=400)
    User.objects.filter(pk__in=[liar.pk for liar in liars]).update(date_joined=long_ago)
    Sheet.objects.filter(contributor__user__in=liars).update(created_at=long_ago)
    stands(design, lies_sent(design, one_cell, CAMPAIGN, liars), before)


def test_deleting_the_accounts_makes_nobody_trusted(design: Design) -> None:
    before, liars = shown(design), newcomers(CAMPAIGN)
    lies = lies_sent(design, one_cell, CAMPAIGN, liars)
    for liar in liars:
        account_erase(by=liar)
    stands(design, lies, before)


def test_through_the_bulk_address(design: Design, client: Client) -> None:
    before = shown(design)
    for liar in newcomers(2):
        sheets = [sheet_json(design, one_cell(pattern())) for _ in range(CAMPAIGN // 2)]
        answer = client.post(
            "/api/v1/submissions/bulk/",
            {"submissions": sheets},
            content_type="application/json",
            headers={"Authorization": made_token(liar, "submit")},
        )
        assert answer.status_code < 300, answer.content
    lies = list(Sheet.objects.filter(contributor__user__email__startswith="new"))
    assert len(lies) == CAMPAIGN
    stands(design, lies, before)


def test_through_the_contributor_column_of_a_file(design: Design) -> None:
    """The command takes the file's word for who read what; a person's own file has one contributor."""
    before = shown(design)
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(
        ["design", "submission", "unit", "contributor", "step", "position", "pin", "against", "reading"]
    )
    for n in range(CAMPAIGN):
        for (position, pin), reading in one_cell(pattern()).items():
            step = "PRNDL".index(position) + 1
            writer.writerow([design.name, f"s{n}", f"u{n}", f"who {n}", step, position, pin, "1", reading])
    table, liar = read_tidy(out.getvalue().encode()), account("new")
    import_apply(table, by=liar)
    lies = list(Sheet.objects.filter(contributor__user=liar))
    assert len(lies) == CAMPAIGN
    stands(design, lies, before)
    import_apply(table)
    now = shown(design)
    assert {place: now[place][0] for place in agreed_states(before)} == agreed_states(before)


def test_taking_one_s_own_sheets_away_and_sending_others(design: Design) -> None:
    """Five of seven workshops are the campaign's: first they take their sheets back, then they lie."""
    before = shown(design)
    theirs = Contributor.objects.filter(user__email__startswith="reader").order_by("pk")[:5]
    for contributor in theirs:
        for sheet in contributor.sheets.all():
            sheet_withdraw(by=contributor.user, sheet=sheet, reason="gone")
    chart_refresh(design_id=design.pk)
    left = shown(design)
    assert {left[place][0] for place in agreed_states(before)} == set(agreed_states(before).values())
    assert not agreed_states(left)  # two workshops are no agreement
    for contributor in theirs:
        for _ in range(3):
            lie_sent(contributor.user, design, one_cell)
    chart_refresh(design_id=design.pk)
    assert shown(design)["a", "R", "3"][0] == "closed"
    waiting = held(design)
    assert waiting is not None
    assert "agreed_changed" in {reason["code"] for reason in waiting.held_because}


def test_taking_all_sheets_away_first(design: Design) -> None:
    """A detour over no cell at all."""
    before = shown(design)
    own = list(Sheet.objects.filter(design=design).order_by("pk"))
    for sheet in own[2:]:
        sheet_withdraw(by=sheet.contributor.user, sheet=sheet, reason="gone")
    chart_refresh(design_id=design.pk)
    for sheet in own[:2]:
        sheet_withdraw(by=sheet.contributor.user, sheet=sheet, reason="gone")
    chart_refresh(design_id=design.pk)
    lies_sent(design, start_cell, 8, newcomers(4))
    chart_refresh(design_id=design.pk)
    now = shown(design)
    assert {place: now.get(place, (None,))[0] for place in agreed_states(before)} == agreed_states(before)


def test_what_patience_buys(design: Design) -> None:
    """A table beside the right one, never its cells: the limit that DEVELOPERS.md states."""
    before, liars = shown(design), newcomers(CAMPAIGN)
    elsewhere = made_design(account("another"), "Ferry selector 13")
    for liar in liars:
        for _ in range(2):
            sheet_submit(by=liar, body=sheet_json(elsewhere, pattern()))
    chart_refresh(design_id=elsewhere.pk)
    Sheet.objects.filter(design=elsewhere).update(created_at=timezone.now() - timedelta(days=40))
    lies_sent(design, one_cell, CAMPAIGN, liars)
    chart_refresh(design_id=design.pk)
    now = shown(design)
    assert {place[0] for place in now} == {"a", "b"} and held(design) is None
    assert {place: now[place][0] for place in agreed_states(before)} == agreed_states(before)
