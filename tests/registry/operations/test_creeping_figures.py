"""A figure of a settled cell that is led away refresh by refresh, each step within what was accepted."""

from __future__ import annotations

import hashlib
import json
from typing import Any

import pytest
from django.utils import timezone

from registry.formats.canonical import canonical
from registry.formats.decision_words import held_words
from registry.models import ChartRevision, Design, Target
from registry.services.charts import chart_refresh, show_revision
from registry.services.decisions import decide
from registry.services.first_figures import reasons_of_creeping
from registry.services.holding import reasons_to_hold
from registry.services.sheets import sheet_submit
from registry.services.snapshots import snapshot_in_force
from tests.registry.moderation.made import account, made_design, pattern, sheet_json
from tests.registry.operations.campaigns import agreed_design, cases_of, held, shown_bytes

pytestmark = pytest.mark.django_db
State = ChartRevision.State
# typical and highest accepted Ω of closed contacts, each a small step from the one before
STEPS = [(0.4, 1.2), (0.9, 2.0), (1.1, 2.3)]
Content = dict[str, Any]


def saying(content: Content, typical: float, highest: float) -> Content:
    """The same chart with these figures at every closed contact."""
    told = json.loads(json.dumps(content))
    for cell in told["variants"][0]["cells"]:
        if cell.get("ohm"):
            cell["ohm"] |= {"typical": typical, "accept": [0.0, highest]}
    return told  # type: ignore[no-any-return]


def put(design: Design, content: Content, state: str = State.PUBLISHED) -> ChartRevision:
    """As if computed after all that there are."""
    stored, number = canonical(content), design.revisions.count() + 1
    revision = ChartRevision.objects.create(
        design=design,
        number=number,
        digest=f"{number:064x}",
        evidence=f"{number:064x}",
        content=stored,
        content_sha256=hashlib.sha256(stored).hexdigest(),
        inputs={"sheets": []},
        snapshot=snapshot_in_force(),
        state=state,
        published_at=timezone.now() if state == State.PUBLISHED else None,
    )
    if state == State.PUBLISHED:
        show_revision(revision, content)
    return revision


@pytest.fixture
def content() -> Content:
    """A chart with 25 agreed cells."""
    return json.loads(shown_bytes(agreed_design(14, 7)))  # type: ignore[no-any-return]


@pytest.fixture
def design(content: Content) -> Design:
    """Another one of the same shape, whose figures have crept already; its next chart is not computed yet."""
    made = made_design(account("another"), "Ferry selector 13")
    for step in STEPS:
        put(made, saying(content, *step))
    return made


@pytest.mark.parametrize(("now", "code"), [((1.3, 2.3), "figure_crept"), ((1.1, 2.5), "range_crept")])
def test_each_step_is_small_and_all_of_them_are_not(
    design: Design, content: Content, now: tuple[float, float], code: str
) -> None:
    before, after = saying(content, *STEPS[-1]), saying(content, *now)
    assert reasons_to_hold(before, after) == []
    reasons = reasons_of_creeping(design, after)
    closed = [cell for cell in after["variants"][0]["cells"] if cell.get("ohm")]
    assert len(closed) > 9 and [reason["code"] for reason in reasons] == [code] * len(closed)
    assert "crept there from" in held_words(reasons[0])
    assert reasons_of_creeping(design, before) == []


def test_a_cell_that_waits_for_another_reason_is_named_once(design: Design, content: Content) -> None:
    after = saying(content, 2.6, 9.0)
    step = reasons_to_hold(saying(content, *STEPS[-1]), after)
    assert {reason["code"] for reason in step} == {"figure_changed"}
    assert reasons_of_creeping(design, after, besides=step) == []


def test_what_a_moderator_let_pass_is_where_it_is_measured_from(design: Design, content: Content) -> None:
    after = saying(content, 1.3, 2.3)
    waiting = put(design, after, State.HELD)
    about = {"target_kind": Target.REVISION, "target_uuid": waiting.uuid}
    assert reasons_of_creeping(design, after)  # waiting is no word
    decide(by=account("desk", moderator=True), kind="publish", reason="Worn by now.", **about)
    assert reasons_of_creeping(design, after) == []
    assert reasons_of_creeping(design, saying(content, 2.4, 4.5))


def test_a_refresh_holds_what_crept(content: Content) -> None:
    """What is computed is one small step from what is shown, and far from what was agreed first."""
    made = made_design(account("another"), "Ferry selector 13")
    ohm = next(cell["ohm"] for cell in content["variants"][0]["cells"] if cell.get("ohm"))
    put(made, saying(content, ohm["typical"] / 4, ohm["typical"] / 2))
    put(made, saying(content, ohm["typical"], ohm["accept"][1]))
    people = [account(f"good{n}") for n in range(7)]
    for n in range(14):
        sheet_submit(by=people[n % 7], body=sheet_json(made, pattern()))
    chart_refresh(design_id=made.pk)
    waiting = held(made)
    assert waiting is not None
    assert {reason["code"] for reason in waiting.held_because} == {"figure_crept"}
    assert cases_of(made)
