"""`benchquorum audit`: verify the log of who did what; anybody can, on the published chain.

With no option the registry's own log is verified, that it has the entries of the published file, and that
nothing published was changed.  `--file` needs no
database.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from registry.errors import RegistryError
from registry.formats.audit_chain import ChainFault, chain_faults, extension_faults, read_chain
from registry.translation import gettext as _

SAYS = {
    "unreadable": "can't be read",
    "number": "has not the number that follows",
    "previous": "does not follow the entry before it",
    "hash": "was changed: its content gives another hash",
    "rewritten": "is lost or rewritten since the earlier copy",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--export", type=Path, metavar="FILE", help="write the published chain")
    parser.add_argument("--file", type=Path, metavar="FILE", help="verify a published chain")
    parser.add_argument(
        "--extends", type=Path, metavar="OLDER", help="with --file: it must continue this earlier copy"
    )


def run(args: argparse.Namespace) -> int:
    if args.extends and not args.file:
        raise RegistryError(
            "option_alone", _("--extends needs --file."), _("Name the later copy with --file.")
        )
    if args.file:
        return _verify_file(args.file, args.extends)
    _set_up()
    return _export(args.export) if args.export else _verify_registry()


def _set_up() -> None:
    import os

    import django

    from registry.commands.database import require_database

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "registry.settings")
    django.setup()
    require_database()


def _verify_file(path: Path, older: Path | None) -> int:
    """A line at a time: a chain of years doesn't fit into memory."""
    count, head = 0, ""

    def counted() -> Iterator[dict[str, Any]]:
        nonlocal count, head
        for entry in _entries(path):
            count, head = count + 1, str(entry.get("hash", ""))
            yield entry

    faults = list(chain_faults(counted()))
    if older is not None:
        faults += extension_faults(_entries(older), _entries(path))
    return _say(faults, f"{count} entries, each follows from the one before it; the last is {head}.")


def _entries(path: Path) -> Iterator[dict[str, Any]]:
    try:
        with path.open(encoding="utf-8") as lines:
            yield from read_chain(lines)
    except (OSError, UnicodeDecodeError) as error:
        raise RegistryError(
            "file_unreadable",
            _("{file} can't be read: {error}.").format(file=path, error=error),
            _("Look at its name."),
        ) from None


def _export(path: Path) -> int:
    from registry.services.audit import chain_seal
    from registry.services.chain_file import chain_lines

    chain_seal()
    count = 0
    with path.open("w", encoding="utf-8") as file:
        for line in chain_lines():
            file.write(line)
            count += 1
    print(f"{count} entries in {path}; verify with `benchquorum audit --file {path}`.")
    return 0


def _verify_registry() -> int:
    from django.db import connection

    from registry.immutability import missing, unlike
    from registry.models import AuditEntry
    from registry.services.audit import chain_seal, stored_faults
    from registry.services.chain_file import chain_left
    from registry.services.clock_runs import ended_well
    from registry.services.kept_bytes import changed_bytes

    chain_seal()
    wrong = [f"trigger {name} is missing; run `benchquorum migrate`" for name in missing(connection)]
    wrong += [f"{name} is not what it should be; run `benchquorum migrate`" for name in unlike(connection)]
    wrong += list(changed_bytes())
    left = chain_left()
    if left is not None:
        wrong.append(f"entry {left.number} of the log is not that of the published {left.path}")
    for line in wrong:
        print(line, file=sys.stderr)
    last = AuditEntry.objects.exclude(number=None).order_by("-number").first()
    says = "The log is empty." if last is None else (
        f"{last.number} entries, each follows from the one before it; the last is {last.hash}."
    )  # fmt: skip
    status = _say(stored_faults(), says)
    if wrong or status:
        return 1
    ended_well(command="audit")
    return 0


def _say(faults: Iterable[ChainFault], fine: str) -> int:
    faults = list(faults)
    for fault in faults:
        print(f"entry {fault.number} {SAYS[fault.code]}", file=sys.stderr)
    print(f"{len(faults)} faults in the chain." if faults else fine)
    return 1 if faults else 0
