"""A backup: the registry in one file, as an embedded database whatever it was taken from, with its uploads.

So it can be looked into with any SQLite, and restored to either kind of database, of any version.
"""

from __future__ import annotations

import hashlib
import io
import json
import shutil
import sqlite3
import tarfile
import tempfile
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection, transaction
from django.db.migrations.recorder import MigrationRecorder

from registry.errors import RegistryError
from registry.models import User
from registry.services.accounts import contributor_of
from registry.services.database_copy import (
    copy_all,
    database,
    digests,
    migrate,
    refuse_unless_empty,
    sqlite_url,
)
from registry.services.erasures import chain_read, erasures_repeat
from registry.services.mail import mail_drop_all
from registry.translation import gettext as _

FORMAT = "benchquorum/backup/1"
DATABASE, MANIFEST = "registry.sqlite3", "manifest.json"
UPLOADS = "uploads/"


@dataclass(frozen=True)
class Restored:
    """The backup's manifest; erased: accounts that were erased again."""

    manifest: dict[str, Any]
    erased: int


def backup_make(*, path: Path) -> dict[str, Any]:
    """Write the backup, read it again and compare; its manifest.  An existing file is replaced at the end.

    Who is in it has a pseudonym: by that the published chain tells a restore who was erased since.
    """
    for account in User.objects.filter(contributor=None):
        contributor_of(account)
    with tempfile.TemporaryDirectory(dir=path.resolve().parent) as folder:
        copy, unfinished = Path(folder) / DATABASE, Path(folder) / "backup"
        _copy_database(copy)
        members = {DATABASE: copy, **{UPLOADS + name: file for name, file in _uploads()}}
        manifest: dict[str, Any] = {
            "format": FORMAT,
            "made_at": datetime.now(UTC).isoformat(timespec="seconds"),
            "migrations": _migrations(),
            "tables": _tables_of(copy),
            "files": {},
        }
        with tarfile.open(unfinished, "w:gz", compresslevel=3) as archive:
            for name, file in members.items():
                digest = _add(archive, name, file)
                if digest is not None:
                    manifest["files"][name] = digest
            text = json.dumps(manifest, indent=1).encode()
            entry = tarfile.TarInfo(MANIFEST)
            entry.size = len(text)
            archive.addfile(entry, io.BytesIO(text))
        backup_check(path=unfinished)
        unfinished.chmod(0o600)  # e-mail addresses are in it
        unfinished.replace(path)
    return manifest


def backup_check(*, path: Path) -> dict[str, Any]:
    """Every file in it has the digest of the manifest; raises RegistryError otherwise."""
    with tempfile.TemporaryDirectory(dir=path.resolve().parent) as folder:
        return _unpack(path, Path(folder))


def backup_restore(*, path: Path, erased: Path | None = None) -> Restored:
    """Fill the empty database in use, and the uploads; compare row for row.  Nothing is overwritten.

    erased: a later copy of the published chain; accounts that were erased since are erased again.

    Whatever stops it, it can be run again: uploads that came already are passed over, and rows and erasures
    are one transaction, so that nobody who was erased is ever back.
    """
    chain = None if erased is None else chain_read(erased)
    with tempfile.TemporaryDirectory(dir=path.resolve().parent) as folder:
        manifest = _unpack(path, Path(folder))
        migrate("default")
        refuse_unless_empty("default")
        _restore_uploads(Path(folder), manifest["files"])
        with database(sqlite_url(Path(folder) / DATABASE), "backup") as source:
            migrate(source)  # one taken by an older version
            with transaction.atomic():
                copy_all(source=source, target="default")
                mail_drop_all()
                again = 0 if chain is None else erasures_repeat(chain=chain)
    return Restored(manifest, again)


def _copy_database(path: Path) -> None:
    if connection.vendor == "sqlite":
        connection.ensure_connection()
        with closing(sqlite3.connect(path)) as copy:
            connection.connection.backup(copy)
        return
    with database(sqlite_url(path), "backup") as target:
        migrate(target)
        copy_all(source="default", target=target)
        with database_cursor(target) as cursor:
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def database_cursor(alias: str) -> Any:
    from django.db import connections

    return connections[alias].cursor()


def _tables_of(path: Path) -> dict[str, list[Any]]:
    with database(sqlite_url(path), "backup") as alias:
        return {table: list(figures) for table, figures in digests(alias).items()}


def _migrations() -> list[str]:
    return sorted(f"{app}.{name}" for app, name in MigrationRecorder(connection).applied_migrations())


def _uploads() -> Iterator[tuple[str, Path]]:
    root = Path(settings.MEDIA_ROOT)
    for file in sorted(root.rglob("*")) if root.is_dir() else ():
        if file.is_file() and not file.is_symlink():
            yield file.relative_to(root).as_posix(), file


def _add(archive: tarfile.TarFile, name: str, file: Path) -> str | None:
    """Its digest; None for one that was removed since the files were listed, as a picture may be."""
    try:
        stream = file.open("rb")
    except FileNotFoundError:
        return None
    with stream:  # what is open can be read to its end, though its name is gone
        digest = hashlib.file_digest(stream, "sha256").hexdigest()
        stream.seek(0)
        archive.addfile(archive.gettarinfo(arcname=name, fileobj=stream), stream)
    return digest


def _digest(file: Path) -> str:
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _unpack(path: Path, folder: Path) -> dict[str, Any]:
    try:
        with tarfile.open(path, "r:gz") as archive:
            archive.extractall(folder, filter="data")
        manifest: dict[str, Any] = json.loads((folder / MANIFEST).read_text())
        damaged = [name for name, digest in manifest["files"].items() if _digest(folder / name) != digest]
    except (OSError, tarfile.TarError, ValueError, KeyError, EOFError) as error:
        raise _unusable(path, str(error)) from None
    if manifest.get("format") != FORMAT or damaged:
        raise _unusable(path, _("damaged: {names}").format(names=", ".join(damaged) or "manifest"))
    return manifest


def _unusable(path: Path, why: str) -> RegistryError:
    return RegistryError(
        "backup_unusable",
        _("{path} is no usable backup: {why}.").format(path=path, why=why),
        _("Take an earlier one."),
    )


def _restore_uploads(folder: Path, digests: dict[str, str]) -> None:
    """Each comes whole or not at all, to whatever file system; those that are there already stay."""
    root = Path(settings.MEDIA_ROOT)
    targets = {name: root / name.removeprefix(UPLOADS) for name in digests if name.startswith(UPLOADS)}
    there = {name for name, target in targets.items() if target.exists()}
    unlike = sorted(name for name in there if _digest(targets[name]) != digests[name])
    if unlike:
        raise RegistryError(
            "uploads_differ",
            _("Other files stand where these belong: {names}. Nothing was changed.").format(
                names=", ".join(unlike)
            ),
            _("Restore into an empty folder of uploads."),
        )
    for name in targets.keys() - there:
        target = targets[name]
        target.parent.mkdir(parents=True, exist_ok=True)
        partial = target.with_name(target.name + ".part")
        shutil.move(folder / name, partial)  # copies where the backup lies on another file system
        partial.replace(target)
