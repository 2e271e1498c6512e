"""The Python client: typed answers, a chart fetched once, sheets sent once, faults as an exception."""

from __future__ import annotations

import io
import urllib.error
import urllib.request
from email.message import Message
from pathlib import Path
from typing import Any

import pytest

from api.client import Registry, RegistryProblem, Submitted, sheets_from_csv
from api.client.example import main
from registry.models import Design, Sheet
from registry.services.charts import chart_refresh
from registry.services.sheets import sheet_submit
from tests.api.made import made_design, made_token, made_user, sheet_body


@pytest.fixture
def there(transactional_db: None, live_server: Any) -> tuple[Registry, Design]:
    user = made_user("client")
    design = made_design(user)
    for n, name in enumerate("abc"):
        sheet_submit(by=made_user(name), body=sheet_body(design, unit={"key": str(n)}))
    chart_refresh(design_id=design.pk)
    return Registry(live_server.url, made_token(user).removeprefix("Token ")), design


def test_designs_come_from_all_pages(there: tuple[Registry, Design]) -> None:
    registry, design = there
    found = list(registry.designs(pins=5, page_size=1))
    assert [line.design for line in found] == [str(design.uuid)]
    assert found[0].pins == ("1", "2", "3", "4", "5") and found[0].common == "1"


def test_an_unchanged_chart_is_fetched_once(
    there: tuple[Registry, Design], monkeypatch: pytest.MonkeyPatch
) -> None:
    registry, design = there
    first = registry.chart(str(design.uuid))
    asked = []
    once = Registry._once
    monkeypatch.setattr(Registry, "_once", lambda self, r: asked.append(a := once(self, r)) or a)
    assert registry.chart(str(design.uuid)) is first
    assert [answer.status for answer in asked] == [304]
    cell = next(c for c in first.cells if (c.position, c.pin) == ("R", "3"))
    assert (cell.state, cell.units, cell.agreeing) == ("closed", 3, 3)
    assert registry.revision(str(design.uuid), first.revision) == first


def test_a_sheet_is_checked_and_sent_once(there: tuple[Registry, Design]) -> None:
    registry, design = there
    body = sheet_body(design)
    result = registry.check(body)
    assert result.verdict in ("good", "undecided") and 0 < result.p_good <= 1
    first, again = registry.submit(body), registry.submit(body)
    assert not first.known and again.known and first.submission == again.submission
    assert Sheet.objects.count() == 4


def test_what_is_refused_is_an_exception_with_every_fault(there: tuple[Registry, Design]) -> None:
    registry, design = there
    body = sheet_body(design)
    body["readings"][0]["reading"] = "1k2k"
    body["readings"][1]["pin"] = "9"
    with pytest.raises(RegistryProblem) as caught:
        registry.submit(body)
    assert caught.value.status == 400
    assert {fault.pointer for fault in caught.value.faults} == {"/readings/0/reading", "/readings/1/pin"}
    found = registry.submit_many([body, sheet_body(design)])
    assert isinstance(found[0], RegistryProblem) and isinstance(found[1], Submitted)


def test_the_example_reads_checks_and_sends(
    there: tuple[Registry, Design],
    live_server: Any,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    registry, _design = there
    file = tmp_path / "readings.csv"
    file.write_text(
        "design;submission;unit;position;pin;against;reading\n"
        "Sweeper selector;s-1;9;P;2;1;0,4\n"
        "Sweeper selector;s-1;9;P;3;1;OL\n"
        "Sweeper selector;s-2;10;P;2;1;1k2k\n"
    )
    monkeypatch.setenv("BENCHQUORUM_TOKEN", str(registry._token))
    assert main([live_server.url, str(file)]) == 1
    said = capsys.readouterr()
    assert "s-1: " in said.out and "1k2k" in said.err
    assert not Sheet.objects.filter(name="s-1").exists()
    for word in ("sent", "known"):
        main([live_server.url, str(file), "--send"])
        assert f"  {word}: " in capsys.readouterr().out
    assert Sheet.objects.filter(name="s-1").count() == 1


def test_a_file_without_a_column_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "x.csv"
    file.write_text("design,unit\na,b\n")
    with pytest.raises(ValueError, match="submission"):
        list(sheets_from_csv(file))


@pytest.mark.parametrize(("said", "tries"), [("1", 2), ("4000", 1)])
def test_it_waits_as_long_as_it_is_asked_to_within_reason(
    monkeypatch: pytest.MonkeyPatch, said: str, tries: int
) -> None:
    waited: list[float] = []
    answers: list[Any] = []

    def throttled(request: urllib.request.Request, timeout: float) -> Any:
        answers.append(request)
        if len(answers) > 1:
            return _Body(b'{"results": [], "next": null}')
        headers = Message()
        headers["Retry-After"] = said
        raise urllib.error.HTTPError(request.full_url, 429, "Too Many", headers, io.BytesIO(b"{}"))

    monkeypatch.setattr("urllib.request.urlopen", throttled)
    monkeypatch.setattr("time.sleep", waited.append)
    registry = Registry("https://registry.example")
    if tries == 1:
        with pytest.raises(RegistryProblem):
            list(registry.designs())
    else:
        assert list(registry.designs()) == [] and waited == [1.0]
    assert len(answers) == tries


class _Body(io.BytesIO):
    status, headers = 200, Message()


def test_it_follows_no_address_of_another_site(monkeypatch: pytest.MonkeyPatch) -> None:
    page = b'{"results": [], "next": "https://evil.example/api/v1/designs/"}'
    monkeypatch.setattr("urllib.request.urlopen", lambda request, timeout: _Body(page))
    with pytest.raises(ValueError, match="not its own"):
        list(Registry("https://registry.example", "bq_x").designs())
    with pytest.raises(ValueError, match="https"):
        Registry("file:///etc/passwd")


@pytest.mark.parametrize(
    ("content", "said"),
    [(None, "No such file"), ("design;unit\na;b\n", "no column"), ("", "no column")],
)
def test_the_example_says_in_words_what_is_wrong_with_a_file(
    content: str | None, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "readings.csv"
    if content is not None:
        file.write_text(content)
    assert main(["http://127.0.0.1:9", str(file)]) == 2
    assert said in capsys.readouterr().err


def test_nobody_who_answers_is_said_in_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("time.sleep", lambda seconds: None)
    file = tmp_path / "readings.csv"
    file.write_text("design,submission,unit,position,pin,against,reading\nX,1,a,P,2,1,0.4\n")
    assert main(["http://127.0.0.1:9", str(file)]) == 2
    assert "127.0.0.1:9/api/v1/ does not answer" in capsys.readouterr().err
