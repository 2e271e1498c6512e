"""A package becomes a registry: into an empty instance whole, or one design of another registry at a time."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from django.core.exceptions import ValidationError
from django.db import DataError, IntegrityError, transaction

from registry.errors import RegistryError
from registry.formats.package_files import Package
from registry.models import Design, Sheet
from registry.services.audit import record
from registry.services.packages.load_catalogue import Catalogue, load_variants
from registry.services.packages.load_charts import load_charts, load_decisions, load_disputes, load_snapshots
from registry.services.packages.load_jobs import load_jobs
from registry.services.packages.load_sheets import SheetsLoaded
from registry.services.refreshes import mark_stale
from registry.translation import gettext as _

Plain = dict[str, Any]
log = logging.getLogger("registry.packages")


class Rows(Protocol):
    """A package, or a part of one that came over the network."""

    def has(self, name: str) -> bool: ...

    def rows(self, name: str) -> Iterator[Plain]: ...

    def lines(self, name: str) -> Iterator[bytes]: ...


@dataclass(frozen=True)
class Loaded:
    """designs, sheets, charts: how many are new; touched: ids of designs whose evidence changed."""

    designs: int
    sheets: int
    charts: int
    touched: frozenset[int] = frozenset()


def package_load(path: Path) -> Loaded:
    """All of a package into an instance that has no design and no sheet yet, or nothing.

    Ids, origins, pseudonyms and bytes stay.  Raises RegistryError(s).
    """
    with Package(path) as package:
        package.check_digests()
        with transaction.atomic():
            if Design.objects.exists() or Sheet.objects.exists():
                raise RegistryError(
                    "registry_not_empty",
                    _("There are designs in this registry already; nothing was changed."),
                    _("A package is loaded into an empty instance; “benchquorum pull” joins two registries."),
                )
            loaded = load_rows(package, charts=True)
            record(
                by=None,
                action="package_load",
                target_kind="registry",
                target_uuid=None,
                package=package.digest,
            )
    return loaded


# What rows raise that can be read one by one and don't fit together, or not into the tables.
UNFIT = (
    KeyError,
    ValueError,
    TypeError,
    AttributeError,
    OverflowError,
    ValidationError,
    DataError,
    IntegrityError,
)


def load_rows(source: Rows, *, charts: bool, of: set[str] | None = None, complete: bool = False) -> Loaded:
    """Store what is not here yet.  charts: as computed there; else they are computed here, from all sheets.

    of: registries whose word on sheets taken back counts (None: all); complete: sheets of the designs that
    are not in the rows were taken back.  All or nothing; RegistryError where the rows don't fit together.
    """
    try:
        with transaction.atomic():
            return _loaded(source, charts, of, complete)
    except UNFIT as error:
        log.warning("rows that don't fit together: %s", type(error).__name__, exc_info=error)
        raise RegistryError(
            "package_inconsistent",
            _("What is in it does not fit together; nothing of it was taken over."),
            _("Get it again from where it comes from."),
        ) from None


def _loaded(source: Rows, charts: bool, of: set[str] | None, complete: bool) -> Loaded:
    catalogue = Catalogue(of)
    designs = list(source.rows("designs"))
    catalogue.load_designs(designs)
    catalogue.load_drawings(designs, source.rows("positions"), source.rows("pins"))
    catalogue.load_links(designs, source.rows("applications"))
    catalogue.load_parts(list(source.rows("part_numbers")), source.rows("supersessions"))
    sheets = SheetsLoaded(catalogue.designs, catalogue.parts, of)
    sheets.load_people(source.rows("contributors"))
    sheets.load_units(list(source.rows("units")))
    rows = list(source.rows("sheets"))
    sheets.load_sheets(rows, source.rows("readings"))
    load_jobs(source, sheets, restoring=of is None, complete=complete)
    if complete:
        for design in catalogue.designs.values():
            sheets.take_back(design, rows)
    added = 0
    if charts:
        load_variants(source.rows("variants"), catalogue.designs)
        load_decisions(source.rows("decisions"))
        load_disputes(source.rows("disputes"))
        snapshots = load_snapshots(source.rows("snapshots"), source.lines("snapshots"))
        lines = (source.lines("charts"), source.lines("inputs"))
        added = load_charts(source.rows("charts"), *lines, catalogue.designs, snapshots)
    else:
        mark_stale(sheets.touched)
    return Loaded(len(catalogue.made), sheets.added, added, frozenset(sheets.touched))
