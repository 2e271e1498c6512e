"""What a check costs as the registry grows: charts of the same shape only, each decoded once."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from registry.errors import RegistryErrors
from registry.models import ChartRevision, CurrentChart, Design, OutcomeCounted, Pin, User
from registry.selectors import kept_charts
from registry.selectors.check_facts import CheckFacts
from registry.selectors.labels import DesignLabels
from registry.selectors.outcomes import outcomes_for
from registry.services.checks import check_suspect, identify_switch, learned_outcomes
from registry.services.offline_tables import offline_chart
from tests.registry.pages.made import account, made_design, made_evidence, sheet_json


@pytest.fixture
def reader(db: None) -> User:
    return account("me", "Ferry Slip")


@pytest.fixture
def design(reader: User, django_capture_on_commit_callbacks: Any) -> Design:
    made = made_design(reader)
    with django_capture_on_commit_callbacks(execute=True):
        made_evidence(made, 5)
    kept_charts._decoded.clear()
    return made


def copies(design: Design, number: int, shape_key: str) -> None:
    """Further designs that show the same chart under another shape or the same one."""
    current = CurrentChart.objects.get(design=design)
    for n in range(number):
        other = Design.objects.create(name=f"Ferry selector {shape_key}{n}", key=f"{shape_key}{n}")
        CurrentChart.objects.create(
            design=other,
            revision=current.revision,
            standing="agreed",
            shape_key=shape_key or current.shape_key,
        )


def queries(body: dict[str, Any]) -> list[str]:
    with CaptureQueriesContext(
        connection,
    ) as asked:
        check_suspect(body=body)
    return [one["sql"] for one in asked]


def test_charts_of_another_shape_are_not_read(design: Design) -> None:
    copies(design, 5, "another")
    assert kept_charts.charts_shaped_like(design) == []
    assert len(kept_charts.published_charts()) == 6


def test_a_second_check_decodes_nothing_and_asks_no_more_with_more_designs(design: Design) -> None:
    body = sheet_json(design, "suspect", purpose="suspect", held_good="no")
    check_suspect(body=body)
    once = queries(body)
    copies(design, 7, "another")
    assert len(queries(body)) == len(once)
    assert not any('"content"' in sql for sql in once)


def test_a_withdrawn_chart_is_no_candidate(design: Design) -> None:
    readings = sheet_json(design)["readings"]
    assert identify_switch(body={"readings": readings})["candidates"]
    CurrentChart.objects.all().delete()
    assert not identify_switch(body={"readings": readings})["candidates"]
    assert kept_charts.published_chart(design) is None


def test_recorded_outcomes_move_the_check_and_the_tables_for_work_without_a_network(
    design: Design, monkeypatch: pytest.MonkeyPatch
) -> None:
    body = sheet_json(design, "suspect", purpose="suspect", held_good="no")
    body["readings"] = body["readings"][:12]
    told = {}
    for name, outcomes in (("none", None), ("seldom", (1, 80)), ("mostly", (79, 80))):
        for name_of in ("fault_prior_for", "fault_prior_of"):
            monkeypatch.setattr(f"registry.services.checks.{name_of}", lambda _what, found=outcomes: found)
        kept = offline_chart(design.uuid)
        assert kept is not None
        told[name] = (check_suspect(body=body)["p_good"], json.dumps(kept["tables"]))
    assert told["mostly"][0] < told["none"][0] < told["seldom"][0]
    assert len({tables for _p, tables in told.values()}) == 3


def test_what_a_check_asks_in_one_go_is_what_others_ask_piece_by_piece(design: Design) -> None:
    copies(design, 3, "")
    position = design.positions.order_by("step")[1]
    position.aliases.create(label="also")
    last = Pin.objects.filter(connector__design=design).order_by("order").last()
    assert last is not None
    Pin.objects.filter(pk=last.pk).update(empty=True)
    OutcomeCounted.objects.create(design=design, symptom="", checked=14, at_fault=5)
    facts = CheckFacts()
    found = facts.design(str(design.uuid))
    plain = DesignLabels(design)
    stored = Design.objects.get(pk=design.pk)
    assert found == design and {**found.__dict__, "_state": 0} == {**stored.__dict__, "_state": 0}
    labels = facts.labels(found)
    assert labels.pins == plain.pins and last.label not in labels.pins
    assert labels.positions == plain.positions and labels.positions["also"].pk == position.pk
    assert facts.chart(found) is kept_charts.published_chart(design)
    assert facts.others(found) is kept_charts.others_shaped_like(design)
    assert facts.outcomes(found) in (outcomes_for(design, None), None)
    assert learned_outcomes(found, facts.outcomes(found)) == learned_outcomes(design)


def test_labels_and_charts_of_a_check_are_those_of_now(design: Design) -> None:
    body = sheet_json(design, "suspect", purpose="suspect", held_good="no")
    check_suspect(body=body)
    position = design.positions.order_by("step")[0]
    body["readings"] = [
        {**row, "position": "renamed" if row["position"] == position.label else row["position"]}
        for row in body["readings"]
    ]
    with pytest.raises(RegistryErrors):
        check_suspect(body=body)
    type(position).objects.filter(pk=position.pk).update(label="renamed")
    check_suspect(body=body)
    ChartRevision.objects.filter(design=design).update(
        state="withdrawn", withdrawn_at=timezone.now(), withdrawn_reason="a test"
    )
    with pytest.raises(RegistryErrors) as refused:
        check_suspect(body=body)
    assert refused.value.errors[0].code == "no_chart"


@pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite is asked piece by piece")
def test_a_check_asks_one_question(design: Design) -> None:
    body = sheet_json(design, "suspect", purpose="suspect", held_good="no")
    check_suspect(body=body)
    assert len(queries(body)) == 1
