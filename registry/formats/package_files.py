"""An open-data package on the disk: tables as CSV, lines of JSON, `datapackage.json` with all digests.

Frictionless Data Package (specs.frictionlessdata.io, version 1) with Table Schema.  The same rows give the
same bytes: nothing in it says when it was made, and a ZIP file's members carry the first date that ZIP knows.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import IO, Any

from registry.errors import RegistryError, RegistryErrors
from registry.formats.package_cells import cell_text, cell_value
from registry.formats.package_columns import Table
from registry.formats.package_tables import BY_NAME
from registry.translation import gettext as _

Plain = dict[str, Any]
FORMAT = "benchquorum/package/1"
DESCRIPTOR, WORDS = "datapackage.json", "README.md"
LINES = ("charts", "inputs", "snapshots")
FIRST_DATE = (1980, 1, 1, 0, 0, 0)
LARGEST_CELL = 50_000_000
# as many ways as a damaged archive fails in
BROKEN = (OSError, EOFError, RuntimeError, NotImplementedError, zipfile.BadZipFile, zlib.error)


class PackageWriter:
    """Writes members one after the other, into a folder or a ZIP file; `close` writes the descriptor last."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.resources: list[Plain] = []
        self._zip: zipfile.ZipFile | None = None
        if path.suffix == ".zip":
            self._zip = zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=6)
        else:
            path.mkdir(parents=True, exist_ok=True)

    def table(self, table: Table, rows: Iterable[tuple[Any, ...]]) -> None:
        """Rows in the order of the table's columns."""
        kinds = [column.kind for column in table.columns]

        def pieces() -> Iterator[bytes]:
            yield _line(list(table.names))
            for row in rows:
                yield _line([cell_text(value, kind) for value, kind in zip(row, kinds, strict=True)])

        entry = {
            "name": table.name,
            "description": table.says,
            "profile": "tabular-data-resource",
            "format": "csv",
            "mediatype": "text/csv",
            "encoding": "utf-8",
            "schema": table.schema(),
        }
        self._add(f"data/{table.name}.csv", pieces(), entry)

    def lines(self, name: str, lines: Iterable[bytes]) -> None:
        """Canonical JSON, one document a line."""
        entry = {
            "name": f"recompute-{name}",
            "type": "file",  # no table: nothing is to be guessed about its columns
            "profile": "data-resource",
            "format": "jsonl",
            "mediatype": "application/x-ndjson",
            "encoding": "utf-8",
        }
        self._add(f"recompute/{name}.jsonl", (line + b"\n" for line in lines), entry)

    def file(self, name: str, path: str, content: bytes, **more: Any) -> None:
        self._add(path, [content], {"name": name, "profile": "data-resource", **more})

    def _add(self, path: str, pieces: Iterable[bytes], entry: Plain) -> None:
        digest, size = hashlib.sha256(), 0
        with self._open(path) as out:
            for piece in pieces:
                out.write(piece)
                digest.update(piece)
                size += len(piece)
        self.resources.append({**entry, "path": path, "bytes": size, "hash": f"sha256:{digest.hexdigest()}"})

    def _open(self, path: str) -> IO[bytes]:
        if self._zip is None:
            target = self.path / path
            target.parent.mkdir(parents=True, exist_ok=True)
            return target.open("wb")
        info = zipfile.ZipInfo(path, FIRST_DATE)
        info.compress_type, info.external_attr = zipfile.ZIP_DEFLATED, 0o644 << 16
        return self._zip.open(info, "w", force_zip64=True)

    def close(self, head: Plain) -> str:
        """Write the descriptor; its SHA-256 names the package."""
        descriptor = {**head, "format_version": FORMAT, "resources": self.resources}
        content = (json.dumps(descriptor, ensure_ascii=False, indent=1) + "\n").encode()
        with self._open(DESCRIPTOR) as out:
            out.write(content)
        if self._zip is not None:
            self._zip.close()
        return hashlib.sha256(content).hexdigest()


def _line(cells: list[str]) -> bytes:
    out = io.StringIO()
    csv.writer(out, lineterminator="\r\n").writerow(cells)  # RFC 4180
    return out.getvalue().encode()


class Package:
    """A package to read; what is wrong with it is a RegistryError that names the file."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._zip: zipfile.ZipFile | None = None
        self._opened = ExitStack()  # tables too that somebody stopped reading half-way
        try:
            self._zip = self._opened.enter_context(zipfile.ZipFile(path)) if path.is_file() else None
            content = self._read(DESCRIPTOR)
            self.descriptor: Plain = json.loads(content)
            self.entries: dict[str, Plain] = {
                str(one["name"]): {**one, "path": str(one["path"]), "hash": str(one["hash"])}
                for one in self.descriptor["resources"]
            }
        except (*BROKEN, ValueError, KeyError, TypeError, RecursionError):
            self.close()
            raise _wrong(
                "package_unreadable", _("{path} is no open-data package.").format(path=path)
            ) from None
        if self.descriptor.get("format_version") != FORMAT:
            self.close()
            raise _wrong("package_format", _("{path} is not of the format {f}.").format(path=path, f=FORMAT))
        self.digest = hashlib.sha256(content).hexdigest()

    def __enter__(self) -> Package:
        return self

    def __exit__(self, *error: object) -> None:
        self.close()

    def close(self) -> None:
        self._opened.close()

    def check_digests(self) -> None:
        """Raise RegistryErrors that name every file whose bytes are not those of the descriptor."""
        wrong = []
        for entry in self.entries.values():
            digest = hashlib.sha256()
            try:
                with self._open(entry["path"]) as file:
                    for piece in iter(lambda: file.read(1 << 20), b""):
                        digest.update(piece)
                found = f"sha256:{digest.hexdigest()}"
            except (*BROKEN, KeyError):
                found = ""
            if found != entry["hash"]:
                text = _("{file} is not the file that the package names.").format(file=entry["path"])
                wrong.append(_wrong("package_digest", text))
        if wrong:
            raise RegistryErrors(wrong)

    def has(self, name: str) -> bool:
        return name in self.entries

    def rows(self, name: str) -> Iterator[Plain]:
        """Rows of a table as plain values by column; none of one that came later than the package."""
        if BY_NAME[name].later and not self.has(name):
            return
        try:
            yield from self._rows(name)
        except (csv.Error, UnicodeDecodeError, *BROKEN):
            raise _wrong("package_row", _("{table} can't be read.").format(table=name)) from None

    def _rows(self, name: str) -> Iterator[Plain]:
        table = BY_NAME[name]
        kinds = {column.name: column.kind for column in table.columns}
        csv.field_size_limit(LARGEST_CELL)
        with self._open(self._path(name)) as raw:
            reader = csv.reader(io.TextIOWrapper(raw, encoding="utf-8", newline=""))
            header = next(reader, [])
            if {column.name for column in table.first_columns} - set(header):
                raise _wrong("package_columns", _("{table} lacks a column.").format(table=name))
            for number, cells in enumerate(reader, 2):
                try:
                    yield {
                        column: cell_value(cell, kinds[column])
                        for column, cell in zip(header, cells, strict=True)
                        if column in kinds
                    }
                except (ValueError, KeyError, TypeError, RecursionError, OverflowError):
                    text = _("Line {line} of {table} can't be read.").format(line=number, table=name)
                    raise _wrong("package_row", text) from None

    def lines(self, name: str) -> Iterator[bytes]:
        with self._open(self._path(f"recompute-{name}")) as file:
            for line in file:
                yield line[:-1] if line.endswith(b"\n") else line

    def _path(self, name: str) -> str:
        if name not in self.entries:
            raise _wrong("package_incomplete", _("The package has no “{name}”.").format(name=name))
        return str(self.entries[name]["path"])

    def _open(self, path: str) -> IO[bytes]:
        if self._zip is not None:
            return self._opened.enter_context(self._zip.open(path))
        target = (self.path / path).resolve()
        if not target.is_relative_to(self.path.resolve()):
            raise OSError(path)  # a descriptor that points out of its folder
        return self._opened.enter_context(target.open("rb"))

    def _read(self, path: str) -> bytes:
        with self._open(path) as file:
            return file.read()


def _wrong(code: str, message: str) -> RegistryError:
    return RegistryError(code, message, _("Get the package again."))
