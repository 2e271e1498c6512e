"""Another registry's designs, sheets and charts, taken over by its feed of changes.

A mirror is read-only and has the charts as they were computed there.  An exchange brings sheets and designs
beside one's own, and the charts are computed here.  Each design is taken over in one transaction that can be
repeated; only then does the mark move on, so whoever is killed goes on where it was.  A design that can't be
taken over is noted, reported, and tried again the next time; the others don't wait for it.  So is one that
can't even be fetched: only where the feed doesn't answer either is the registry given up.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from django.db import DatabaseError, InterfaceError, OperationalError, transaction
from django.utils import timezone

from registry.errors import RegistryError, RegistryErrors
from registry.formats.package_part import Part
from registry.models import Design, MirrorItem, MirrorSource
from registry.models.base import own_origin
from registry.selectors.mirrors import designs_of_decision, is_mirror
from registry.services.mirrors.fetching import SILENT, Fetched, Fetcher
from registry.services.packages.loading import load_rows
from registry.services.refreshes import refresh_run
from registry.translation import gettext as _

Plain = dict[str, Any]
Progress = Callable[[str, int], None]
A_PAGE = 200
FIRST_NUMBER = 2**62  # beyond every change: asks for the newest number alone
# What one design's part raises that is damaged or doesn't fit.
UNFIT = (RegistryError, RegistryErrors, DatabaseError, KeyError, ValueError, TypeError, LookupError)


@dataclass
class Pulled:
    """taken: designs stored anew; same: known already; bad: design → why not.

    went_back: their feed stands at an earlier number than before, so every design was asked for anew.
    """

    origin: str = ""
    taken: int = 0
    same: int = 0
    sheets: int = 0
    charts: int = 0
    bad: dict[str, str] = field(default_factory=dict)
    up_to: int = 0
    went_back: bool = False


def pull(
    url: str, *, exchange: bool = False, private: bool = False, fetcher: Fetcher | None = None
) -> Pulled:
    """Take over what changed there since the last time.  Raises RegistryError where it doesn't answer."""
    fetcher = fetcher or Fetcher(url, private=private)
    mode = MirrorSource.Mode.EXCHANGE if exchange else MirrorSource.Mode.MIRROR
    source = _source(fetcher.base, mode)
    pulled = Pulled()
    run = _Run(source, fetcher, pulled)
    run.designs(
        sorted(str(uuid) for uuid in source.items.exclude(error="").values_list("design_uuid", flat=True))
    )
    if source.since is None:
        run.everything()
    while True:
        page = run.changes(source.since or 0, A_PAGE)
        if page["newest"] < (source.since or 0):
            run.go_back()
            continue
        run.designs(dict.fromkeys(run.touched(page["results"])))
        run.move_to(page["last"])
        if not page["more"]:
            break
    pulled.bad |= {
        str(item.design_uuid): item.error for item in source.items.exclude(error="").order_by("design_uuid")
    }
    pulled.origin, pulled.up_to = source.origin, source.since or 0
    return pulled


def _source(url: str, mode: str) -> MirrorSource:
    source, made = MirrorSource.objects.get_or_create(url=url, defaults={"mode": mode})
    if source.mode != mode or (mode == MirrorSource.Mode.EXCHANGE and is_mirror()):
        raise _refused(_("This registry follows {url} in the other way already.").format(url=url))
    foreign = Design.objects.exclude(origin=own_origin())
    if (
        made
        and mode == MirrorSource.Mode.MIRROR
        and (
            Design.objects.filter(origin=own_origin()).exists()
            or foreign.exists()
            or MirrorSource.objects.exclude(pk=source.pk).exists()
        )
    ):
        source.delete()
        raise RegistryError(
            "registry_not_empty",
            _("There are designs in this registry already; a mirror begins empty."),
            _("Use an instance of its own, or add --exchange to have their sheets beside yours."),
        )
    return source


def _refused(message: str) -> RegistryError:
    return RegistryError("mirror_mode", message, _("Use an instance of its own for it."))


class _Unfetched(Exception):
    """One address doesn't answer, while the feed does."""


class _Run:
    """One pull: fetches and stores; what it needs of the source at every step."""

    def __init__(self, source: MirrorSource, fetcher: Fetcher, pulled: Pulled) -> None:
        self.source, self.fetcher, self.pulled = source, fetcher, pulled
        self.exchange = source.mode == MirrorSource.Mode.EXCHANGE

    def everything(self) -> None:
        """Every design that is there, and those that were; what changes meanwhile comes after the number."""
        start = self.changes(FIRST_NUMBER, 1)["newest"]
        known = self.source.items.values_list("design_uuid", flat=True)
        self.designs(dict.fromkeys([*self.all_designs(), *sorted(map(str, known))]))
        self.move_to(start)

    def go_back(self) -> None:
        """Their registry was restored from an earlier moment: changes of the numbers that were here are lost
        there, and others have them now."""
        if self.pulled.went_back:
            raise self.fetcher.silent(_("its feed of changes went back"))
        self.pulled.went_back = True
        self.source.since = None  # whoever is killed from here on begins the round again
        self.source.save(update_fields=["since"])
        self.everything()

    def changes(self, since: int, limit: int) -> Plain:
        page = self._json(f"api/v1/changes/?since={since}&limit={limit}")
        numbers = (page.get("last"), page.get("newest"))
        if not _is_list(page.get("results")) or not all(isinstance(one, int) for one in numbers):
            raise self.fetcher.silent(_("its feed of changes can't be read"))
        return page

    def all_designs(self) -> Iterator[str]:
        path: str | None = "api/v1/designs/"
        while path:
            page = self._json(path)
            if not _is_list(page.get("results")):
                raise self.fetcher.silent(_("its list of designs can't be read"))
            for line in page["results"]:
                yield str(line.get("design"))
            path = page.get("next")

    def _json(self, path: str) -> Plain:
        answer = self.fetcher.get(path)
        plain = _object(answer.content)
        if answer.status != 200 or plain is None:
            raise self.fetcher.silent(f"HTTP {answer.status}")
        return plain

    def _fetched(self, path: str, *, etag: str = "") -> Fetched:
        """_Unfetched where this address alone doesn't answer; RegistryError where nothing does."""
        try:
            return self.fetcher.get(path, etag=etag)
        except RegistryError as error:
            if error.code != SILENT:
                raise
            self.changes(FIRST_NUMBER, 1)
            raise _Unfetched(str(error)) from None

    def touched(self, lines: Iterable[Plain]) -> Iterator[str]:
        """Designs that changes are about; of a decision about a sheet or a number, those it belongs to."""
        for line in lines:
            payload = line.get("payload")
            if line.get("design"):
                yield str(line["design"])
            elif isinstance(payload, dict) and payload.get("decision"):
                yield from self._touched_by(str(payload["decision"]))

    def _touched_by(self, decision: str) -> Iterable[str]:
        """A decision that can't be read may be about any design: the unchanged ones cost little."""
        plain = None
        with contextlib.suppress(_Unfetched):
            answer = self._fetched(f"api/v1/decisions/{decision}/")
            if answer.status == 404:
                return []
            plain = _object(answer.content) if answer.status == 200 else None
        if plain is None:
            return sorted(map(str, self.source.items.values_list("design_uuid", flat=True)))
        return designs_of_decision(plain)

    def designs(self, uuids: Iterable[str]) -> None:
        for text in uuids:
            try:
                uuid = UUID(text)
            except ValueError:
                self.pulled.bad[text[:80]] = _("That is no id of a design.")
            else:
                self._design(uuid)

    def _design(self, uuid: UUID) -> None:
        item, _made = MirrorItem.objects.get_or_create(source=self.source, design_uuid=uuid)
        try:
            answer = self._fetched(f"api/v1/designs/{uuid}/part/", etag="" if item.error else item.etag)
        except _Unfetched as error:
            _note(item, error)
            return
        if answer.status == 304:
            self.pulled.same += 1
            return
        try:
            if answer.status != 200:
                raise RegistryError("part_missing", f"HTTP {answer.status}")
            if answer.etag.removeprefix("W/").strip('"') != hashlib.sha256(answer.content).hexdigest():
                raise RegistryError("part_digest", _("What came is not what its digest says."))
            self._store(str(uuid), answer.content)
        except (OperationalError, InterfaceError):
            raise  # our own database's fault, not the design's
        except UNFIT as error:
            _note(item, error)
            return
        item.etag, item.error, item.failed_at = answer.etag, "", None
        item.save()

    def _store(self, uuid: str, content: bytes) -> None:
        part = Part(content)
        if part.design != uuid:
            raise RegistryError("part_other", _("What came is another design."))
        if part.origin == own_origin():
            raise RegistryError(
                "origin_same",
                _("Both registries call themselves “{origin}”.").format(origin=part.origin),
                _("Give this one a name of its own: BENCHQUORUM_ORIGIN."),
            )
        if not self.source.origin:
            self.source.origin = part.origin
            self.source.save(update_fields=["origin"])
        with transaction.atomic():
            loaded = load_rows(
                part, charts=not self.exchange, of={part.origin} if self.exchange else None, complete=True
            )
        self.pulled.taken += 1
        self.pulled.sheets += loaded.sheets
        self.pulled.charts += loaded.charts
        if self.exchange:
            for design_id in sorted(loaded.touched):
                refresh_run(design_id=design_id)

    def move_to(self, number: int) -> None:
        """All up to this change is here."""
        if number < (self.source.since or 0):
            raise self.fetcher.silent(_("its feed of changes went back"))
        self.source.since, self.source.pulled_at = number, timezone.now()
        self.source.save(update_fields=["since", "pulled_at"])


def _note(item: MirrorItem, error: Exception) -> None:
    """Reported, and asked for again the next time."""
    item.error = (str(error).splitlines() or [""])[0][:300] or type(error).__name__
    item.failed_at = timezone.now()
    item.save()


def _object(content: bytes) -> Plain | None:
    try:
        plain = json.loads(content)
    except (ValueError, RecursionError):
        return None
    return plain if isinstance(plain, dict) else None


def _is_list(lines: object) -> bool:
    return isinstance(lines, list) and all(isinstance(line, dict) for line in lines)
