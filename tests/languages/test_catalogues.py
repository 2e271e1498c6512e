"""Each language says all that there is to say: nothing missing, doubtful, left over or filled in wrongly."""

from __future__ import annotations

import gettext
import re
from typing import Any

import pytest

from tests.languages.catalogues import LANGUAGES, complete, po_path, read, template

AGAIN = "run `make messages`, then translate what is empty in the .po files, then run it again"
_PLACE = re.compile(r"%\(\w+\)[sd]|%%|\{[^{}]*\}")
_TAG = re.compile(r"</?\w+[^>]*>")


def said(catalog: Any) -> dict[tuple[str, Any], Any]:
    return {(m.context or "", m.id): m for m in catalog if m.id}


@pytest.mark.parametrize("language", LANGUAGES)
def test_catalogue_has_what_the_code_says_and_nothing_else(language: str) -> None:
    kept, wanted = said(read(language)), said(template())
    assert not wanted.keys() - kept.keys(), AGAIN
    assert not kept.keys() - wanted.keys(), AGAIN


@pytest.mark.parametrize("language", LANGUAGES)
def test_nothing_is_untranslated_or_doubtful(language: str) -> None:
    catalog = said(read(language))
    assert len(catalog) > 1000
    assert [key for key, message in catalog.items() if not complete(message.string)] == [], AGAIN
    assert [key for key, message in catalog.items() if message.fuzzy] == []


@pytest.mark.parametrize("language", LANGUAGES)
def test_plural_forms_are_all_there(language: str) -> None:
    catalog = read(language)
    for message in catalog:
        if isinstance(message.id, tuple):
            assert len(message.string) == catalog.num_plurals == 2, message.id


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_is_filled_in_is_the_same(language: str) -> None:
    """Placeholders, tags, and blanks at either end, form by form."""
    wrong = []
    for message in read(language):
        if not message.id or not complete(message.string):
            continue
        pairs: Any = [(message.id, message.string)]
        if isinstance(message.id, tuple):
            pairs = zip(message.id, message.string, strict=True)
        wrong += [(text, form) for text, form in pairs if _fills(text) != _fills(form)]
    assert wrong == []


def _fills(text: str) -> tuple[list[str], list[str], bool, bool]:
    places, tags = sorted(_PLACE.findall(text)), sorted(_TAG.findall(text))
    return places, tags, text.startswith(" "), text.endswith((" ", "\n"))


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_django_reads_is_what_people_edit(language: str) -> None:
    with po_path(language).with_suffix(".mo").open("rb") as file:
        compiled = gettext.GNUTranslations(file)
    for message in read(language):
        if not message.id or not complete(message.string):
            continue
        if isinstance(message.id, tuple):
            forms = tuple(compiled.ngettext(*message.id, n) for n in (1, 2))
            assert forms == tuple(message.string), AGAIN
        elif message.context:
            assert compiled.pgettext(message.context, message.id) == message.string, AGAIN
        else:
            assert compiled.gettext(message.id) == message.string, AGAIN
