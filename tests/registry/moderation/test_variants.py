"""A moderator's split gives sheets a table of their own; undoing it gives the earlier chart back."""

from __future__ import annotations

import json

import pytest

from registry.models import ChartRevision, Decision, Target
from registry.services.decisions import approve, decide, undo
from registry.services.variant_keys import keys_for
from tests.registry.moderation.made import (
    CLOSED,
    account,
    made_design,
    made_sheet,
    newest,
    pattern,
    readers,
)

pytestmark = pytest.mark.django_db(transaction=True)


def tables(revision: ChartRevision) -> dict[str, dict[tuple[str, str], str]]:
    content = json.loads(bytes(revision.content))
    return {
        variant["variant"]: {(cell["position"], cell["pin"]): cell["state"] for cell in variant["cells"]}
        for variant in content["variants"]
    }


def test_a_split_gives_the_sheets_their_own_table_and_its_undo_the_earlier_digest() -> None:
    moderator = account("desk", moderator=True)
    design = made_design(account("proposer"))
    people = readers(8)
    for reader in people[:6]:
        made_sheet(reader, design)
    other = pattern({**CLOSED, "D": "346", "L": "245"})
    sheets = [made_sheet(reader, design, other) for reader in people[6:]]
    before = newest(design)
    assert set(tables(before)) == {"a"}
    decision = decide(
        by=moderator,
        kind=Decision.Kind.SPLIT_VARIANT,
        target_kind=Target.DESIGN,
        target_uuid=design.uuid,
        reason="Date codes from 31 on have another table.",
        payload={"sheets": [str(sheet.uuid) for sheet in sheets], "variant": "b"},
    )
    if decision.state == Decision.State.WAITING:
        pytest.fail(f"waits: second {decision.needs_second}, until {decision.effective_at}")
    split = tables(newest(design))
    assert set(split) == {"a", "b"}
    assert split["a"] == tables(before)["a"]
    assert {cell for cell in split["a"] if split["a"][cell] != split["b"][cell]} == {
        ("D", "4"),
        ("D", "5"),
        ("D", "6"),
        ("L", "3"),
    }
    back = undo(by=moderator, decision=decision, reason="The date codes were misread.")
    assert back.state == Decision.State.WAITING  # a table that readers are shown would go
    approve(by=account("second", moderator=True), decision=back)
    assert newest(design).digest == before.digest
    assert bytes(newest(design).content) == bytes(before.content)


def test_tables_that_differ_by_their_levels_alone_keep_their_keys() -> None:
    """The engine's own names for them follow the sheets' ids, which are drawn by lot."""
    design = made_design(account("proposer"))
    places = (("P", "3"), ("P", "4"), ("N", "3"), ("N", "4"))
    one = pattern() | dict(zip(places, ("220", "220", "680", "680"), strict=True))
    other = pattern() | dict(zip(places, ("680", "680", "220", "220"), strict=True))
    for n, reader in enumerate(readers(11)):
        made_sheet(reader, design, one if n < 6 else other)
    content = json.loads(bytes(newest(design).content))
    assert {variant["variant"] for variant in content["variants"]} == {"a", "b"}
    assert keys_for(design, content) == {}
    exchanged = {"a": "b", "b": "a"}
    for variant in content["variants"]:
        variant["variant"] = exchanged[variant["variant"]]
    assert keys_for(design, content) == exchanged
