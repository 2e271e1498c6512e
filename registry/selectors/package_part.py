"""One design with all that is published of it, as mirrors and other registries take it over."""

from __future__ import annotations

from uuid import UUID

from django.conf import settings
from django.db import transaction

from registry.formats.package_files import LINES
from registry.formats.package_part import NOT_IN_PARTS, part_bytes
from registry.formats.package_tables import TABLES
from registry.models import Design
from registry.selectors.moment import one_moment
from registry.selectors.package_rows import PackageRows


@transaction.atomic
def design_part(uuid: UUID) -> bytes | None:
    """The part's bytes, the same until something published of the design changes; None: no such design."""
    one_moment()
    design = Design.objects.filter(uuid=uuid).first()
    if design is None:
        return None
    rows = PackageRows(design)
    tables = {table.name: rows.table(table.name) for table in TABLES if table.name not in NOT_IN_PARTS}
    lines = {name: rows.lines(name) for name in LINES}
    return part_bytes(settings.BENCHQUORUM_ORIGIN, str(uuid), tables, lines)
