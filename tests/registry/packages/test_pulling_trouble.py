"""One address fails for ever, a feed is damaged or was restored: the rest is taken over all the same."""

from __future__ import annotations

import gzip
import io
import json
from email.message import Message
from typing import Any

import pytest

from registry.errors import RegistryError
from registry.models import Design, MirrorItem, MirrorSource
from registry.services.mirrors.fetching import Fetched, Fetcher
from registry.services.mirrors.following import pull
from tests.registry.packages.elsewhere import IDS, URL, Elsewhere, part, registry

pytestmark = pytest.mark.django_db
AT = f"api/v1/designs/{IDS[1]}/part/"
DECISION = "00000000-0000-4000-8000-0000000000d1"


def feed(there: Elsewhere, *lines: Any, number: int) -> None:
    page = {"results": list(lines), "more": False, "newest": number}
    there.answers["api/v1/changes/"] = json.dumps(page).encode()


def test_one_part_that_never_answers_does_not_stop_the_others() -> None:
    there = registry()
    there.silent_at.add(AT)
    pulled = pull(URL, fetcher=there)
    assert (pulled.taken, list(pulled.bad)) == (2, [IDS[1]])
    assert "HTTP 502" in pulled.bad[IDS[1]]
    assert MirrorSource.objects.get().since == 7
    there.silent_at.clear()
    assert (pull(URL, fetcher=there).taken, MirrorItem.objects.exclude(error="").count()) == (1, 0)


def test_a_registry_that_does_not_answer_at_all_is_given_up() -> None:
    there = registry()
    there.silent_at |= {AT, "api/v1/changes/"}
    with pytest.raises(RegistryError, match="does not answer"):
        pull(URL, fetcher=there)
    assert not MirrorItem.objects.exclude(error="").exists()


def test_an_id_that_is_none_is_reported_and_passed_over() -> None:
    there = registry()
    pull(URL, fetcher=there)
    there.answers[AT] = part("Its new name", IDS[1])
    feed(there, {"design": "not an id"}, {"design": IDS[1]}, number=9)
    pulled = pull(URL, fetcher=there)
    assert (pulled.taken, list(pulled.bad), pulled.up_to) == (1, ["not an id"], 9)


@pytest.mark.parametrize("answer", [b"<html>", b"[]", None])
def test_a_decision_that_can_not_be_read_may_be_about_any_design(answer: bytes | None) -> None:
    there = registry()
    pull(URL, fetcher=there)
    there.answers[AT] = part("Its new name", IDS[1])
    feed(there, {"design": None, "payload": {"decision": DECISION}}, number=9)
    path = f"api/v1/decisions/{DECISION}/"
    if answer is None:
        there.silent_at.add(path)
    else:
        there.answers[path] = answer
    pulled = pull(URL, fetcher=there)
    assert (pulled.taken, pulled.same, pulled.bad) == (1, 2, {})
    assert Design.objects.get(uuid=IDS[1]).name == "Its new name"


def test_a_body_that_does_not_unpack_is_asked_for_again_and_then_given_up(monkeypatch) -> None:
    fetcher = Fetcher("http://127.0.0.1:9/", private=True, sleep=lambda seconds: None)
    packed = bytearray(gzip.compress(b"{}" * 5000))
    packed[12:40] = b"\xff" * 28
    tried = []

    class Answer(io.BytesIO):
        status, headers = 200, Message()

    Answer.headers["Content-Encoding"] = "gzip"

    def opened(request: Any, timeout: float) -> Answer:
        tried.append(request.full_url)
        return Answer(bytes(packed))

    monkeypatch.setattr(fetcher._opener, "open", opened)
    with pytest.raises(RegistryError, match="does not answer"):
        fetcher.get("api/v1/changes/")
    assert len(tried) == 5


def test_a_feed_that_went_back_is_noticed_and_everything_asked_for_anew() -> None:
    there = registry()
    pull(URL, fetcher=there)
    there.answers[AT] = part("As it was before", IDS[1])
    feed(there, number=3)
    pulled = pull(URL, fetcher=there)
    assert (pulled.went_back, pulled.taken, pulled.same, pulled.up_to) == (True, 1, 2, 3)
    assert Design.objects.get(uuid=IDS[1]).name == "As it was before"
    assert not pull(URL, fetcher=there).went_back


def test_a_feed_that_never_stops_going_back_is_given_up(monkeypatch) -> None:
    there = registry()
    pull(URL, fetcher=there)
    whole, numbers = there.get, iter(range(6, 0, -1))

    def falling(path: str, *, etag: str = "") -> Fetched:
        if "changes" in path:
            feed(there, number=next(numbers))
        return whole(path, etag=etag)

    monkeypatch.setattr(there, "get", falling)
    with pytest.raises(RegistryError, match="went back"):
        pull(URL, fetcher=there)


def test_a_design_that_is_not_there_after_a_restore_is_reported() -> None:
    there = registry()
    pull(URL, fetcher=there)
    page = {"next": None, "results": [{"design": uuid} for uuid in IDS[:2]]}
    there.answers["api/v1/designs/"] = json.dumps(page).encode()
    del there.answers[f"api/v1/designs/{IDS[2]}/part/"]
    feed(there, number=3)
    pulled = pull(URL, fetcher=there)
    assert (pulled.went_back, pulled.same, list(pulled.bad)) == (True, 2, [IDS[2]])
