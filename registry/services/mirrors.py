"""Another registry's designs, sheets and charts, taken over by its feed of changes.

A mirror is read-only and has the charts as they were computed there.  An exchange brings sheets and designs
beside one's own, and the charts are computed here.  Each design is taken over in one transaction that can be
repeated; only then does the mark move on, so whoever is killed goes on where it was.  A design that can't be
taken over is noted, reported, and tried again the next time; the others don't wait for it.
"""

from __future__ import annotations

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
from registry.services.fetching import Fetcher
from registry.services.package_load import load_rows
from registry.services.refreshes import refresh_run
from registry.translation import gettext as _

Plain = dict[str, Any]
Progress = Callable[[str, int], None]
A_PAGE = 200
FIRST_NUMBER = 2**62  # beyond every change: asks for the newest number alone


@dataclass
class Pulled:
    """taken: designs stored anew; same: known already; bad: design → why not."""

    origin: str = ""
    taken: int = 0
    same: int = 0
    sheets: int = 0
    charts: int = 0
    bad: dict[str, str] = field(default_factory=dict)
    up_to: int = 0


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
        start = run.changes(FIRST_NUMBER, 1)["newest"]  # what changes meanwhile comes after it
        run.designs(run.all_designs())
        run.move_to(int(start))
    while True:
        page = run.changes(source.since or 0, A_PAGE)
        run.designs(dict.fromkeys(run.touched(page["results"])))
        run.move_to(int(page["last"]))
        if not page["more"]:
            break
    pulled.bad = {
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


class _Run:
    """One pull: fetches and stores; what it needs of the source at every step."""

    def __init__(self, source: MirrorSource, fetcher: Fetcher, pulled: Pulled) -> None:
        self.source, self.fetcher, self.pulled = source, fetcher, pulled
        self.exchange = source.mode == MirrorSource.Mode.EXCHANGE

    def changes(self, since: int, limit: int) -> Plain:
        page = self._json(f"api/v1/changes/?since={since}&limit={limit}")
        if not isinstance(page.get("results"), list) or not isinstance(page.get("last"), int):
            raise self.fetcher.silent(_("its feed of changes can't be read"))
        return page

    def all_designs(self) -> Iterator[str]:
        path: str | None = "api/v1/designs/"
        while path:
            page = self._json(path)
            for line in page["results"]:
                yield str(line["design"])
            path = page.get("next")

    def _json(self, path: str) -> Plain:
        answer = self.fetcher.get(path)
        try:
            plain = json.loads(answer.content)
        except ValueError:
            plain = None
        if answer.status != 200 or not isinstance(plain, dict):
            raise self.fetcher.silent(f"HTTP {answer.status}")
        return plain

    def touched(self, lines: Iterable[Plain]) -> Iterator[str]:
        """Designs that changes are about; of a decision about a sheet or a number, those it belongs to."""
        for line in lines:
            if line.get("design"):
                yield str(line["design"])
            elif line.get("payload", {}).get("decision"):
                answer = self.fetcher.get(f"api/v1/decisions/{line['payload']['decision']}/")
                if answer.status == 200:
                    yield from designs_of_decision(json.loads(answer.content))

    def designs(self, uuids: Iterable[str]) -> None:
        for uuid in uuids:
            self._design(uuid)

    def _design(self, uuid: str) -> None:
        item, _made = MirrorItem.objects.get_or_create(source=self.source, design_uuid=UUID(uuid))
        answer = self.fetcher.get(f"api/v1/designs/{UUID(uuid)}/part/", etag="" if item.error else item.etag)
        if answer.status == 304:
            self.pulled.same += 1
            return
        try:
            if answer.status != 200:
                raise RegistryError("part_missing", f"HTTP {answer.status}")
            if answer.etag.removeprefix("W/").strip('"') != hashlib.sha256(answer.content).hexdigest():
                raise RegistryError("part_digest", _("What came is not what its digest says."))
            self._store(uuid, answer.content)
        except (OperationalError, InterfaceError):
            raise  # our own database's fault, not the design's
        except (
            RegistryError,
            RegistryErrors,
            DatabaseError,
            KeyError,
            ValueError,
            TypeError,
            LookupError,
        ) as error:
            item.error = (str(error).splitlines() or [type(error).__name__])[0][:300] or type(error).__name__
            item.failed_at = timezone.now()
            item.save()
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
