"""A campaign that nobody looked at for months: its case is still there, and one act still takes it out."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from registry.models import Design, User
from registry.services.charts import chart_refresh
from registry.services.decisions import undo
from registry.services.sheets import sheet_submit
from registry.services.snapshots import snapshot_learn
from tests.registry.moderation.made import account, made_design, pattern, sheet_json
from tests.registry.operations.campaigns import (
    Clock,
    agreed_design,
    cases_of,
    lie_sent,
    lies_sent,
    named,
    newcomers,
    nothing_moved,
    set_aside,
    shown,
    start_cell,
)

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def no_limit(settings: Any) -> None:
    settings.BENCHQUORUM_NEW_SHEETS = 0


def test_slips_of_a_small_campaign_wait_however_long(monkeypatch: pytest.MonkeyPatch) -> None:
    design, clock = agreed_design(14, 7), Clock(monkeypatch)
    before = shown(design)
    lies = lies_sent(design, start_cell, 3, newcomers(3))  # too few for a table of their own: slips
    chart_refresh(design_id=design.pk)
    for _day in clock.days(70):
        assert [case.kind for case in cases_of(design)] == ["variant"]
    assert named(lies) and nothing_moved(design, before)
    assert len(set_aside(account("desk", moderator=True), design)) == 1
    assert nothing_moved(design, before)
    assert not cases_of(design)


def test_campaign_of_months_over_designs_goes_by_one_act_a_design(monkeypatch: pytest.MonkeyPatch) -> None:
    """Six accounts, three designs, a sheet each in turn, twelve weeks long; nobody looked meanwhile."""
    designs, clock, liars = [agreed_design(14, 7)], Clock(monkeypatch), newcomers(6)
    honest = list(User.objects.filter(email__startswith="reader").order_by("pk"))
    for name in ("Ferry 13", "Ferry 14"):
        designs.append(made_design(User.objects.get(email__startswith="proposer"), name))
        for n in range(14):
            sheet_submit(by=honest[n % 7], body=sheet_json(designs[-1], pattern()))
    refreshed(designs)
    before = [shown(design) for design in designs]
    lies = []
    for week in range(12):
        lies.append([lie_sent(liars[week % 6], design, start_cell) for design in designs])
        clock.ahead += timedelta(days=7)
        snapshot_learn()
        refreshed(designs)
        for design, was in zip(designs, before, strict=True):
            assert nothing_moved(design, was), week
    desk = account("desk", moderator=True)
    for n, design in enumerate(designs):
        (decision,) = set_aside(desk, design)
        assert set(decision.payload["sheets"]) == {str(told[n].uuid) for told in lies}
        assert nothing_moved(design, before[n]) and not cases_of(design)
        undo(by=desk, decision=decision, reason="they were right")
        refreshed([design])
        assert nothing_moved(design, before[n]) and cases_of(design)


def refreshed(designs: list[Design]) -> None:
    for design in designs:
        chart_refresh(design_id=design.pk)
