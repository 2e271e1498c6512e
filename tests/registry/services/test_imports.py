from __future__ import annotations

from pathlib import Path

import pytest
from django.db import connection

from registry.errors import RegistryErrors
from registry.formats.tidy_reader import read_tidy
from registry.immutability import lifted
from registry.models import (
    Change,
    ChartRevision,
    Contributor,
    CurrentChart,
    Design,
    Reading,
    Sheet,
    SheetFinding,
    UnitMatch,
    User,
)
from registry.services.charts import revision_verify
from registry.services.exports import export_tidy
from registry.services.imports.tidy_file import import_apply, import_plan

WORLD = Path(__file__).parents[2] / "data" / "worlds" / "few-units" / "readings.csv"
HEAD = "design,submission,unit,contributor,step,position,pin,against,reading\n"
SMALL = HEAD + "\n".join(
    f"Lark,{sheet},{unit},{who},{step},{position},{pin},1,{reading}"
    for sheet, unit, who in (("s1", "u1", "ann"), ("s2", "u1", "bo"), ("s3", "u2", "bo"))
    for step, position, pin, reading in (
        (1, "P", 2, "0.4"),
        (1, "P", 3, "OL"),
        (2, "R", 2, "OL"),
        (2, "R", 3, ""),
    )
)


def table_of(text: str):
    return read_tidy(text.encode())


@pytest.mark.django_db
def test_dry_run_stores_nothing():
    plan = import_plan(table_of(SMALL))
    assert (plan.designs_new, len(plan.sheets_new), plan.readings_new) == (["Lark"], 3, 12)
    assert Sheet.objects.count() == Design.objects.count() == Contributor.objects.count() == 0


@pytest.mark.django_db
def test_same_file_twice_adds_nothing():
    import_apply(table_of(SMALL))
    revisions = ChartRevision.objects.count()
    again = import_apply(table_of(SMALL))
    assert (again.sheets_new, again.sheets_known) == ([], 3)
    assert (Sheet.objects.count(), Reading.objects.count()) == (3, 12)
    assert ChartRevision.objects.count() == revisions


@pytest.mark.django_db
def test_import_killed_before_its_charts_is_finished_by_the_same_file():
    import_apply(table_of(SMALL))
    SheetFinding.objects.all().delete()
    CurrentChart.objects.all().delete()
    with lifted(connection):
        ChartRevision.objects.all().delete()
    Design.objects.update(stale=True)  # as a killed process leaves it: sheets stored, charts owed
    assert import_apply(table_of(SMALL)).sheets_new == []
    assert ChartRevision.objects.count() == 1


@pytest.mark.django_db
def test_other_readings_under_a_known_name_are_refused_and_nothing_is_stored():
    import_apply(table_of(SMALL))
    changed = SMALL.replace("ann,1,P,2,1,0.4", "ann,1,P,2,1,0.7") + "\nLark,s9,u9,cy,1,P,2,1,0.4"
    with pytest.raises(RegistryErrors) as caught:
        import_apply(table_of(changed))
    assert [error.code for error in caught.value] == ["submission_differs"]
    assert Sheet.objects.count() == 3


@pytest.mark.django_db
def test_one_unit_read_by_two_people_is_one_switch_by_both_words():
    import_apply(table_of(SMALL))
    assert UnitMatch.objects.count() == 2
    chart = ChartRevision.objects.get()
    units = {entry["sheet"]: entry["unit"] for entry in chart.inputs["sheets"]}
    assert len(units) == 3 and len(set(units.values())) == 2


@pytest.mark.django_db
def test_file_by_an_account_belongs_to_that_account():
    user = User.objects.create_user("bulk@workshop.example")
    import_apply(table_of(SMALL), by=user)
    assert {sheet.contributor.user for sheet in Sheet.objects.all()} == {user}
    again = import_apply(table_of(SMALL), by=user)
    assert again.sheets_known == 3


@pytest.mark.django_db
def test_steps_that_contradict_the_design_are_refused_with_their_line():
    import_apply(table_of(SMALL))
    with pytest.raises(RegistryErrors) as caught:
        import_apply(table_of(HEAD + "Lark,s8,u8,ann,2,P,2,1,0.4"))
    assert [(error.code, error.line) for error in caught.value] == [("step_differs", 2)]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("rows", "code"),
    [
        ("Lark,s1,u1,ann,1,P,2,1,0.4\nLark,s1,u1,ann,1,R,3,1,0.4", "step_two_labels"),
        ("Lark,s1,u1,ann,1,P,2,1,0.4\nLark,s1,u1,ann,2,P,3,1,0.4", "label_two_steps"),
        ("Lark,s1,u1,ann,1,P,2,1,0.4\nLark,s2,u2,ann,1,R,3,1,0.4", "position_differs"),
        ("Lark,s1,u1,ann,1,P,2,1,0.4\nLark,s2,u2,ann,2,P,3,1,0.4", "step_differs"),
    ],
)
def test_steps_that_contradict_each_other_in_the_file_are_refused(rows, code):
    with pytest.raises(RegistryErrors) as caught:
        import_apply(table_of(HEAD + rows))
    assert [error.code for error in caught.value] == [code]
    assert Design.objects.count() == 0


@pytest.mark.django_db
def test_a_later_file_may_bring_a_pin_to_a_proposed_design():
    import_apply(table_of(SMALL))
    import_apply(table_of(HEAD + "Lark,s8,u8,ann,1,P,10,1,0.4\nLark,s8,u8,ann,1,P,2,1,0.4"))
    pins = Design.objects.get().connector.pins.order_by("order")
    assert [pin.label for pin in pins] == ["1", "2", "3", "10"]


@pytest.mark.django_db
def test_confirmed_design_does_not_grow_by_import():
    import_apply(table_of(SMALL))
    Design.objects.update(state="confirmed")
    with pytest.raises(RegistryErrors) as caught:
        import_apply(table_of(HEAD + "Lark,s8,u8,ann,1,P,10,1,0.4"))
    assert [error.code for error in caught.value] == ["label_unknown"]


@pytest.mark.django_db(transaction=True)
def test_export_import_export_gives_the_same_bytes():
    import_apply(read_tidy(WORLD))
    first = "".join(export_tidy())
    from django.core.management import call_command

    call_command("flush", interactive=False, verbosity=0)
    import_apply(table_of(first))
    assert "".join(export_tidy()) == first
    rows = first.count("\n") - 1
    assert rows == Reading.objects.count() == WORLD.read_text().count("\n") - 1


@pytest.mark.django_db
def test_every_chart_of_an_import_recomputes_to_the_same_bytes():
    import_apply(read_tidy(WORLD))
    revisions = list(ChartRevision.objects.all())
    assert len(revisions) == 15
    assert {revision_verify(revision) for revision in revisions} == {"same"}


@pytest.mark.django_db(transaction=True)
def test_changes_of_an_import_are_numbered_without_a_gap_once_it_is_done():
    import_apply(table_of(SMALL))
    import_apply(table_of(SMALL.replace("Lark,s", "Wren,t")))
    told = Change.objects.order_by("number").values_list("number", "kind")
    assert [number for number, _kind in told] == list(range(1, len(told) + 1))
    assert [kind for _number, kind in told].count(Change.Kind.CHART_PUBLISHED) == 2


@pytest.mark.django_db
def test_a_design_of_the_registry_has_no_more_positions_than_one_drawn_by_hand():
    """A file may have more of them (`agree` takes it)."""
    table = table_of(HEAD + "Lark,s1,u1,ann,1,P,2,1,0.4\nLark,s1,u1,ann,65,S65,2,1,0.4")
    with pytest.raises(RegistryErrors) as caught:
        import_apply(table)
    assert [(error.code, error.line, error.column) for error in caught.value] == [
        ("number_impossible", 3, "step")
    ]
    assert "64" in str(caught.value.errors[0].message)
    assert Design.objects.count() == 0
