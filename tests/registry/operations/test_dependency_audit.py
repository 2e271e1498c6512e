"""An audit that could not look does not pass."""

from __future__ import annotations

import json
from types import SimpleNamespace

import pytest

from tests import dependency_audit
from tests.dependency_audit import FINE, NOT_AUDITED, WEAK, main

Answer = list[tuple[str, list[str] | None]] | None
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
        (PROBE, [("a", []), ("b", None)], NOT_AUDITED),  # one that the index does not have
        (PROBE, [("a", []), ("benchquorum", None)], FINE),  # this project itself
    ],
)
def test_status(monkeypatch: pytest.MonkeyPatch, probe: Answer, installed: Answer, status: int) -> None:
    monkeypatch.setattr(dependency_audit, "found", lambda *a: probe if "--requirement" in a else installed)
    assert main() == status


def test_what_the_tool_passed_over_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    told = {"dependencies": [{"name": "a", "version": "1", "vulns": [{"id": "GHSA-3"}]},
                             {"name": "b", "skip_reason": "not in the index"}]}  # fmt: skip
    answer = SimpleNamespace(stdout=json.dumps(told), stderr="")
    monkeypatch.setattr(dependency_audit.subprocess, "run", lambda *a, **more: answer)
    assert dependency_audit.found() == [("a", ["GHSA-3"]), ("b", None)]
