"""Care of the catalogue: merges and edits go back exactly, whatever came in between."""

from __future__ import annotations

import json

import pytest

from registry.errors import RegistryErrors
from registry.models import Design, PositionAlias, User
from registry.selectors.designs import search_designs
from registry.services.charts import revision_verify
from registry.services.decisions import approve, decide, undo
from tests.registry.moderation.made import (
    CLOSED,
    account,
    made_design,
    made_sheet,
    newest,
    pattern,
)

pytestmark = pytest.mark.django_db


def about(design: Design, kind: str, /, **payload) -> dict[str, object]:
    return {
        "kind": kind,
        "target_kind": "design",
        "target_uuid": design.uuid,
        "payload": payload,
        "reason": "It is the same switch.",
    }


def edit(by: User, design: Design, *changes):
    design.refresh_from_db()
    return decide(by=by, **about(design, "edit_design", on_edit=design.edit_number, set=list(changes)))


def test_merged_sheets_count_in_the_other_design_and_come_back_exactly(people, moderators):
    kept, doubled = made_design(people[0], "Ferry 12"), made_design(people[0], "Ferry-twelve")
    for person in people[:3]:
        made_sheet(person, kept)
    for person in people[2:]:
        made_sheet(person, doubled)
    before = {design.pk: newest(design) for design in (kept, doubled)}
    merge = decide(by=moderators[0], **about(doubled, "merge_designs", design=str(kept.uuid)))
    approve(by=moderators[1], decision=merge)
    content = json.loads(bytes(newest(kept).content))
    assert content["counts"]["submissions"] == 5
    assert newest(doubled) == before[doubled.pk]  # nothing of it was rewritten
    # edits in between: a name, a sheet for either
    edit(moderators[1], kept, [["name"], "Ferry selector 12"])
    late = made_sheet(people[3], kept)
    early = made_sheet(people[1], doubled)
    parted = undo(by=moderators[0], decision=merge, reason="Another plug after all.")
    approve(by=moderators[1], decision=parted)
    kept.refresh_from_db()
    assert kept.name == "Ferry selector 12"
    sheets = {entry["submission"] for entry in json.loads(bytes(newest(kept).content))["submissions"]}
    assert sheets == {str(sheet.uuid) for sheet in kept.sheets.all()}
    assert str(late.uuid) in sheets and str(early.uuid) not in sheets
    back = json.loads(bytes(newest(doubled).content))
    assert {entry["submission"] for entry in back["submissions"]} == {
        str(sheet.uuid) for sheet in doubled.sheets.all()
    }
    assert revision_verify(newest(kept)) == revision_verify(newest(doubled)) == "same"


def test_unmerge_without_edits_gives_both_digests_again(people, moderators):
    kept, doubled = made_design(people[0], "Ferry 12"), made_design(people[0], "Ferry-twelve")
    made_sheet(people[0], kept)
    made_sheet(people[1], kept)
    made_sheet(people[2], doubled)
    before = newest(kept).digest, newest(doubled).digest
    merge = decide(by=moderators[0], **about(doubled, "merge_designs", design=str(kept.uuid)))
    assert newest(kept).digest != before[0]
    undo(by=moderators[1], decision=merge, reason="No.")
    assert (newest(kept).digest, newest(doubled).digest) == before


def test_merge_looks_up_aliases_and_refuses_labels_that_would_be_lost(people, moderators):
    kept = made_design(people[0], "Ferry 12")
    labels = [{"label": label} for label in ("P", "REV", "N", "D", "L")]
    doubled = made_design(people[0], "Ferry-twelve", positions=labels)
    made_sheet(people[0], kept)
    closed = {("REV" if label == "R" else label): pins for label, pins in CLOSED.items()}
    made_sheet(people[1], doubled, pattern(closed))
    with pytest.raises(RegistryErrors) as error:
        decide(by=moderators[0], **about(doubled, "merge_designs", design=str(kept.uuid)))
    assert [one.code for one in error.value] == ["labels_missing"]
    edit(moderators[0], kept, [["alias", "R", "REV"], True])
    decide(by=moderators[0], **about(doubled, "merge_designs", design=str(kept.uuid)))
    content = json.loads(bytes(newest(kept).content))
    cell = next(c for c in content["variants"][0]["cells"] if (c["position"], c["pin"]) == ("R", "4"))
    assert cell["units"] == 2


def test_merged_design_cannot_be_merged_again_or_into_itself(people, moderators):
    kept, doubled = made_design(people[0], "Ferry 12"), made_design(people[0], "Ferry-twelve")
    decide(by=moderators[0], **about(doubled, "merge_designs", design=str(kept.uuid)))
    for source, there in ((kept, doubled), (kept, kept), (doubled, kept)):
        with pytest.raises(RegistryErrors):
            decide(by=moderators[0], **about(source, "merge_designs", design=str(there.uuid)))


def test_search_finds_the_design_that_another_was_merged_into(people, moderators):
    kept, doubled = made_design(people[0], "Ferry 12"), made_design(people[0], "Ferry-twelve")
    decide(by=moderators[0], **about(doubled, "merge_designs", design=str(kept.uuid)))
    assert [design.pk for design in search_designs("OD-Ferry-twelve")] == [kept.pk]


def test_each_field_goes_back_alone(people, moderators):
    design = made_design(people[0])
    first = edit(moderators[0], design, [["name"], "Ferry 12 b"], [["alias", "R", "REV"], True])
    second = edit(moderators[0], design, [["description"], "Older plug."])
    undo(by=moderators[0], decision=first, reason="No.")
    design.refresh_from_db()
    assert (design.name, design.description) == ("Ferry selector 12", "Older plug.")
    assert not PositionAlias.objects.filter(label="REV").exists()
    undo(by=moderators[0], decision=second, reason="No.")
    design.refresh_from_db()
    assert design.description == ""


def test_undo_never_overwrites_a_later_edit(people, moderators):
    design = made_design(people[0])
    first = edit(moderators[0], design, [["name"], "Ferry 12 b"])
    edit(moderators[1], design, [["name"], "Ferry 12 c"])
    with pytest.raises(RegistryErrors) as error:
        undo(by=moderators[0], decision=first, reason="No.")
    assert [one.code for one in error.value] == ["edited_since"]
    design.refresh_from_db()
    assert design.name == "Ferry 12 c"
    first.refresh_from_db()
    assert first.state == "in_force"


def test_edit_on_an_old_page_is_refused(people, moderators):
    design = made_design(people[0])
    edit(moderators[0], design, [["description"], "Older plug."])
    with pytest.raises(RegistryErrors) as error:
        decide(by=moderators[1], **about(design, "edit_design", on_edit=0, set=[[["name"], "X"]]))
    assert [one.code for one in error.value] == ["edit_stale"]


@pytest.mark.parametrize("text", ["=1+1", "+1+2", "a\x1bb"])
@pytest.mark.parametrize("field", ["name", "maker", "family", "part_number", "line_name", "alias"])
def test_no_edit_brings_in_a_name_that_a_proposal_could_not(people, moderators, field, text):
    design = made_design(people[0])
    change = {
        "line_name": [["line_name", "2"], text],
        "alias": [["alias", "R", text], True],
        "family": [["family", text], True],
        "part_number": [["part_number", text], True],
    }.get(field, [[field], text])
    with pytest.raises(RegistryErrors) as error:
        edit(moderators[0], design, change)
    assert [one.code for one in error.value] == ["name_control" if "\x1b" in text else "name_formula"]


@pytest.mark.parametrize("field", ["family", "part_number"])
def test_no_edit_brings_in_a_name_that_no_table_has_room_for(people, moderators, field):
    with pytest.raises(RegistryErrors) as error:
        edit(moderators[0], made_design(people[0]), [[field, "x" * 130], True])
    assert [one.code for one in error.value] == ["name_too_long"]


def test_a_name_of_before_the_rule_stays_and_can_be_taken_away(people, moderators):
    design = made_design(people[0])
    Design.objects.filter(pk=design.pk).update(name="=old", key="old")
    edit(moderators[0], design, [["description"], "Older plug."], [["name"], "=old"])
    edit(moderators[0], design, [["name"], "Ferry 12"])
    design.refresh_from_db()
    assert design.name == "Ferry 12"


def test_edit_that_changes_nothing_is_no_decision(people, moderators):
    design = made_design(people[0])
    with pytest.raises(RegistryErrors) as error:
        edit(moderators[0], design, [["name"], design.name])
    assert [one.code for one in error.value] == ["nothing_changed"]


def test_start_position_needs_a_second_moderator(people, moderators):
    design = made_design(people[0])
    for person in people:
        made_sheet(person, design)
    before = newest(design)
    decision = edit(moderators[0], design, [["start", "R"], True])
    assert decision.state == "waiting"
    assert newest(design) == before
    approve(by=moderators[1], decision=decision)
    assert json.loads(bytes(newest(design).content))["design"]["start_positions"] == ["P", "R", "N"]
    back = undo(by=moderators[0], decision=decision, reason="No.")
    assert back.state == "waiting" and newest(design).digest != before.digest
    approve(by=moderators[1], decision=back)
    assert newest(design).digest == before.digest
    assert newest(design).state == "published"


def test_proposer_cannot_confirm_their_own_design(people, moderators):
    from django.core.exceptions import PermissionDenied

    own = account("both", moderator=True)
    design = made_design(own)
    with pytest.raises(PermissionDenied):
        decide(by=own, **about(design, "confirm_design"))
    decision = decide(by=moderators[0], **about(design, "confirm_design"))
    design.refresh_from_db()
    assert design.state == "confirmed"
    undo(by=moderators[0], decision=decision, reason="Too soon.")
    design.refresh_from_db()
    assert design.state == "proposed"


def test_sheet_sent_to_a_merged_design_counts_at_once_where_it_was_merged(people, moderators):
    kept, doubled = made_design(people[0], "Ferry 12"), made_design(people[0], "Ferry-twelve")
    made_sheet(people[0], kept)
    decide(by=moderators[0], **about(doubled, "merge_designs", design=str(kept.uuid)))
    made_sheet(people[1], doubled)
    assert json.loads(bytes(newest(kept).content))["counts"]["submissions"] == 2
