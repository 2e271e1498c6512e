"""Work after the answer: kept, done once, and its outcome there to be asked for."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import OperationalError
from django_tasks_db.models import DBTaskResult
from rest_framework.test import APIClient

from registry.models import Design, Sheet, User, Work
from registry.services import work as service
from registry.services.work import work_run, works_owed
from tests.api.made import made_token, made_user, sheet_body

CONTENT = "Switch,Gear,Pin 2\nshelf 3,P,0.4\nshelf 3,R,OL\n"


@pytest.fixture
def queued(monkeypatch: pytest.MonkeyPatch, settings: Any) -> None:
    settings.TASKS = {"default": {"BACKEND": "django_tasks.backends.dummy.DummyBackend"}}


def test_an_import_is_asked_for_done_and_told_of(bearer: APIClient, design: Design, queued: None) -> None:
    body = {"design": str(design.uuid), "content": CONTENT, "measured_it_myself": True}
    preview = bearer.post("/api/v1/imports/preview/", body).json()
    assert [column["role"] for column in preview["columns"]] == ["unit", "position", "pin:2"]
    answer = bearer.post("/api/v1/imports/", body)
    assert answer.status_code == 202 and answer.json()["state"] == "waiting"
    assert bearer.get(answer["Location"]).json() == answer.json()
    work_run(uuid=answer.json()["work"])
    work_run(uuid=answer.json()["work"])  # a task that came twice
    done = bearer.get(answer["Location"]).json()
    assert (done["state"], done["answer"]["readings_new"]) == ("done", 2) and Sheet.objects.count() == 1
    assert bearer.get("/api/v1/work/").json()["results"] == [done]
    assert Work.objects.get().asked is None


def test_a_retry_says_again_where_to_ask(bearer: APIClient, design: Design, queued: None) -> None:
    body = {"design": str(design.uuid), "content": CONTENT, "measured_it_myself": True}
    key = {"Idempotency-Key": "one"}
    first, again = (bearer.post("/api/v1/imports/", body, headers=key) for _ in range(2))
    assert first.status_code == again.status_code == 202 and Work.objects.count() == 1
    assert again["Location"] == first["Location"] and again["Cache-Control"] == first["Cache-Control"]


def test_what_is_refused_says_why_and_stores_nothing(bearer: APIClient, design: Design, queued: None) -> None:
    body = {"design": str(design.uuid), "content": CONTENT + "shelf 3,Q,OL\n", "measured_it_myself": True}
    work = bearer.post("/api/v1/imports/", body).json()["work"]
    work_run(uuid=work)
    refused = bearer.get(f"/api/v1/work/{work}/").json()
    assert refused["state"] == "refused" and refused["answer"]["errors"][0]["line"] == 4
    assert not Sheet.objects.exists()
    assert bearer.post("/api/v1/imports/", {"content": "", "design": "x"}).status_code == 400


def test_a_bulk_call_may_be_done_after_the_answer(bearer: APIClient, design: Design, queued: None) -> None:
    bodies = {"submissions": [sheet_body(design), 7]}
    prefer = {"Prefer": "respond-async"}
    answer = bearer.post("/api/v1/submissions/bulk/", bodies, headers=prefer)
    assert answer.status_code == 202 and answer["Preference-Applied"] == "respond-async"
    work_run(uuid=answer.json()["work"])
    told = bearer.get(answer["Location"]).json()["answer"]
    assert (told["stored"], told["refused"]) == (1, 1)
    assert told["results"][0]["submission"] and told["results"][1]["errors"]
    assert bearer.post("/api/v1/submissions/bulk/", {"submissions": []}, headers=prefer).status_code == 400


def test_a_worker_killed_in_the_middle_leaves_it_to_the_next(
    bearer: APIClient, design: Design, queued: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    body = {"design": str(design.uuid), "content": CONTENT, "measured_it_myself": True}
    work = bearer.post("/api/v1/imports/", body).json()["work"]
    with monkeypatch.context() as killed:
        killed.setattr(service, "_end", lambda *args: (_ for _ in ()).throw(KeyboardInterrupt))
        with pytest.raises(KeyboardInterrupt):
            work_run(uuid=work)
    assert not Sheet.objects.exists()
    work_run(uuid=work)
    assert Sheet.objects.count() == 1


def test_nobody_sees_another_s_work(bearer: APIClient, design: Design, reader: User, queued: None) -> None:
    work = Work.objects.create(user=reader, kind="import", asked={})
    other = APIClient()
    other.credentials(HTTP_AUTHORIZATION=made_token(made_user("other")))
    assert other.get(f"/api/v1/work/{work.uuid}/").status_code == 404
    assert other.get("/api/v1/work/").json()["results"] == []
    for _n in range(service.MOST_WAITING):
        Work.objects.create(user=reader, kind="bulk", asked={})
    body = {"content": "x", "design": str(design.uuid)}
    refused = bearer.post("/api/v1/imports/", body)
    assert (refused.status_code, refused["Retry-After"]) == (429, "60")


def asked(bearer: APIClient, design: Design) -> Work:
    body = {"design": str(design.uuid), "content": CONTENT, "measured_it_myself": True}
    return Work.objects.get(uuid=bearer.post("/api/v1/imports/", body).json()["work"])


def fails(error: Exception) -> Any:
    def act(**_more: Any) -> Any:
        raise error

    return act


@pytest.fixture
def durable(settings: Any) -> None:
    settings.TASKS_QUEUE = "database"
    settings.TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}


def test_the_task_of_work_comes_and_goes_with_it(
    bearer: APIClient, design: Design, durable: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A server that is killed right after the commit has queued what the sender was told of."""
    monkeypatch.setattr("django.db.transaction.on_commit", lambda *_args, **_more: None)
    work = asked(bearer, design)
    assert DBTaskResult.objects.get().args_kwargs["args"] == [str(work.uuid)]


def test_work_whose_task_was_lost_to_trouble_of_the_machine_is_queued_again(
    bearer: APIClient, design: Design, durable: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    work = asked(bearer, design)
    assert works_owed() == 0  # it is in the queue
    with monkeypatch.context() as trouble:
        trouble.setattr(service, "file_import", fails(OperationalError("deadlock detected")))
        with pytest.raises(OperationalError):
            work_run(uuid=str(work.uuid))
    ended(DBTaskResult.objects.get(), "w1")
    assert works_owed() == 1 and works_owed() == 0
    work_run(uuid=DBTaskResult.objects.ready().get().args_kwargs["args"][0])
    work.refresh_from_db()
    assert work.state == Work.State.DONE and Sheet.objects.count() == 1
    assert works_owed() == 0


def ended(task: DBTaskResult, *workers: str) -> None:
    task.worker_ids = list(workers)
    task.set_failed(RuntimeError("its workers died"))
    task.save()


def test_work_that_ends_its_workers_is_refused_at_last(
    bearer: APIClient, design: Design, durable: None
) -> None:
    work = asked(bearer, design)
    ended(DBTaskResult.objects.get(), "w1", "w2", "w3")
    works_owed()
    work.refresh_from_db()
    assert (work.state, work.asked) == (Work.State.REFUSED, None)
    assert work.answer is not None and work.answer["errors"][0]["code"] == "work_failed"
    assert works_owed() == 0


def test_a_fault_of_ours_is_told_and_not_waited_for(
    bearer: APIClient, design: Design, queued: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    work = asked(bearer, design)
    monkeypatch.setattr(service, "file_import", fails(ZeroDivisionError()))
    work_run(uuid=str(work.uuid))
    told = bearer.get(f"/api/v1/work/{work.uuid}/").json()
    assert (told["state"], told["answer"]["errors"][0]["code"]) == ("refused", "work_failed")
