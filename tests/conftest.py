"""What every test shares: what this machine lacks is skipped loudly, in CI never."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.machine import chromium_path, in_ci, left_out


def pytest_configure(config: pytest.Config) -> None:
    # Uploads and kept keys of the tests go where pytest's own files go, never into a demo's folder.
    from django.conf import settings

    settings.MEDIA_ROOT = Path(__file__).parents[1] / "var" / "test-uploads"


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    walks = [item for item in items if item.get_closest_marker("browser")]
    if not walks or chromium_path() is not None:
        return
    if in_ci():
        raise pytest.UsageError("The browser walks need chromium, and CI leaves nothing out.")
    for item in walks:
        item.add_marker(pytest.mark.skip(reason="no chromium on this machine"))


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    lines = left_out()
    if lines:
        terminalreporter.section("NOT TESTED OR FAILED BEFORE THIS RUN", sep="!", red=True, bold=True)
        for line in lines:
            terminalreporter.write_line(line)
