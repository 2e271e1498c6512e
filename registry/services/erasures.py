"""Erasures that came after a backup was made are made again when it is restored."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from uuid import UUID

from registry.errors import RegistryError
from registry.formats.audit_chain import chain_faults, read_chain
from registry.models import AuditEntry, User
from registry.services.accounts import account_erase
from registry.translation import gettext as _


@dataclass(frozen=True)
class LaterChain:
    """A published chain without a fault: the hash of each entry; contributors whose accounts were erased."""

    hashes: list[str]
    erased: list[UUID]


def chain_read(path: Path) -> LaterChain:
    """Raises RegistryError where the file can't be read or has a fault."""
    hashes: list[str] = []
    erased: list[str] = []

    def told(entries: Iterable[dict[str, Any]]) -> Iterator[dict[str, Any]]:
        for entry in entries:
            hashes.append(str(entry.get("hash")))
            if entry.get("action") == "account_erase":
                erased.append(str(entry.get("target_uuid")))
            yield entry

    try:
        with path.open(encoding="utf-8") as lines:
            fault = next(chain_faults(told(read_chain(lines))), None)
        if fault is not None:
            raise _unusable(path, _("entry {number} has a fault").format(number=fault.number))
        return LaterChain(hashes, [UUID(contributor) for contributor in erased])
    except (OSError, ValueError) as error:  # the latter: text that is none, or an id that is none
        raise _unusable(path, str(error)) from None


def erasures_repeat(*, chain: LaterChain) -> int:
    """How many accounts were erased.  Raises RegistryError unless the chain continues the log here."""
    last = AuditEntry.objects.exclude(number=None).order_by("-number").first()
    if last is not None and last.number is not None:
        if len(chain.hashes) < last.number:
            raise RegistryError(
                "chain_too_early",
                _("The chain ends at entry {there}, the backup at entry {here}: it can't tell who was erased "
                  "since.").format(there=len(chain.hashes), here=last.number),
                _("Take a later copy of the chain, or leave it out where there is none."),
            )  # fmt: skip
        if chain.hashes[last.number - 1] != last.hash:
            raise RegistryError(
                "chain_of_another",
                _("The chain does not continue the log of this backup: it is of another registry, or one of "
                  "the two was rewritten."),
                _("Compare both with a copy that somebody else kept."),
            )  # fmt: skip
    accounts = User.objects.filter(contributor__uuid__in=chain.erased)
    for account in accounts:
        account_erase(by=account)
    return len(accounts)


def _unusable(path: Path, why: str) -> RegistryError:
    return RegistryError(
        "chain_unusable",
        _("{path} is no published chain to rely on: {why}.").format(path=path, why=why),
        _("Take another copy; `benchquorum audit --file` verifies one."),
    )
