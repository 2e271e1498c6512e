"""A server process that hears of every change knows which charts are current without asking."""

from __future__ import annotations

import time
import uuid
from collections.abc import Callable, Iterator
from datetime import UTC, datetime

import pytest
from django.db import connection, transaction

from api.chart_bytes import current
from registry.models import CurrentChart, Design
from registry.selectors.api_charts import CurrentHead, RevisionHead, current_head
from registry.selectors.chart_watch import ChartWatch
from registry.services.refreshes import refresh_owed
from tests.registry.moderation.made import made_design, made_sheet, readers

DESIGN, OTHER = uuid.UUID(int=1), uuid.UUID(int=2)
HEAD = RevisionHead(5, 1, "digest", "sha256", "published", datetime.now(UTC), None, "")


@pytest.fixture
def watch() -> ChartWatch:
    made = ChartWatch()
    made._sound_until = float("inf")
    return made


def test_a_chart_is_known_until_a_notice_names_its_design(watch: ChartWatch) -> None:
    watch.keep(DESIGN, CurrentHead(HEAD, 11), watch.heard)
    watch.keep(OTHER, CurrentHead(HEAD, 12), watch.heard)
    watch.hear("11")
    assert watch.known(DESIGN) is None
    assert watch.known(OTHER) == HEAD
    watch.hear("")
    assert watch.known(OTHER) is None


def test_what_was_read_before_a_notice_is_not_kept_after_it(watch: ChartWatch) -> None:
    before = watch.heard
    watch.hear("99")
    watch.keep(DESIGN, CurrentHead(HEAD, 11), before)
    assert watch.known(DESIGN) is None


def test_nothing_is_known_where_the_line_is_not_proven_sound(watch: ChartWatch) -> None:
    watch.keep(DESIGN, CurrentHead(HEAD, 11), watch.heard)
    watch._sound_until = 0.0
    assert watch.known(DESIGN) is None
    watch.keep(OTHER, CurrentHead(HEAD, 12), watch.heard)
    watch._sound_until = float("inf")
    assert watch.known(OTHER) is None


def test_no_more_is_known_than_has_room() -> None:
    watch = ChartWatch(most=3)
    watch._sound_until = float("inf")
    for row in range(10):
        watch.keep(uuid.UUID(int=row + 1), CurrentHead(HEAD, row), watch.heard)
    assert sum(watch.known(uuid.UUID(int=row + 1)) is not None for row in range(10)) == 3


@pytest.fixture
def design(settings: object) -> Design:
    people = readers(2)
    design = made_design(people[0])
    for person in people:
        made_sheet(person, design)
    refresh_owed()
    return design


@pytest.mark.django_db
def test_the_plain_query_says_what_the_orm_says(design: Design) -> None:
    found = current_head(design.uuid)
    assert found is not None
    revision = CurrentChart.objects.select_related("revision").get(design=design).revision
    assert found.head == RevisionHead(*(getattr(revision, name) for name in RevisionHead._fields))
    assert found.design_row == design.pk
    assert current_head(uuid.uuid4()) is None


@pytest.fixture
def listening(monkeypatch: pytest.MonkeyPatch) -> Iterator[ChartWatch]:
    made = ChartWatch()
    monkeypatch.setattr("api.chart_bytes.watch", made)
    made.start()
    _until(lambda: made._sound_until > 0)
    yield made
    made.stop()


def test_what_was_asked_before_the_line_was_up_is_not_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    """A change between the question and LISTEN is told to nobody."""
    made = ChartWatch()
    asked_at: list[int] = []

    class Line:
        def __enter__(self) -> Line:
            return self

        def __exit__(self, *error: object) -> None: ...

        def execute(self, statement: str) -> Line:
            asked_at.append(made.heard)
            made._stopped.set()
            return self

    monkeypatch.setattr("registry.selectors.chart_watch.own_line", Line)
    monkeypatch.setattr("registry.selectors.chart_watch.kept_for_us", lambda _line: True)
    made._listen()
    assert made.heard > asked_at[0]


def _until(holds: Callable[[], bool]) -> None:
    last = time.monotonic() + 10
    while not holds():
        assert time.monotonic() < last
        time.sleep(0.005)


@pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite gives no notices")
@pytest.mark.django_db(transaction=True)
def test_a_change_is_heard_when_it_is_committed(design: Design, listening: ChartWatch) -> None:
    first = current(design.uuid)
    assert first is not None
    assert listening.known(design.uuid) is not None
    with transaction.atomic():
        CurrentChart.objects.filter(design=design).delete()
        time.sleep(0.1)
        assert listening.known(design.uuid) is not None  # nobody else sees it yet
    _until(lambda: listening.known(design.uuid) is None)
    assert current(design.uuid) is None
