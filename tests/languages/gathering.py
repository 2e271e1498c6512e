"""Every sentence of the code that readers see, with what fills it in and where it stands.

Python by its syntax tree, templates by Django's own `templatize`: no program of the machine is needed.
Modules of the browser hold no words of their own; theirs come in `registry/pages/bench_words.py`.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from django.utils.translation.template import templatize

ROOT = Path(__file__).resolve().parent.parent.parent
PYTHON = ("registry", "api")
TEMPLATES = ("templates", "api/templates")
FIXTURES = ("fixtures_demo",)

SINGLE = {"_", "_t", "gettext", "gettext_lazy", "gettext_noop", "translate"}
PLURAL = {"ngettext", "ngettext_lazy"}
CONTEXT = {"pgettext", "pgettext_lazy"}
SOURCES = ("django.utils.translation", "registry.translation")
LAZY = {"gettext_lazy", "ngettext_lazy", "pgettext_lazy", "gettext_noop"}
_CALL = re.compile(
    r" (?P<word>gettext|ngettext|pgettext|npgettext|_)\("
    r"(?P<args>(?:u?(?:'(?:[^'\\]|\\.)*'|\"(?:[^\"\\]|\\.)*\")(?:\s*,\s*)?)+)"
)
_TEXT = re.compile(r"u?('(?:[^'\\]|\\.)*'|\"(?:[^\"\\]|\\.)*\")")


@dataclass(frozen=True)
class Sentence:
    """singular, plural ("" where there is none), context, and the first place that says it."""

    text: str
    plural: str
    context: str
    where: str


def gathered() -> list[Sentence]:
    """Each sentence once, in the order of files and lines."""
    found: dict[tuple[str, str], Sentence] = {}
    for sentence in _all():
        kept = found.get((sentence.context, sentence.text))
        if kept is None or (sentence.plural and not kept.plural):
            found[sentence.context, sentence.text] = sentence
    return list(found.values())


def _all() -> Iterator[Sentence]:
    for folder in TEMPLATES:
        for path in sorted((ROOT / folder).rglob("*")):
            if path.suffix in (".html", ".txt") and path.is_file():
                yield from of_template(path)
    for folder in PYTHON:
        for path in sorted((ROOT / folder).rglob("*.py")):
            if "migrations" not in path.parts:
                yield from of_python(path)


def of_template(path: Path) -> Iterator[Sentence]:
    where = str(path.relative_to(ROOT))
    for call in _CALL.finditer(templatize(path.read_text(), origin=str(path))):
        texts = [ast.literal_eval(text) for text in _TEXT.findall(call["args"])]
        context = texts.pop(0) if call["word"].startswith(("p", "np")) else ""
        plural = texts[1] if call["word"].startswith("n") else ""
        yield Sentence(texts[0], plural, context, where)


def of_python(path: Path) -> Iterator[Sentence]:
    tree = ast.parse(path.read_text())
    names = translators(tree)
    for node in ast.walk(tree):
        if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in names):
            continue
        known = names[node.func.id]
        wanted = 2 if known in PLURAL | CONTEXT else 1
        texts = [
            a.value for a in node.args[:wanted] if isinstance(a, ast.Constant) and isinstance(a.value, str)
        ]
        where = str(path.relative_to(ROOT))
        if len(texts) < wanted:
            if path.name != "translation.py":
                raise ValueError(f"{where}:{node.lineno}: only a text that stands there can be translated")
            continue
        if known in PLURAL:
            yield Sentence(texts[0], texts[1], "", where)
        elif known in CONTEXT:
            yield Sentence(texts[1], "", texts[0], where)
        else:
            yield Sentence(texts[0], "", "", where)


def translators(tree: ast.Module) -> dict[str, str]:
    """The names under which a module calls gettext, and which of its functions each is."""
    names = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module in (
            "django.utils.translation",
            "registry.translation",
        ):
            for name in node.names:
                if name.name in SINGLE | PLURAL | CONTEXT:
                    names[name.asname or name.name] = name.name
    return names
