"""The bound in DEVELOPERS.md, § Threat model, and on the page about the method: how much a campaign takes.

Here its edges; with BENCHQUORUM_SOAK every number of lying units up to twice the honest ones, which prints
the table of the bound.
"""

from __future__ import annotations

import os
from typing import Any

import pytest

from registry.services.charts import chart_refresh
from tests.registry.operations.campaigns import (
    LIES,
    Lie,
    agreed_design,
    agreed_states,
    held,
    lies_sent,
    named,
    newcomers,
    one_cell,
    shown,
    start_cell,
)

pytestmark = pytest.mark.django_db
SOAK = float(os.environ.get("BENCHQUORUM_SOAK") or 0)
QUIET, TABLE, TURNED = "quiet", "variant_new", "agreed_changed"
EDGES = [(14, 7, 3), (14, 7, 6), (14, 7, 14), (14, 7, 28), (5, 3, 2), (5, 3, 5), (5, 3, 10)]


@pytest.fixture(autouse=True)
def no_limit(settings: Any) -> None:
    settings.BENCHQUORUM_NEW_SHEETS = 0


def outcome(units: int, people: int, lying: int, accounts: int, lie: Lie) -> tuple[str, bool]:
    """What a campaign's refresh comes to, and whether each of its sheets is named as not fitting.

    Readers are shown the same states afterwards, whatever it comes to.
    """
    design = agreed_design(units, people)
    before = shown(design)
    lies = lies_sent(design, lie, lying, newcomers(accounts))
    chart_refresh(design_id=design.pk)
    now = shown(design)
    states = {place: now[place][0] for place in agreed_states(before)}
    assert states == agreed_states(before)
    assert {place[0] for place in now} == {"a"}
    waiting = held(design)
    codes = [] if waiting is None else [reason["code"] for reason in waiting.held_because]
    turned = next((code for code in codes if code != TABLE), "")
    return (turned or (TABLE if codes else QUIET)), named(lies)


@pytest.mark.parametrize(("units", "people", "lying"), EDGES)
@pytest.mark.parametrize("alone", [True, False])
def test_no_number_of_newcomers_moves_what_readers_see(
    units: int, people: int, lying: int, alone: bool
) -> None:
    outcome(units, people, lying, 1 if alone else lying, one_cell)


@pytest.mark.skipif(not SOAK, reason="every number of units takes long: BENCHQUORUM_SOAK")
@pytest.mark.parametrize(("units", "people"), [(5, 3), (8, 4), (14, 7)])
@pytest.mark.parametrize("lie", [one_cell, start_cell, LIES[-1]], ids=lambda lie: lie.__name__)
@pytest.mark.parametrize("alone", [True, False])
def test_the_table_of_the_bound(
    units: int, people: int, lie: Lie, alone: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    from django.db import transaction

    rows = []
    for lying in range(1, 2 * units + 1):
        with transaction.atomic():
            rows.append((lying, *outcome(units, people, lying, 1 if alone else lying, lie)))
            transaction.set_rollback(True)
    with capsys.disabled():
        print(
            f"\n{units} units of {people}, {lie.__name__}, {'one account' if alone else 'one account each'}"
        )
        for lying, came, flagged in rows:
            print(f"  {lying:3d} {came}{'' if flagged else ', not all named'}")
