"""Every action that a log can hold has its words, in every language."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from django.utils import translation

from registry.formats.deed_words import DECIDE, DEEDS, deed_words
from registry.models import Decision

ROOT = Path(__file__).parents[3]
WRITERS = {"record", "_record", "_outcome_record"}


def actions_written() -> set[str]:
    """From the calls themselves, so that a new one can't be forgotten."""
    found: set[str] = set()
    for path in (ROOT / "registry").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and _named(node, *WRITERS):
                given = [word.value for word in node.keywords if word.arg == "action"] or node.args
                found |= {action for each in given for action in _read(each)}
            elif isinstance(node, ast.Call) and _named(node, "decision_end"):
                found |= {f"decision_{a.attr.lower()}" for a in node.args if isinstance(a, ast.Attribute)}
    return found


def _named(call: ast.Call, *names: str) -> bool:
    return isinstance(call.func, ast.Name) and call.func.id in names


def _read(node: ast.expr) -> set[str]:
    if isinstance(node, ast.Constant):
        return {str(node.value)}
    if isinstance(node, ast.JoinedStr) and isinstance(node.values[0], ast.Constant):
        start = str(node.values[0].value)
        return {start + kind for kind in Decision.Kind.values} if start == DECIDE else set()
    return set()


def test_every_action_that_a_service_writes_has_words() -> None:
    written = actions_written()
    assert {"vehicle_add", "fleet_say", "outcome_send", "decision_undone", "decide_set_aside"} <= written
    assert written - {DECIDE + kind for kind in Decision.Kind.values} == set(DEEDS)


@pytest.mark.parametrize("language", ["en", "de", "es"])
def test_no_action_shows_its_code_in_any_language(language: str) -> None:
    with translation.override(language):
        words = {action: deed_words(action) for action in actions_written()}
    assert not [action for action, said in words.items() if "_" in said or said == action]
    assert len(set(words.values())) == len(words), "two deeds that read the same"
    if language != "en":
        with translation.override("en"):
            assert not [action for action, said in words.items() if said == deed_words(action)]


def test_contributor_s_yes_and_the_second_moderator_s_are_told_apart() -> None:
    assert "second moderator" in deed_words("decision_approve")
    assert "second moderator" not in deed_words("decision_agree")
