"""The catalogues: `.po` beside the code, for people; `.mo` beside it, for Django.

Both are in the repository: `make demo` relies on Python, make and wheels alone, and Babel, which makes the
one from the other, is a tool of the tests.  A test holds that they say the same.
"""

from __future__ import annotations

import io
from datetime import UTC, datetime
from pathlib import Path

from babel.messages import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

from tests.languages.gathering import ROOT, gathered

LANGUAGES = ("de", "es")
DAY = datetime(2026, 11, 1, tzinfo=UTC)  # a file that says nothing new stays the same to the byte
DOMAIN = "django"


def po_path(language: str) -> Path:
    return ROOT / "registry" / "locale" / language / "LC_MESSAGES" / f"{DOMAIN}.po"


def read(language: str) -> Catalog:
    path = po_path(language)
    if not path.exists():
        return Catalog(locale=language, domain=DOMAIN)
    with path.open("rb") as file:
        return read_po(file, locale=language, domain=DOMAIN, abort_invalid=True)


def template() -> Catalog:
    """What there is to translate, without translations."""
    catalog = Catalog(domain=DOMAIN, project="Benchquorum", charset="utf-8")
    for sentence in gathered():
        flags = []
        if "%(" in sentence.text + sentence.plural:
            flags.append("python-format")
        catalog.add(
            (sentence.text, sentence.plural) if sentence.plural else sentence.text,
            locations=[(sentence.where, None)],  # type: ignore[list-item]  # no line: it would change daily
            flags=flags,
            context=sentence.context or None,
        )
    return catalog


def renewed(language: str) -> Catalog:
    """The kept translations of what is said today; what is new is empty, what is gone is dropped."""
    kept, new = read(language), Catalog(locale=language, domain=DOMAIN, project="Benchquorum", fuzzy=False)
    new.header_comment = "# Benchquorum.  Made by `make messages`; translations are edited here."
    new.creation_date = new.revision_date = DAY
    new.last_translator, new.language_team, new.msgid_bugs_address = "Benchquorum", language, ""
    for message in template():
        if not message.id:
            continue
        old = kept.get(message.id if isinstance(message.id, str) else message.id[0], context=message.context)
        plural = not isinstance(message.id, str)
        string: object = ("", "") if plural else ""
        if old is not None and plural == isinstance(old.string, (list, tuple)):
            string = old.string
        flags = {flag for flag in message.flags if flag != "python-brace-format"}
        new.add(message.id, string, message.locations, flags, context=message.context)  # type: ignore[arg-type]
    return new


def po_bytes(catalog: Catalog) -> bytes:
    out = io.BytesIO()
    write_po(out, catalog, width=110, include_lineno=False, omit_header=False)
    return out.getvalue()


def mo_bytes(catalog: Catalog) -> bytes:
    out = io.BytesIO()
    write_mo(out, catalog)
    return out.getvalue()


def renew(language: str) -> tuple[int, int]:
    """Writes both files; how many sentences there are, and how many of them are not translated."""
    catalog = renewed(language)
    path = po_path(language)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(po_bytes(catalog))
    path.with_suffix(".mo").write_bytes(mo_bytes(catalog))
    messages = [message for message in catalog if message.id]
    return len(messages), sum(not complete(message.string) for message in messages)


def complete(string: object) -> bool:
    return all(string) if isinstance(string, (list, tuple)) else bool(string)
