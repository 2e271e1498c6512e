"""What every test shares: its own folder and database, and loud skips for what this machine lacks."""

from __future__ import annotations

import logging
import shutil
import tempfile
from pathlib import Path

import pytest
from django.conf import settings
from django.db import connection
from django.db.backends.base.operations import BaseDatabaseOperations

from registry.immutability import lifted
from tests.machine import chromium_path, in_ci, left_out


def pytest_configure(config: pytest.Config) -> None:
    """Uploads and static files of the tests go to a folder of their own, never into a demo's."""
    folder = Path(tempfile.mkdtemp(prefix="benchquorum-tests-"))
    config.add_cleanup(lambda: _remove(folder))
    settings.DATA_DIR = folder / "data"
    settings.MEDIA_ROOT = folder / "uploads"
    settings.STATIC_ROOT = folder / "static"
    settings.DATA_DIR.mkdir()
    settings.STATIC_ROOT.mkdir()
    # Limits and second factors are tested where they are the subject.
    settings.BENCHQUORUM_NEW_SHEETS = settings.BENCHQUORUM_SIGN_UPS = 0
    settings.BENCHQUORUM_MODERATOR_MFA = False
    _let_tests_empty_kept_tables()


def _let_tests_empty_kept_tables() -> None:
    """Only here: what is published can't be deleted, so the triggers stand aside while a test's rows go."""
    flush = BaseDatabaseOperations.execute_sql_flush

    def flush_kept(self: BaseDatabaseOperations, sql_list: list[str]) -> None:
        with lifted(self.connection):
            flush(self, sql_list)

    BaseDatabaseOperations.execute_sql_flush = flush_kept  # type: ignore[method-assign]


def _remove(folder: Path) -> None:
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(scope="session")
def django_db_modify_db_settings(
    django_db_modify_db_settings: None, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """SQLite's test database is a file: in memory, threads would share one cache and lock each other out."""
    if connection.vendor != "sqlite":
        return
    given = connection.settings_dict
    given["TEST"]["NAME"] = str(tmp_path_factory.mktemp("database") / "test.sqlite3")
    # Nothing here has to survive a power cut; every other pragma stays as in use.
    given["OPTIONS"]["init_command"] = given["OPTIONS"]["init_command"].replace("FULL", "OFF")


@pytest.fixture(scope="session", autouse=True)
def quiet_requests() -> None:
    """A line a request is for the machine room; a failed test is easier to read without."""
    logging.getLogger("registry.request").setLevel("WARNING")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    walks = [item for item in items if item.get_closest_marker("browser")]
    for item in walks:
        item.add_marker(
            pytest.mark.flaky(reruns=2, only_rerun=["TimeoutError", "Execution context was destroyed"])
        )
    if not walks or chromium_path() is not None:
        return
    if in_ci():
        raise pytest.UsageError("The browser walks need chromium, and CI leaves nothing out.")
    for item in walks:
        item.add_marker(pytest.mark.skip(reason="no chromium on this machine"))


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    lines = left_out()
    if lines:
        terminalreporter.section("NOT TESTED, OR FAILED BEFORE THIS RUN", sep="!", red=True, bold=True)
        for line in lines:
            terminalreporter.write_line(line)
