"""All rows of one database into another, by whichever makers: for moving, for backups, for restoring them.

Keys stay, so every reference stays; the copy is compared row for row before anybody relies on it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from contextlib import contextmanager
from decimal import Decimal
from pathlib import Path
from typing import Any

import environ
from django.apps import apps
from django.core.management import call_command
from django.db import DatabaseError, connections, models, transaction
from django.db.migrations.recorder import MigrationRecorder

from registry.errors import RegistryError
from registry.services.key_sequences import keys_go_on, last_keys
from registry.stores import SQLITE_OPTIONS
from registry.translation import gettext as _

CHUNK = 2000


def sqlite_url(path: Path) -> str:
    return f"sqlite:///{path.resolve()}"


@contextmanager
def database(url: str, alias: str) -> Iterator[str]:
    """The database at this address under an alias of its own, while it is needed."""
    given: dict[str, Any] = dict(environ.Env.db_url_config(url))
    if given["ENGINE"] == "django.db.backends.sqlite3":
        given["OPTIONS"] = dict(SQLITE_OPTIONS)
    filled = connections.configure_settings({"default": {}, alias: given})
    connections.settings[alias] = filled[alias]
    try:
        yield alias
    finally:
        connections[alias].close()
        del connections[alias]
        del connections.settings[alias]


def migrate(alias: str) -> None:
    call_command("migrate", database=alias, interactive=False, verbosity=0)


def copied_models() -> list[type[models.Model]]:
    """Every table of ours and of the packages, links between rows and the list of migrations included."""
    applied: Any = MigrationRecorder.Migration  # made on the way, so that its kind is not known
    every: list[type[models.Model]] = [*apps.get_models(include_auto_created=True), applied]
    return [model for model in every if _is_table(model)]


def _is_table(model: type[models.Model]) -> bool:
    return model._meta.managed and not model._meta.proxy and not model._meta.swapped


def refuse_unless_empty(alias: str) -> None:
    """What is there may not be mixed with what comes."""
    wanted = ("registry.User", "registry.Design", "registry.Sheet", "registry.AuditEntry")
    if any(apps.get_model(name)._base_manager.using(alias).exists() for name in wanted):
        raise RegistryError(
            "database_not_empty",
            _("There is a registry in that database already; nothing was changed."),
            _("Name an empty database."),
        )


def copy_all(*, source: str, target: str) -> dict[str, tuple[int, str]]:
    """Copy every row and compare; (rows, digest) by table.  The target is migrated and empty.

    Raises RegistryError, with nothing left in the target, where a table comes out differently.
    """
    refuse_unless_empty(target)
    with transaction.atomic(using=target), transaction.atomic(using=source):
        _one_moment(source)
        for model in reversed(copied_models()):
            # what a fresh database brings along: kinds of content, rights, the moderators' group
            model._base_manager.using(target).all()._raw_delete(target)
        for model in copied_models():
            _copy_table(model, source, target)
        before, after = digests(source), digests(target)
        unlike = sorted(table for table in before if before[table] != after[table])
        if unlike:
            raise RegistryError(
                "copy_differs",
                _("The copy differs in {tables}; nothing was kept.").format(tables=", ".join(unlike)),
                _("Please tell the makers of this software."),
            )
        keys_go_on(target, last_keys(source, copied_models()), copied_models())
    return before


def _one_moment(alias: str) -> None:
    """All tables as they are at one moment.  SQLite's transaction has that property anyway."""
    if connections[alias].vendor == "postgresql":
        with connections[alias].cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")


def _copy_table(model: type[models.Model], source: str, target: str) -> None:
    """Without the model's own save, which would set times and keys anew."""
    fields = model._meta.local_concrete_fields
    to = connections[target]
    name = to.ops.quote_name
    columns = ", ".join(name(str(field.column)) for field in fields)
    marks = ", ".join("%s" for _field in fields)
    insert = f"INSERT INTO {name(model._meta.db_table)} ({columns}) VALUES ({marks})"  # noqa: S608  our own names
    with to.cursor() as cursor:
        for chunk in _chunks(model, source):
            ready = [
                [field.get_db_prep_save(value, to) for field, value in zip(fields, row, strict=True)]
                for row in chunk
            ]
            try:
                with transaction.atomic(using=target):
                    cursor.executemany(insert, ready)
            except DatabaseError:
                _say_which(model, target, insert, ready)
                raise


def _say_which(model: type[models.Model], target: str, insert: str, rows: list[list[Any]]) -> None:
    """RegistryError with the row: SQLite keeps what PostgreSQL refuses, as a NUL, or too long a text."""
    at = [field.primary_key for field in model._meta.local_concrete_fields].index(True)
    for row in rows:
        try:
            with transaction.atomic(using=target), connections[target].cursor() as cursor:
                cursor.execute(insert, row)
        except DatabaseError as error:
            why = (str(error).splitlines() or [""])[0]
            raise RegistryError(
                "row_refused",
                _("The other database does not take row {key} of {table}: {why}. Nothing was kept.").format(
                    key=row[at], table=model._meta.db_table, why=why
                ),
                _("Mend that row, then try again."),
            ) from None


def _chunks(model: type[models.Model], alias: str) -> Iterator[list[tuple[Any, ...]]]:
    names = [field.attname for field in model._meta.local_concrete_fields]
    last = None
    key = model._meta.pk
    assert key is not None
    while True:  # by key, not by an open cursor: SQLite would keep its own lock waiting
        rows = model._base_manager.using(alias).order_by("pk")
        if last is not None:
            rows = rows.filter(pk__gt=last)
        chunk = list(rows.values_list(*names)[:CHUNK])
        if not chunk:
            return
        yield chunk
        last = chunk[-1][names.index(key.attname)]


def digests(alias: str) -> dict[str, tuple[int, str]]:
    """(rows, SHA-256 of all their values in order of the key) of each table."""
    return {model._meta.db_table: _digest(model, alias) for model in copied_models()}


def _digest(model: type[models.Model], alias: str) -> tuple[int, str]:
    count, digest = 0, hashlib.sha256()
    for chunk in _chunks(model, alias):
        for row in chunk:
            count += 1
            digest.update(_row_text(row).encode())
    return count, digest.hexdigest()


def _row_text(row: tuple[Any, ...]) -> str:
    """The same for both makers: PostgreSQL knows 1e16 in JSON as a whole number, and there is no -0.0."""
    text = json.dumps(row, sort_keys=True, default=_plain)
    if "e+" in text or "-0.0" in text:
        text = json.dumps(_one_form(row), sort_keys=True, default=_plain)
    return text


def _one_form(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: _one_form(inner) for name, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_one_form(inner) for inner in value]
    if not isinstance(value, float):
        return value
    return int(Decimal(repr(value))) if value.is_integer() and abs(value) >= 1e16 else value + 0.0


def _plain(value: Any) -> str:
    return bytes(value).hex() if isinstance(value, (bytes, memoryview)) else str(value)
