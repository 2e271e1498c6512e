"""A person's file of readings, by page or API: previewed cell by cell, then imported as any tidy file is."""

from __future__ import annotations

import base64
import binascii
from dataclasses import dataclass
from typing import Any

from django.db import transaction

from registry.errors import RegistryError, RegistryErrors, refusal
from registry.formats.column_roles import heads_digest, roles_guessed, roles_known
from registry.formats.tidy_reader import read_tidy
from registry.formats.tidy_table import TidyTable
from registry.models import ColumnMapping, Design, User
from registry.permissions import require
from registry.selectors.labels import DesignLabels
from registry.services.accounts import contributor_of
from registry.services.fields import Fields
from registry.services.imports.mapped_table import WRONG, MappedTable, table_cells, table_mapped
from registry.services.imports.tidy_file import import_apply, import_plan
from registry.translation import gettext as _

MOST_CONTENT = 6_000_000  # signs
MOST_ROWS = 20_000
SHOWN = 200  # rows of a preview
Plain = dict[str, Any]


@dataclass(frozen=True)
class FileAsked:
    """design, None: a tidy file, which names its designs itself; columns, None: as kept, or guessed;
    head_row, None: where the heads seem to stand."""

    data: bytes
    design: Design | None
    columns: dict[str, str] | None
    measured: bool
    head_row: int | None = None


def import_asked(asked: Any) -> FileAsked:
    """asked: as the description of the API says, § imports.  RegistryErrors names every fault."""
    fields = Fields(asked)
    uuid, measured = fields.id("design"), fields.yes("measured_it_myself")
    encoding = fields.one_of("encoding", ("text", "base64"), "text")
    content, data = fields.body.get("content"), b""
    if not isinstance(content, str) or not content.strip():
        fields.wrong(
            "content", "value_missing", _("There is no file."), _("Send its text, or its bytes as base64.")
        )
    elif len(content) > MOST_CONTENT:
        fields.wrong("content", "too_long", _("This file is too large."), _("Send it in parts."))
    else:
        data = _bytes(fields, content, encoding)
    columns = fields.body.get("columns")
    if columns is not None and not _is_mapping(columns):
        fields.wrong("columns", "not_an_object", _("“columns” says of each head what its column means."))
    design = None if uuid is None else Design.objects.filter(uuid=uuid).first()
    if uuid is not None and design is None:
        fields.wrong("design", "design_unknown", _("There is no design with this id."))
    head_row = fields.whole("head_row", 0, low=0, high=MOST_ROWS) or None
    fields.raise_all()
    return FileAsked(data, design, columns, measured, head_row)


def _bytes(fields: Fields, content: str, encoding: str) -> bytes:
    try:
        return content.encode() if encoding == "text" else base64.b64decode(content, validate=True)
    except (binascii.Error, ValueError):
        fields.wrong("content", "unreadable", _("This is not text in that encoding."))
        return b""


def _is_mapping(columns: Any) -> bool:
    return isinstance(columns, dict) and all(isinstance(role, str) for role in columns.values())


def columns_for(by: User, design: Design, heads: list[str]) -> dict[str, str]:
    """What the person chose for a file of this form before; else what the heads say."""
    pins = DesignLabels(design).pins
    kept = ColumnMapping.objects.filter(user=by, design=design, heads=heads_digest(heads)).first()
    if kept is None:
        return roles_guessed(heads, pins)
    by_head = {head.casefold(): role for head, role in kept.roles.items()}
    return roles_known({head: by_head.get(head.casefold(), "ignore") for head in heads}, pins)


def file_preview(*, by: User, asked: Any) -> Plain:
    """What would become of each cell, and of the file; nothing is stored."""
    require(by, "submit")
    wanted = import_asked(asked)
    if wanted.design is None:
        return {
            "head_row": 1,
            "columns": [],
            "rows": [],
            "more_rows": 0,
            **_plan(by, read_tidy(wanted.data), []),
        }
    table = _mapped(by, wanted)
    return {
        "head_row": table.head_row,
        "columns": [{"head": head, "role": table.roles[head]} for head in table.heads],
        "rows": _rows(table),
        "more_rows": max(0, len(table.cells) - SHOWN),
        **_plan(by, table.tidy, table.errors),
    }


def _mapped(by: User, wanted: FileAsked) -> MappedTable:
    assert wanted.design is not None
    pins = DesignLabels(wanted.design).pins
    cells = table_cells(wanted.data, pins, wanted.head_row)
    roles = columns_for(by, wanted.design, cells.heads)
    if wanted.columns is not None:
        roles = {**dict.fromkeys(cells.heads, "ignore"), **roles_known(wanted.columns, pins)}
    return table_mapped(wanted.design, cells, roles, contributor_of(by).pseudonym)


def _rows(table: MappedTable) -> list[Plain]:
    """The first rows, and further ones with something wrong in them."""
    wrong = {row for (row, _column), (fate, _says) in table.fates.items() if fate == WRONG}
    first = table.head_row + 1
    shown = [n for n in range(first, len(table.cells) + first) if n < SHOWN + first or n in wrong][
        : 2 * SHOWN
    ]
    return [
        {
            "row": n,
            "cells": [
                {"text": text, "fate": fate, "says": says}
                for column, text in enumerate(table.cells[n - first], start=1)
                for fate, says in [table.fates.get((n, column), ("left_out", ""))]
            ],
        }
        for n in shown
    ]


def _plan(by: User, tidy: TidyTable | None, errors: list[RegistryError]) -> Plain:
    plain = {"sheets_new": 0, "sheets_known": 0, "readings_new": 0, "designs_new": [], "warnings": []}
    if tidy is not None:
        plan = import_plan(tidy, by=by)
        facts = plan.as_dict()
        plain |= {name: facts[name] for name in plain}
        errors = [*errors, *plan.errors]
    return {**plain, "errors": [error.as_dict() for error in errors[:100]], "more": max(0, len(errors) - 100)}


@transaction.atomic
def file_import(*, by: User, asked: Any) -> Plain:
    """Store the sheets, all of them or none, and keep what the columns mean for the next such file."""
    require(by, "submit")
    wanted = import_asked(asked)
    if not wanted.measured:
        message = _("A sheet needs your word that you measured this unit yourself.")
        raise refusal("not_measured", message, field="/measured_it_myself")
    if wanted.design is None:
        tidy: TidyTable | None = read_tidy(wanted.data)
    else:
        table = _mapped(by, wanted)
        if table.errors:
            raise RegistryErrors(table.errors[:100], more=max(0, len(table.errors) - 100))
        tidy = table.tidy
        ColumnMapping.objects.update_or_create(
            user=by, design=wanted.design, heads=heads_digest(table.heads), defaults={"roles": table.roles}
        )
    assert tidy is not None
    facts = import_apply(tidy, by=by).as_dict()
    names = ("sheets_new", "sheets_known", "readings_new", "designs_new", "warnings")
    return {name: facts[name] for name in names}
