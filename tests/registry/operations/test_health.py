"""What a proxy, a container engine and a monitor ask."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pytest
from django.db import OperationalError, connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.test import Client
from django.test.utils import CaptureQueriesContext

from registry.pages import health


@pytest.fixture
def without_database() -> Iterator[None]:
    gone = OperationalError("connection refused")
    with patch("django.db.backends.base.base.BaseDatabaseWrapper._cursor", side_effect=gone):
        yield


@pytest.mark.django_db
def test_ready_with_its_database(client: Client) -> None:
    answer = client.get("/health/ready")
    assert (answer.status_code, answer.json()) == (200, {"status": "ready"})


@pytest.mark.django_db
@pytest.mark.usefixtures("without_database")
def test_without_a_database_the_process_lives_and_is_not_ready(client: Client) -> None:
    assert client.get("/health/live").status_code == 200
    answer = client.get("/health/ready")
    assert (answer.status_code, answer.json()) == (503, {"status": "no database"})


@pytest.mark.django_db
def test_not_ready_before_its_last_migration(client: Client) -> None:
    newest = max(name for app, name in health.newest_migrations() if app == "registry")
    MigrationRecorder(connection).migration_qs.filter(app="registry", name=newest).delete()
    answer = client.get("/health/ready")
    assert (answer.status_code, answer.json()) == (503, {"status": "migrations missing"})


@pytest.mark.django_db
def test_ready_beside_migrations_of_a_newer_version(client: Client) -> None:
    MigrationRecorder(connection).record_applied("registry", "9999_of_the_next_version")
    assert client.get("/health/ready").status_code == 200


@pytest.mark.django_db
def test_being_ready_costs_one_query_and_no_reading_of_files(client: Client) -> None:
    client.get("/health/ready")
    with (
        patch.object(MigrationLoader, "build_graph", side_effect=AssertionError("the files were read again")),
        CaptureQueriesContext(connection) as asked,
    ):
        assert client.get("/health/ready").status_code == 200
    assert len(asked) == 1


@pytest.mark.django_db
def test_who_is_about_to_be_stopped_says_so_and_works_on(
    client: Client, settings: Any, tmp_path: Path
) -> None:
    leaving = tmp_path / "leaving"
    settings.BENCHQUORUM_LEAVING = str(leaving)
    assert client.get("/health/ready").status_code == 200
    leaving.touch()
    answer = client.get("/health/ready")
    assert (answer.status_code, answer.json()) == (503, {"status": "leaving"})
    assert client.get("/health/live").status_code == 200
    assert client.get("/").status_code == 200


@pytest.mark.django_db
@pytest.mark.parametrize("address", ["/health/live", "/health/ready", "/metrics"])
def test_behind_tls_they_answer_on_this_machine_and_are_not_sent_elsewhere(
    client: Client, settings: Any, address: str
) -> None:
    settings.SECURE_SSL_REDIRECT = True
    settings.ALLOWED_HOSTS = ["registry.example", "127.0.0.1"]  # as in the samples of deploy/
    assert client.get(address, headers={"Host": "127.0.0.1:8000"}).status_code == 200
    elsewhere = client.get("/designs/", headers={"Host": "registry.example"})
    assert (elsewhere.status_code, elsewhere["Location"]) == (301, "https://registry.example/designs/")
