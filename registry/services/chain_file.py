"""The published chain: the log of who did what beside the open data, for outsiders to copy and verify."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from registry.errors import RegistryError
from registry.formats.audit_chain import FIRST
from registry.models import AuditEntry
from registry.services.audit import chain_seal, published_chain
from registry.services.packages.open_data import open_data_folder
from registry.translation import gettext as _

CHAIN = "audit.jsonl"
BLOCK = 65_536  # bytes of its end that are read first


@dataclass(frozen=True)
class ChainFile:
    """The file that is there: where, the number of its last entry, and that entry's hash."""

    path: Path
    number: int
    hash: str


def chain_lines(after: int = 0) -> Iterator[str]:
    """The published chain as text, an entry a line; after: the number of an entry that is there already."""
    for entry in published_chain(after=after):
        yield json.dumps(entry, sort_keys=True, ensure_ascii=False) + "\n"


def chain_file() -> ChainFile | None:
    path = open_data_folder() / CHAIN
    try:
        last = _last_line(path)
        if not last:
            return ChainFile(path, 0, FIRST)
        entry = json.loads(last)
        return ChainFile(path, int(entry["number"]), str(entry["hash"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def chain_left() -> ChainFile | None:
    """The file, where the log here no longer has its last entry: rewritten, or an earlier backup restored."""
    there = chain_file()
    return there if there is not None and _is_lost(there) else None


def chain_publish() -> ChainFile:
    """Write the file if the log has grown; who downloads meanwhile gets the earlier one whole.

    What stands in it is taken over as it is: a long log is read from the database once, not each hour.
    Raises RegistryError rather than write over entries that were published and that the log has lost.
    """
    chain_seal()
    there = chain_file()
    if there is not None and _is_lost(there):
        raise RegistryError(
            "chain_left",
            _("The log here doesn't have entry {n} as {file} tells it: nothing was written over it.").format(
                n=there.number, file=there.path
            ),
            _("Keep that file: move it away once those who follow it know that a backup was restored."),
        )
    last = AuditEntry.objects.exclude(number=None).order_by("-number").values_list("number", "hash").first()
    if there is not None and (there.number, there.hash) == (last or (0, FIRST)):
        return there
    path = open_data_folder() / CHAIN
    path.parent.mkdir(parents=True, exist_ok=True)
    kept = there if there is not None and there.number and _ends_whole(there.path) else None
    with tempfile.TemporaryDirectory(dir=path.parent) as folder:
        whole = Path(folder) / CHAIN
        if kept is not None:
            shutil.copyfile(kept.path, whole)
        with whole.open("a", encoding="utf-8") as file:
            file.writelines(chain_lines(0 if kept is None else kept.number))
        whole.replace(path)
    written = chain_file()
    assert written is not None
    return written


def _is_lost(there: ChainFile) -> bool:
    """Whether the log has no such entry as its last one any more."""
    entries = AuditEntry.objects.filter(number=there.number, hash=there.hash)
    return bool(there.number) and not entries.exists()


def _ends_whole(path: Path) -> bool:
    """Whether its last line was written to its end."""
    with path.open("rb") as file:
        file.seek(-1, os.SEEK_END)
        return file.read() == b"\n"


def _last_line(path: Path) -> bytes:
    """Without reading what stands before it: the file is long, and it is asked for with each request."""
    with path.open("rb") as file:
        size, reach = file.seek(0, os.SEEK_END), BLOCK
        while True:
            file.seek(max(0, size - reach))
            lines = file.read().splitlines()
            if len(lines) > 1 or reach >= size:
                return lines[-1] if lines else b""
            reach *= 8
