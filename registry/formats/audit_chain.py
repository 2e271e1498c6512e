"""The audit log's hash chain as plain lines, so that an outsider can verify it with this file alone.

Each entry carries the SHA-256 of its canonical content and of the hash before it: changing, dropping or
adding an entry anywhere changes every hash after it.  Who acted, and whose account was decided about, stands
in it as a salted digest.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

FIRST = "0" * 64  # what the first entry names as the hash before it
ABOUT_SOMEBODY = "account"  # the kind of target that names a person: a decision about an account, an appeal
FIELDS = ("number", "at", "actor", "action", "target_kind", "target_uuid", "detail", "previous")


def chain_entry(
    *,
    number: int,
    at: datetime,
    actor: str | None,
    salt: str,
    action: str,
    target_kind: str,
    target_uuid: str | None,
    detail: dict[str, Any],
    previous: str,
) -> dict[str, Any]:
    """An entry as published, with its hash.

    actor: the account's id.  Of it, and of the target where that is somebody's account, only a digest is kept
    here; the salt differs with each entry and is not published, so that no two entries can be joined.
    """
    entry = {
        "number": number,
        "at": at.astimezone(UTC).isoformat(timespec="microseconds"),
        "actor": _veiled(salt, actor),
        "action": action,
        "target_kind": target_kind,
        "target_uuid": _veiled(salt, target_uuid) if target_kind == ABOUT_SOMEBODY else target_uuid,
        "detail": detail,
        "previous": previous,
    }
    return {**entry, "hash": entry_hash(entry)}


def _veiled(salt: str, person: str | None) -> str | None:
    return None if person is None else hashlib.sha256(f"{salt}:{person}".encode()).hexdigest()


def entry_hash(entry: dict[str, Any]) -> str:
    """SHA-256 of the canonical JSON of all fields but the hash itself, the previous hash among them.

    >>> entry_hash(dict.fromkeys(FIELDS))[:8]
    '2132624f'
    """
    content = {name: entry[name] for name in FIELDS}
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


@dataclass(frozen=True)
class ChainFault:
    """code: unreadable, number, previous, hash, rewritten; number: of the entry."""

    number: int
    code: str


def read_chain(lines: Iterable[str]) -> Iterator[dict[str, Any]]:
    """Entries of a published chain, one a line; a line that can't be read is an empty entry."""
    for line in lines:
        if not line.strip():
            continue
        try:
            entry = json.loads(line)
        except ValueError:
            entry = {}
        yield entry if isinstance(entry, dict) else {}


def chain_faults(entries: Iterable[dict[str, Any]]) -> Iterator[ChainFault]:
    """Every entry that doesn't fit its content or the one before it, in order."""
    previous = FIRST
    for number, entry in enumerate(entries, start=1):
        if not all(name in entry for name in (*FIELDS, "hash")):
            yield ChainFault(number, "unreadable")
            previous = ""
            continue
        if entry["number"] != number:
            yield ChainFault(number, "number")
        if entry["previous"] != previous:
            yield ChainFault(number, "previous")
        if entry["hash"] != entry_hash(entry):
            yield ChainFault(number, "hash")
        previous = entry["hash"]


def extension_faults(
    earlier: Iterable[dict[str, Any]], later: Iterable[dict[str, Any]]
) -> Iterator[ChainFault]:
    """Entries of a chain kept earlier that the later one has lost or rewritten."""
    hashes = [entry.get("hash") for entry in later]
    for number, entry in enumerate(earlier, start=1):
        if number > len(hashes) or entry.get("hash") != hashes[number - 1]:
            yield ChainFault(number, "rewritten")
            return
