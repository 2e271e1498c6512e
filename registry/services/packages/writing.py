"""The open-data package: all that the registry publishes, in files that anybody can check and recompute."""

from __future__ import annotations

import shutil
from pathlib import Path

from django.conf import settings
from django.db import transaction

from registry.errors import RegistryError
from registry.formats.package_files import DESCRIPTOR, LINES, WORDS, PackageWriter
from registry.formats.package_parquet import parquet_bytes, parquet_require
from registry.formats.package_tables import TABLES
from registry.formats.package_words import head, words
from registry.selectors.moment import one_moment
from registry.selectors.package_rows import PackageRows
from registry.translation import gettext as _


def export_package(path: Path, *, parquet: bool = False) -> str:
    """Write the package (a folder, or FILE.zip); its digest.  The same registry gives the same bytes."""
    if parquet:
        parquet_require()
    partial = path.with_name(path.name.removesuffix(".zip") + ".part" + path.suffix * (path.suffix == ".zip"))
    _clear(partial)
    if path.is_dir() and any(path.iterdir()) and not (path / DESCRIPTOR).exists():
        raise RegistryError(
            "folder_taken",
            _("{path} is there already and is no package.").format(path=path),
            _("Name another folder."),
        )
    try:
        digest = _written(partial, parquet)
        _clear(path)
        partial.replace(path)
    finally:
        _clear(partial)
    return digest


def _clear(path: Path) -> None:
    if path.is_dir():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)


def _written(path: Path, parquet: bool) -> str:
    writer, licence = PackageWriter(path), settings.BENCHQUORUM_DATA_LICENCE
    with transaction.atomic():
        one_moment()
        rows = PackageRows()
        writer.file(
            "words",
            WORDS,
            words(settings.BENCHQUORUM_ORIGIN, licence, settings.BENCHQUORUM_REMOVAL_ADDRESS).encode(),
            mediatype="text/markdown",
            format="md",
        )
        for table in TABLES:
            writer.table(table, rows.table(table.name))
            if parquet:
                content = parquet_bytes(table, rows.table(table.name))
                name = f"{table.name.replace('_', '-')}-parquet"
                writer.file(name, f"parquet/{table.name}.parquet", content, format="parquet")
        for name in LINES:
            writer.lines(name, rows.lines(name))
    return writer.close(head(settings.BENCHQUORUM_ORIGIN, licence))
