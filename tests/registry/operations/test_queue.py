"""The durable queue: nothing owed is lost or done twice at once, and a bad design stops nobody else."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils import timezone
from django_tasks import TaskResultStatus
from django_tasks_db.models import DBTaskResult

from registry.commands.main import main
from registry.commands.work import Care
from registry.models import ChartRevision, Design, RefreshTrouble, User, WorkerBeat
from registry.selectors.queue import parked_designs
from registry.services import charts
from registry.services.refreshes import mark_stale, queue_refresh, refresh_owed, refresh_retry, refresh_run
from registry.services.sheets import sheet_submit
from registry.services.workers import beat, round_of_care, tasks_owed, tasks_take_over
from registry.tasks import refresh_chart
from tests.api.made import made_design, sheet_body
from tests.registry.moderation.made import account

pytestmark = pytest.mark.django_db
Poison = ZeroDivisionError


@pytest.fixture
def queue(settings: Any) -> Iterator[None]:
    settings.TASKS_QUEUE = "database"
    settings.TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}
    yield


def submit(by: User, design: Design, key: str) -> None:
    body = sheet_body(design)
    sheet_submit(by=by, body={**body, "unit": {"key": key}})


def running(design: Design, *worker_ids: str) -> DBTaskResult:
    queued = refresh_chart.enqueue(design.pk)
    task = DBTaskResult.objects.get(pk=queued.id)
    task.status, task.worker_ids, task.started_at = "RUNNING", list(worker_ids), timezone.now()
    task.save()
    return task


def test_the_task_comes_and_goes_with_the_change(queue: None, design: Design) -> None:
    with pytest.raises(Poison), transaction.atomic():
        queue_refresh(design)
        raise Poison
    assert not DBTaskResult.objects.exists()
    queue_refresh(design)
    assert DBTaskResult.objects.count() == 1
    assert Design.objects.get(pk=design.pk).stale


def test_refreshes_of_one_design_coalesce(queue: None, reader: User, design: Design) -> None:
    for n in range(4):
        submit(reader, design, f"u{n}")
    queued = DBTaskResult.objects.ready().get()
    queued.task.call(*queued.args_kwargs["args"])
    assert ChartRevision.objects.count() == 1


def test_evidence_that_comes_while_computing_is_computed_too(
    design: Design, reader: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    submit(reader, design, "u1")
    content, calls = charts.chart_content, []

    def overtaken(*arguments: Any) -> Any:
        calls.append(1)
        if len(calls) == 1:
            submit(reader, design, "u2")
        return content(*arguments)

    monkeypatch.setattr(charts, "chart_content", overtaken)
    charts.chart_refresh(design_id=design.pk)
    assert Design.objects.get(pk=design.pk).stale
    refresh_run(design_id=design.pk)
    assert not Design.objects.get(pk=design.pk).stale
    newest = ChartRevision.objects.order_by("-number").first()
    assert newest is not None and len(newest.inputs["sheets"]) == 2


def poison(monkeypatch: pytest.MonkeyPatch, bad: Design) -> None:
    refreshed = charts._refreshed

    def sometimes(design: Design, snapshot: Any) -> Any:
        if design.pk == bad.pk:
            raise Poison("no such share")
        return refreshed(design, snapshot)

    monkeypatch.setattr(charts, "_refreshed", sometimes)


def test_a_poisoned_design_is_parked_and_stops_nobody(
    reader: User, design: Design, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = made_design(reader, "Ferry selector")
    submit(reader, design, "u1")
    submit(reader, other, "u2")
    poison(monkeypatch, design)
    for _ in range(4):
        mark_stale([design.pk, other.pk])
        refresh_owed()
    assert [trouble.design for trouble in parked_designs()] == [design]
    trouble = RefreshTrouble.objects.get()
    assert (trouble.failures, trouble.error) == (3, "ZeroDivisionError: no such share")
    assert not Design.objects.get(pk=other.pk).stale
    assert other.revisions.count() == 1


def test_a_moderator_lets_it_be_tried_again(
    reader: User, design: Design, monkeypatch: pytest.MonkeyPatch, django_capture_on_commit_callbacks: Any
) -> None:
    submit(reader, design, "u1")
    with monkeypatch.context() as bad:
        poison(bad, design)
        for _ in range(3):
            refresh_run(design_id=design.pk)
    refresh_run(design_id=design.pk)
    assert not design.revisions.exists()
    with pytest.raises(PermissionDenied):
        refresh_retry(by=reader, design=design)
    with django_capture_on_commit_callbacks(execute=True):
        refresh_retry(by=account("desk", moderator=True), design=design)
    assert design.revisions.count() == 1
    assert not RefreshTrouble.objects.exists()


def test_tasks_of_a_silent_worker_are_taken_over(queue: None, reader: User, design: Design) -> None:
    other = made_design(reader, "Ferry selector")
    beat(worker_id="living")
    beat(worker_id="silent")
    WorkerBeat.objects.filter(worker_id="silent").update(seen_at=timezone.now() - timedelta(seconds=40))
    kept, lost, unknown = running(design, "living"), running(other, "silent"), running(other, "never seen")
    assert tasks_take_over() == 2
    states = dict(DBTaskResult.objects.values_list("pk", "status"))
    assert states[kept.pk] == TaskResultStatus.RUNNING
    assert states[lost.pk] == states[unknown.pk] == TaskResultStatus.READY


def test_a_design_that_kills_its_workers_is_parked(queue: None, design: Design) -> None:
    mark_stale([design.pk])
    task = running(design, "first")
    for name in ("second", "third"):
        tasks_take_over()
        task.refresh_from_db()
        assert task.status == TaskResultStatus.READY
        task.claim(name)
    tasks_take_over()
    task.refresh_from_db()
    assert task.status == TaskResultStatus.FAILED
    assert [trouble.error for trouble in parked_designs()] == ["the worker died of it"]
    assert tasks_owed() == 0


def six_fell_silent() -> None:
    for n in range(6):
        beat(worker_id=f"worker {n}")
    WorkerBeat.objects.update(seen_at=timezone.now() - timedelta(seconds=40))


def test_a_deadly_design_is_parked_though_workers_died_before(queue: None, design: Design) -> None:
    mark_stale([design.pk])
    six_fell_silent()
    task = running(design, "worker 0")
    for name in ("worker 1", "worker 2"):
        tasks_take_over()
        task.refresh_from_db()
        task.claim(name)
    tasks_take_over()
    assert [trouble.design for trouble in parked_designs()] == [design]
    assert tasks_owed() == 0


def test_nobody_is_blamed_where_workers_die_of_something_else(queue: None, design: Design) -> None:
    """Of a machine that kills its workers one after the other, the first in the queue sees most deaths."""
    mark_stale([design.pk])
    six_fell_silent()
    task = running(design, "worker 0", "worker 1")
    tasks_take_over()
    task.refresh_from_db()
    assert task.status == TaskResultStatus.READY
    assert not RefreshTrouble.objects.exists()
    WorkerBeat.objects.exclude(worker_id__in=task.worker_ids).delete()  # these ended in good order
    task.claim("worker 2")
    tasks_take_over()
    assert RefreshTrouble.objects.get().failures == 1


def test_what_is_owed_and_in_no_queue_is_queued_once(queue: None, design: Design) -> None:
    mark_stale([design.pk])
    assert tasks_owed() == 1
    assert tasks_owed() == 0


def test_a_failed_design_waits_before_it_is_tried_again(queue: None, design: Design) -> None:
    mark_stale([design.pk])
    RefreshTrouble.objects.create(design=design, failures=1, error="", failed_at=timezone.now())
    assert tasks_owed() == 0
    RefreshTrouble.objects.update(failed_at=timezone.now() - timedelta(minutes=1))
    assert tasks_owed() == 1


def test_finished_tasks_do_not_pile_up(queue: None, design: Design) -> None:
    task = running(design, "gone")
    task.set_successful(None)
    DBTaskResult.objects.update(finished_at=timezone.now() - timedelta(days=2))
    round_of_care()
    assert not DBTaskResult.objects.exists()


def test_work_without_a_queue_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["work"]) == 2
    assert "BENCHQUORUM_QUEUE=database" in capsys.readouterr().err


@pytest.mark.django_db(transaction=True)
def test_a_round_that_fails_of_whatever_keeps_the_sign_of_life(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """The thread would end otherwise, and a working worker be taken for dead."""

    def poisoned() -> None:
        raise Poison("a round that nobody foresaw")

    monkeypatch.setattr("registry.services.workers.round_of_care", poisoned)
    care = Care(SimpleNamespace(worker_id="at work", task_since=None), task_seconds=600, silent_seconds=25)
    care._say(round_due=True)
    assert "a round that nobody foresaw" in caplog.text
    assert WorkerBeat.objects.filter(worker_id="at work").exists()
