"""Several callers at once: one key is one deed, and pages neither repeat nor lose what was there."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier, Event, Thread
from typing import Any

import pytest
from django.db import connection, connections
from rest_framework.test import APIClient

from api import idempotency
from api.models import KeptAnswer
from registry.models import Change, Design, Meter, Sheet, Unit, User
from registry.services.sheets import sheet_submit, sheet_withdraw
from tests.api.made import design_body, made_design, made_token, made_user, sheet_body

DESIGNS, SHEETS = "/api/v1/designs/", "/api/v1/submissions/"
AT_ONCE = 4


def together(acts: list[Callable[[], Any]]) -> list[Any]:
    """What each gave, begun at one moment in a thread and a connection of its own."""
    ready = Barrier(len(acts))

    def run(act: Callable[[], Any]) -> Any:
        try:
            ready.wait()
            return act()
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(acts)) as pool:
        return list(pool.map(run, acts))


def client_of(user: User) -> APIClient:
    client = APIClient(raise_request_exception=False)
    client.credentials(HTTP_AUTHORIZATION=made_token(user))
    return client


def proposing(user: User, name: str, key: str) -> Callable[[], Any]:
    client = client_of(user)
    return lambda: client.post(DESIGNS, design_body(name), headers={"Idempotency-Key": key})


@pytest.mark.django_db(transaction=True)
def test_one_key_sent_at_once_is_one_deed_and_one_answer() -> None:
    user = made_user()
    answers = together([proposing(user, "Sweeper", "k") for _ in range(AT_ONCE)])
    assert sorted(answer.status_code for answer in answers) == [200] * (AT_ONCE - 1) + [201]
    assert len({answer.content for answer in answers}) == 1
    assert (Design.objects.count(), KeptAnswer.objects.count()) == (1, 1)


@pytest.mark.django_db(transaction=True)
def test_one_key_with_two_bodies_at_once_does_one_and_refuses_the_other() -> None:
    user = made_user()
    answers = together([proposing(user, name, "k") for name in ("Sweeper", "Rake")])
    assert sorted(answer.status_code for answer in answers) == [201, 422]
    refused = next(answer for answer in answers if answer.status_code == 422)
    assert refused.json()["code"] == "idempotency_key_used"
    assert Design.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_one_key_of_two_accounts_is_two_deeds() -> None:
    answers = together([proposing(made_user(name), name, "k") for name in ("a", "b")])
    assert [answer.status_code for answer in answers] == [201, 201]


@pytest.mark.django_db(transaction=True)
def test_several_sheets_of_one_new_unit_at_once_are_all_stored() -> None:
    """The first one makes the unit and the meter; the others find them, and none is refused."""
    user = made_user()
    design, client = made_design(user), client_of(user)
    more = {"unit": {"key": "shelf 3"}, "meter": {"name": "bench", "lead_ohm": "0.2"}}
    bodies = [sheet_body(design, **more) for _ in range(AT_ONCE)]
    answers = together([lambda body=body: client.post(SHEETS, body) for body in bodies])
    assert [answer.status_code for answer in answers] == [201] * AT_ONCE, answers[0].content
    assert len({answer.json()["unit"] for answer in answers}) == 1
    assert (Sheet.objects.count(), Unit.objects.count(), Meter.objects.count()) == (AT_ONCE, 1, 1)
    changes = Change.objects.filter(kind=Change.Kind.SHEET_ADDED).values_list("number", flat=True)
    assert None not in changes and len(set(changes)) == AT_ONCE


@pytest.mark.django_db(transaction=True)
def test_one_sheet_under_different_keys_at_once_is_stored_once() -> None:
    """Each caller's retry made a key of its own; the sheet's `client_id` still tells that it is one."""
    user = made_user()
    body = sheet_body(made_design(user))
    clients = [client_of(user) for _ in range(AT_ONCE)]
    answers = together(
        [
            lambda c=client, n=n: c.post(SHEETS, body, headers={"Idempotency-Key": f"k{n}"})  # type: ignore[misc]
            for n, client in enumerate(clients)
        ]
    )
    assert sorted(answer.status_code for answer in answers) == [200] * (AT_ONCE - 1) + [201]
    assert Sheet.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_a_key_whose_deed_failed_halfway_was_never_used(monkeypatch: pytest.MonkeyPatch) -> None:
    """The deed is done, the answer can't be kept: both are undone, and the key serves for the next try."""
    user = made_user()
    send = proposing(user, "Sweeper", "k")

    class Broken:
        def render(self, data: Any) -> bytes:
            raise RuntimeError("no room")

    with monkeypatch.context() as broken:
        broken.setattr(idempotency, "JSONRenderer", Broken)
        assert send().status_code == 500
    assert (Design.objects.count(), KeptAnswer.objects.count()) == (0, 0)
    assert send().status_code == 201
    refused = proposing(user, "", "other")
    assert refused().status_code == 400
    assert proposing(user, "Rake", "other")().status_code == 201  # put right, under the same key


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite's one writer leaves no room for others")
@pytest.mark.parametrize(("address", "name"), [(SHEETS, "submission"), (DESIGNS, "design")])
def test_pages_read_while_others_write_show_each_row_that_was_there_once(address: str, name: str) -> None:
    """Newest first (sheets) and oldest first (designs); two write all the while, one takes sheets back."""
    user = made_user()
    designs = [made_design(user, f"Design {n}") for n in range(20)]
    sheets = [sheet_submit(by=user, body=_another(designs[0])) for _ in range(20)]
    before = {str(row.uuid) for row in (sheets if address == SHEETS else designs)}
    done, written = Event(), []

    def write() -> None:
        try:
            while not done.is_set():
                sheet = sheet_submit(by=user, body=_another(designs[0]))
                sheet_withdraw(by=user, sheet=sheet, reason="a test's")
                written.append(made_design(user, f"Latecomer {uuid.uuid4()}"))
        finally:
            connections.close_all()

    threads = [Thread(target=write) for _ in range(2)]
    for thread in threads:
        thread.start()
    try:
        seen = _walked(client_of(user), f"{address}?page_size=3", name, pages=60)
    finally:
        done.set()
        for thread in threads:
            thread.join()
    assert len(seen) == len(set(seen))
    assert before <= set(seen)
    assert written


def _another(design: Design) -> dict[str, Any]:
    own = str(uuid.uuid4())
    return sheet_body(design, client_id=own, unit={"key": own})


def _walked(client: APIClient, address: str | None, name: str, *, pages: int) -> list[str]:
    """Ids on the pages in their order, at most so many: the list may grow faster than anybody reads."""
    seen: list[str] = []
    while address and pages:
        page = client.get(address).json()
        seen += [line[name] for line in page["results"]]
        address, pages = page["next"], pages - 1
    return seen
