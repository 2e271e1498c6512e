"""An audit that could not look does not pass."""

from __future__ import annotations

import pytest

from tests import dependency_audit
from tests.dependency_audit import FINE, NOT_AUDITED, WEAK, main

Answer = list[tuple[str, list[str]]] | None
PROBE = [("jinja2", ["GHSA-1"])]


@pytest.mark.parametrize(
    ("probe", "installed", "status"),
    [
        (PROBE, [("a", []), ("b", [])], FINE),
        (PROBE, [("a", []), ("b", ["GHSA-2"])], WEAK),
        ([("jinja2", [])], [("a", [])], NOT_AUDITED),  # an index without data
        (None, [("a", [])], NOT_AUDITED),
        (PROBE, None, NOT_AUDITED),
        (PROBE, [], NOT_AUDITED),
    ],
)
def test_status(monkeypatch: pytest.MonkeyPatch, probe: Answer, installed: Answer, status: int) -> None:
    monkeypatch.setattr(dependency_audit, "found", lambda *a: probe if "--requirement" in a else installed)
    assert main() == status
