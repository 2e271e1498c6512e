"""All published charts in one SQLite file: for a machine without a network, and for anybody's own queries.

Read by `benchquorum check` and `identify`, without a database or settings.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Iterable
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from registry.errors import RegistryError, RegistryErrors
from registry.translation import gettext as _

Plain = dict[str, Any]
FORMAT = "benchquorum/offline-file/1"
OLD_DAYS = 30
_MARK = b"SQLite format 3\0"
_CELL = ("pin", "against", "state", "p_open", "standing", "units", "agreeing")
_TABLES = """
CREATE TABLE about (name TEXT PRIMARY KEY, value TEXT NOT NULL);
CREATE TABLE charts (
  design TEXT PRIMARY KEY, name TEXT NOT NULL, revision INTEGER NOT NULL, state TEXT NOT NULL,
  published TEXT NOT NULL, withdrawn TEXT, withdrawn_reason TEXT NOT NULL, stale INTEGER NOT NULL,
  digest TEXT NOT NULL, content_sha256 TEXT NOT NULL, content TEXT NOT NULL
);
CREATE INDEX charts_by_name ON charts (name);
CREATE TABLE part_numbers (number TEXT NOT NULL, key TEXT NOT NULL, design TEXT NOT NULL REFERENCES charts);
CREATE INDEX part_numbers_by_key ON part_numbers (key);
CREATE TABLE cells (
  design TEXT NOT NULL REFERENCES charts, variant TEXT NOT NULL, position TEXT NOT NULL,
  behind INTEGER NOT NULL, pin TEXT NOT NULL, against TEXT NOT NULL, state TEXT, p_open REAL NOT NULL,
  standing TEXT NOT NULL, units INTEGER NOT NULL, agreeing INTEGER NOT NULL
);
"""


@dataclass(frozen=True)
class KeptChart:
    """A chart of the file.  withdrawn: when, or None; stale: its evidence had changed when written."""

    design: str
    name: str
    revision: int
    state: str
    published: str
    withdrawn: str | None
    withdrawn_reason: str
    stale: bool
    digest: str
    content: bytes


def is_offline_file(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            return file.read(len(_MARK)) == _MARK
    except OSError:
        return False


def write_offline_file(
    path: Path, about: Plain, charts: Iterable[KeptChart], parts: Iterable[tuple[str, str, str]]
) -> int:
    """Write the file, whole or not at all; how many charts are in it.  parts: (number, key, design)."""
    partial = path.with_name(path.name + ".part")
    partial.unlink(missing_ok=True)
    count = 0
    with closing(sqlite3.connect(partial)) as made:
        made.executescript(_TABLES)
        made.executemany("INSERT INTO about VALUES (?, ?)", sorted({"format": FORMAT, **about}.items()))
        for chart in charts:
            count += 1
            _insert(made, chart)
        made.executemany("INSERT INTO part_numbers VALUES (?, ?, ?)", parts)
        made.commit()
    partial.replace(path)
    return count


def _insert(made: sqlite3.Connection, chart: KeptChart) -> None:
    values = (
        chart.design, chart.name, chart.revision, chart.state, chart.published, chart.withdrawn,
        chart.withdrawn_reason, int(chart.stale), chart.digest, hashlib.sha256(chart.content).hexdigest(),
        chart.content.decode(),
    )  # fmt: skip
    made.execute("INSERT INTO charts VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", values)
    made.executemany(
        "INSERT INTO cells VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            (chart.design, variant["variant"], cell["position"], int(cell.get("between", False)),
             *(cell[name] for name in _CELL))
            for variant in json.loads(chart.content)["variants"]
            for cell in variant["cells"]
        ),
    )  # fmt: skip


def read_offline_file(path: Path) -> tuple[dict[str, str], list[KeptChart]]:
    """What the file says of itself, and its charts by name; each held against its digest."""
    address = path.resolve().as_uri() + "?mode=ro&immutable=1"
    try:
        with closing(sqlite3.connect(address, uri=True)) as file:
            about = dict(file.execute("SELECT name, value FROM about").fetchall())
            if about.get("format") != FORMAT:
                raise _damaged(path, _("it is of another format"))
            rows = file.execute(
                "SELECT design, name, revision, state, published, withdrawn, withdrawn_reason, stale, "
                "digest, content, content_sha256 FROM charts ORDER BY name, design"
            ).fetchall()
        datetime.fromisoformat(about["written"])
    except (sqlite3.Error, KeyError, TypeError, ValueError):
        # ValueError: a text, or the name in SQLite's own message about the damage, is no UTF-8.
        raise _damaged(path, _("it can't be read")) from None
    charts = []
    for design, name, revision, state, published, gone, why, stale, digest, text, sha256 in rows:
        content = str(text).encode()
        if hashlib.sha256(content).hexdigest() != sha256:
            raise _damaged(path, _("the chart of {design} is not what its digest says").format(design=name))
        head = (design, name, revision, state, published, gone, why)
        if not all(isinstance(part, str) for part in (design, name, state, published, why, digest)):
            raise _damaged(path, _("it can't be read"))
        charts.append(KeptChart(*head, bool(stale), digest, content))
    return about, charts


def warnings_of(about: dict[str, str], charts: Iterable[KeptChart], today: date | None = None) -> list[str]:
    """One line a chart: its revision and date, and whether it may no longer hold."""
    today = today or datetime.now(UTC).date()
    written = datetime.fromisoformat(about["written"]).date()
    lines = []
    for chart in charts:
        text = _("{design}: revision {n} of {when}, as of {written}.").format(
            design=chart.name, n=chart.revision, when=chart.published[:10], written=written.isoformat()
        )
        if chart.stale:
            text += " " + _("Its evidence had changed already: a newer revision was on its way.")
        lines.append(text)
    days = (today - written).days
    if days > OLD_DAYS:
        lines.append(
            _("The file is {days} days old: its charts may have been replaced or withdrawn since.").format(
                days=days
            )
        )
    return lines


def withdrawn_error(chart: KeptChart, line: int | None = None) -> RegistryError:
    return RegistryError(
        "chart_withdrawn",
        _("The chart of “{design}” was withdrawn: {reason}").format(
            design=chart.name, reason=chart.withdrawn_reason or "–"
        ),
        _("Don't work from it; ask the registry for the chart that stands now."),
        line=line,
    )


def _damaged(path: Path, why: str) -> RegistryErrors:
    return RegistryErrors(
        [
            RegistryError(
                "offline_file_damaged",
                _("{path} is no file of charts for work without a network: {why}.").format(
                    path=path, why=why
                ),
                _("Make it again with “benchquorum export --offline”."),
            )
        ]
    )
