"""Snapshots by the queue: a worker learns, designs are marked with it, and all workers compute."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django_tasks_db.models import DBTaskResult

from registry.commands.main import main
from registry.models import Design, ReliabilitySnapshot, User
from registry.services import charts, snapshot_queue
from registry.services.charts import chart_refresh
from registry.services.snapshot_queue import snapshot_apply
from registry.services.workers import round_of_care
from registry.tasks import learn_snapshot, refresh_chart
from tests.registry.moderation.made import account, made_design, made_sheet, readers

pytestmark = pytest.mark.django_db


@pytest.fixture
def designs() -> list[Design]:
    """Two with sheets, whose charts are there, and one without."""
    people: list[User] = readers(4)
    made = [made_design(people[0], name) for name in ("Ferry 12", "Ferry 13", "Ferry 14")]
    for design in made[:2]:
        for person in people:
            made_sheet(person, design)
        chart_refresh(design_id=design.pk)
    return made


@pytest.fixture
def queue(designs: list[Design], settings: Any) -> Iterator[None]:
    settings.TASKS_QUEUE = "database"
    settings.TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}
    yield


def ready(task: Any) -> list[Any]:
    rows = DBTaskResult.objects.ready().filter(task_path=task.module_path)
    return [row.args_kwargs["args"] for row in rows]


def work() -> None:
    for row in DBTaskResult.objects.ready():
        row.claim("worker")
        row.set_successful(row.task.call(*row.args_kwargs["args"]))


def test_the_command_only_asks_and_once(queue: None, capsys: pytest.CaptureFixture[str]) -> None:
    for _ in range(2):
        assert main(["recompute", "--snapshot"]) == 0
    assert "Queued" in capsys.readouterr().out
    assert ready(learn_snapshot) == [[]] and ready(refresh_chart) == []
    assert not ReliabilitySnapshot.objects.filter(number__gt=0).exists()


def test_learning_owes_each_design_with_sheets_a_chart_and_workers_make_it(
    queue: None, designs: list[Design], monkeypatch: pytest.MonkeyPatch
) -> None:
    refreshed, made = charts._refreshed, set()

    def noted(design: Design, snapshot: ReliabilitySnapshot) -> Any:
        made.add((design, snapshot.number))
        return refreshed(design, snapshot)

    monkeypatch.setattr(charts, "_refreshed", noted)
    main(["recompute", "--snapshot"])
    work()
    assert set(Design.objects.filter(stale=True)) == set(designs[:2])
    assert sorted(ready(refresh_chart)) == sorted([design.pk] for design in designs[:2])
    assert {row.priority for row in DBTaskResult.objects.ready()} == {snapshot_queue.LATER}
    round_of_care()
    assert len(ready(refresh_chart)) == 2, "they are queued already"
    assert made == set()
    work()
    assert made == {(design, 1) for design in designs[:2]}
    assert not Design.objects.filter(stale=True).exists()


def test_charts_come_out_as_without_a_queue(designs: list[Design], settings: Any) -> None:
    settings.TASKS_QUEUE = "database"
    settings.TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}
    main(["recompute", "--snapshot"])
    work(), work()
    settings.TASKS_QUEUE = "immediate"
    settings.TASKS = {"default": {"BACKEND": "django_tasks.backends.immediate.ImmediateBackend"}}
    before = [revision.digest for design in designs for revision in design.revisions.order_by("number")]
    assert main(["recompute", "--snapshot"]) == 0
    assert before == [
        revision.digest for design in designs for revision in design.revisions.order_by("number")
    ]


def test_nothing_new_learned_owes_nobody_anything(queue: None) -> None:
    assert snapshot_apply() == 2
    assert snapshot_apply() == 0


def test_a_design_that_waits_already_is_not_queued_twice(queue: None, designs: list[Design]) -> None:
    made_sheet(account("late"), designs[0])
    assert ready(refresh_chart) == [[designs[0].pk]]
    snapshot_apply()
    assert sorted(ready(refresh_chart)) == sorted([design.pk] for design in designs[:2])


def test_a_sheet_that_comes_after_it_goes_before_all_others(queue: None, designs: list[Design]) -> None:
    snapshot_apply()
    made_sheet(account("late"), designs[1])
    first = DBTaskResult.objects.ready().filter(task_path=refresh_chart.module_path).order_by("-priority")
    assert [(row.args_kwargs["args"], row.priority) for row in first] == [
        ([designs[1].pk], 0),
        ([designs[0].pk], snapshot_queue.LATER),
    ]


def test_a_snapshot_is_never_in_force_without_its_marks(queue: None, monkeypatch: pytest.MonkeyPatch) -> None:
    def killed(_designs: Any) -> None:
        raise ZeroDivisionError

    numbers = list(ReliabilitySnapshot.objects.values_list("number", flat=True))
    with monkeypatch.context() as bad:
        bad.setattr(snapshot_queue, "mark_stale", killed)
        with pytest.raises(ZeroDivisionError):
            snapshot_apply()
    assert list(ReliabilitySnapshot.objects.values_list("number", flat=True)) == numbers
    assert snapshot_apply() == 2


def test_without_a_queue_one_bad_design_keeps_no_other_back(
    designs: list[Design], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    refreshed, done = charts._refreshed, []

    def sometimes(design: Design, snapshot: Any) -> Any:
        if design == designs[0]:
            raise ZeroDivisionError
        done.append(design)
        return refreshed(design, snapshot)

    monkeypatch.setattr(charts, "_refreshed", sometimes)
    assert main(["recompute", "--snapshot"]) == 1
    assert done == [designs[1]]
    printed = capsys.readouterr()
    assert printed.out.startswith("1 designs computed") and "1 designs failed" in printed.err
