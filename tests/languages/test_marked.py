"""What readers see can be translated: it stands inside a call of gettext or a tag of a template."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.languages.gathering import LAZY, PYTHON, ROOT, TEMPLATES, translators

# the same in every language
NAMES = {"Benchquorum", "Enter", "CSV", "JSON", "XLSX", "API", "PDF", "QR", "UTC"}
SHOWN_CALLS = {"RegistryError", "PermissionDenied", "ValidationError", "APIException"}
SHOWN_METHODS = {"success", "warning", "info", "error", "add_error"}  # of messages and forms
SHOWN_ARGUMENTS = {"label", "help_text", "message", "advice", "empty_label"}
DESCRIBES_THE_API = {"filters.py", "serializers", "description"}  # a document for programmers, in English
_BLOCK = re.compile(r"{%\s*blocktrans(?:late)?\b.*?{%\s*endblocktrans(?:late)?\s*%}", re.S)
_CODE = re.compile(r"{#.*?#}|{%.*?%}|{{.*?}}", re.S)
_SILENT = re.compile(r"<(script|style|code|pre)\b.*?</\1>|<!--.*?-->", re.S)
_ATTRIBUTE = re.compile(r"\b(?:alt|title|placeholder|aria-label)=\"([^\"]*)\"")
_WORD = re.compile(r"[^\W\d_]{3,}")


def templates() -> list[Path]:
    found = [path for folder in TEMPLATES for path in (ROOT / folder).rglob("*.html")]
    assert len(found) > 50
    return sorted(found)


def modules() -> list[Path]:
    found = [path for folder in PYTHON for path in (ROOT / folder).rglob("*.py")]
    return sorted(path for path in found if not DESCRIBES_THE_API | {"migrations"} & set(path.parts))


@pytest.mark.parametrize("path", templates(), ids=lambda path: str(path.relative_to(ROOT)))
def test_no_word_of_a_template_stands_outside_a_tag(path: Path) -> None:
    text = _CODE.sub(" ", _BLOCK.sub(" ", path.read_text()))
    text = _SILENT.sub(" ", text)
    shown = [*_ATTRIBUTE.findall(text), re.sub(r"<[^>]*>", " ", text)]
    words = {word for part in shown for word in _WORD.findall(re.sub(r"&\w+;", " ", part))}
    assert words <= NAMES


def test_no_sentence_for_people_is_a_bare_text() -> None:
    wrong = []
    for path in modules():
        tree = ast.parse(path.read_text())
        for node in ast.walk(tree):
            if isinstance(node, ast.Call):
                wrong += [f"{path.relative_to(ROOT)}:{node.lineno} {text!r}" for text in _bare(node)]
    assert wrong == []


def _bare(call: ast.Call) -> Iterator[str]:
    name = getattr(call.func, "id", None) or getattr(call.func, "attr", "")
    shown = [k.value for k in call.keywords if k.arg in SHOWN_ARGUMENTS]
    if name in SHOWN_CALLS or (name in SHOWN_METHODS and _of_people(call.func)):
        shown += call.args
    for value in shown:
        text = value.value if isinstance(value, ast.Constant) else ""
        if isinstance(value, ast.JoinedStr):
            text = "".join(str(v.value) for v in value.values if isinstance(v, ast.Constant))
        if isinstance(text, str) and re.search(r"[^\W\d_]{2,} [^\W\d_]{2,}", text):
            yield text


def _of_people(function: ast.expr) -> bool:
    owner = function.value if isinstance(function, ast.Attribute) else None
    return getattr(owner, "id", "") in ("messages", "form")


def test_nothing_is_translated_once_and_for_all_when_a_module_is_loaded() -> None:
    """At a module's or a class's own level only the lazy forms follow the reader's language."""
    wrong = []
    for path in modules():
        tree = ast.parse(path.read_text())
        eager = {name for name, known in translators(tree).items() if known not in LAZY}
        for node in _outside_functions(tree):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") in eager:
                wrong.append(f"{path.relative_to(ROOT)}:{node.lineno}")
    assert wrong == []


def _outside_functions(node: ast.AST) -> Iterator[ast.AST]:
    for child in ast.iter_child_nodes(node):
        if isinstance(child, (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda)):
            continue
        yield child
        yield from _outside_functions(child)


def test_modules_of_the_browser_hold_no_words() -> None:
    """Theirs come from `bench_words`, in the reader's language."""
    wrong = []
    for path in sorted((ROOT / "registry" / "static" / "benchquorum").rglob("*.js")):
        if "vendor" in path.parts:
            continue
        code = re.sub(r"//[^\n]*", "", path.read_text())
        texts = re.findall(r"\"([^\"\n]*)\"|`([^`]*)`", code)
        wrong += [
            f"{path.name}: {a or b}" for a, b in texts if re.search(r"[A-Z][a-z]+ [a-z]+ [a-z]+", a or b)
        ]
    assert wrong == []
