"""Each finding, cause, verdict, standing and setting has its words; no word is about what is gone."""

from __future__ import annotations

import re
from dataclasses import fields

import pytest

from consensus.settings import Settings
from registry.commands.main import COMMANDS
from registry.formats.documents import schema
from registry.formats.sentences import _FINDINGS
from tests.docs.documents import ROOT, paragraphs, text_of

STANDINGS = {"agreed", "provisional", "disputed", "thin", "unread"}
WORDS = paragraphs("registry/formats/README.md")
DOCUMENTS = (
    "README.md",
    "DEVELOPERS.md",
    "CHANGELOG.md",
    "registry/formats/README.md",
    "api/README.md",
    "consensus/README.md",
    "deploy/RUNBOOK.md",
    "deploy/ASVS.md",
)


def enumerated(name: str, field: str) -> set[str]:
    """The choices of a field, wherever the output's own schema names them."""
    whole = schema(name)
    found: set[str] = set()

    def walk(part: object) -> None:
        if isinstance(part, dict):
            given = part.get("properties", {})
            choices = given.get(field, {}) if isinstance(given, dict) else {}
            if "$ref" in choices:
                choices = whole["$defs"][choices["$ref"].rsplit("/", 1)[1]]
            found.update(word for word in choices.get("enum", []) if word is not None)
            for value in part.values():
                walk(value)
        elif isinstance(part, list):
            for value in part:
                walk(value)

    walk(whole)
    assert found, f"the schema {name} enumerates no {field}"
    return found


@pytest.mark.parametrize(
    ("document", "field"),
    [
        ("agreed", "finding"),
        ("agreed", "standing"),
        ("agreed", "state"),
        ("check", "cause"),
        ("check", "verdict"),
    ],
)
def test_every_word_of_an_output_has_its_paragraph(document: str, field: str) -> None:
    missing = {word for word in enumerated(document, field) if len(WORDS.get(word, "")) < 40}
    assert not missing


def test_schema_and_sentences_know_the_same_findings() -> None:
    assert enumerated("agreed", "finding") == set(_FINDINGS)
    assert enumerated("agreed", "standing") == STANDINGS


def test_no_paragraph_is_about_a_word_that_is_gone() -> None:
    known = set(_FINDINGS) | STANDINGS | {"open", "closed", "resistive"}
    assert set(WORDS) <= known | enumerated("check", "cause") | enumerated("check", "verdict")


def test_every_setting_of_the_registry_is_in_the_readme() -> None:
    own = (ROOT / "registry" / name for name in ("settings.py", "secret_key.py"))
    sources = [*own, *(ROOT / "registry" / "commands").glob("*.py")]
    read = {name for path in sources for name in re.findall(r"\"(BENCHQUORUM_[A-Z_]+)\"", path.read_text())}
    told = set(re.findall(r"^\| `(BENCHQUORUM_[A-Z_]+)`", text_of("README.md"), re.MULTILINE))
    assert read == told


def test_every_setting_of_the_engine_is_in_the_guide() -> None:
    table = text_of("DEVELOPERS.md").split("## Settings of the engine")[1]
    told = {
        name
        for row in table.splitlines()
        if row.startswith("| `")
        for name in re.findall(r"`(\w+)`", row.split("|")[1])
    }
    assert told == {field.name for field in fields(Settings)}


def test_every_command_is_in_the_readme() -> None:
    assert [name for name in COMMANDS if f"benchquorum {name}" not in text_of("README.md")] == []


def test_links_between_documents_lead_somewhere() -> None:
    for name in DOCUMENTS:
        folder = (ROOT / name).parent
        for target in re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", text_of(name)):
            assert (folder / target).exists(), f"{name}: {target}"


def test_files_that_documents_name_are_there() -> None:
    """By their path from here, from `registry/` or from `deploy/`."""
    for name in DOCUMENTS:
        for path in re.findall(r"`([\w*-][\w./*-]*/[\w.*-]+\.(?:py|sql|toml|md))`", text_of(name)):
            there = (list((ROOT / start).glob(path)) for start in ("", "registry", "deploy"))
            assert any(there), f"{name}: {path}"
