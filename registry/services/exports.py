"""Every sheet that counts, as typed, in the tidy form, under the names that it was imported with."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from registry.formats.reading import ReadingKind
from registry.formats.safe_cells import names_apart
from registry.formats.tidy_writer import TidyRow, write_tidy
from registry.models import Contributor, Reading, SheetVersion
from registry.selectors.evidence import Overlays, decisions_in_force
from registry.selectors.unit_groups import unit_groups


def export_tidy() -> Iterator[str]:
    """The text of the file in pieces; import into an empty registry and export again gives the same bytes.

    Left out: suspects, withdrawn sheets, sheets that a decision in force has set aside.
    """
    return write_tidy(_rows())


def _rows() -> Iterator[TidyRow]:
    overlays = Overlays(decisions_in_force())
    versions = [
        version
        for version in SheetVersion.objects.filter(
            is_current=True,
            sheet__withdrawn_at__isnull=True,
            purpose=SheetVersion.Purpose.KNOWN_GOOD,
        ).select_related("sheet__contributor", "sheet__unit", "sheet__design")
        if not overlays.is_aside(version.sheet.uuid, version.sheet.contributor.uuid)
    ]
    names = _sheet_names(versions)
    units = _unit_names(versions)
    by_id = {version.pk: version for version in versions}
    readings = Reading.objects.filter(version__is_current=True).select_related(
        "place__position", "place__pin_a", "place__pin_b"
    )
    for reading in readings.iterator(chunk_size=5000):
        version = by_id.get(reading.version_id)
        if version is None:
            continue
        place, sheet = reading.place, version.sheet
        pin, against = place.pin_a.label, place.pin_b.label
        yield TidyRow(
            design=sheet.design.name,
            submission=names[version.pk],
            unit=units[version.pk],
            contributor=_contributor_name(sheet.contributor),
            step=place.position.step,
            position=place.position.label,
            pin=against if reading.turned else pin,
            against=pin if reading.turned else against,
            typed=reading.as_typed,
            kind=ReadingKind[reading.kind.upper()],
            low=reading.low_ohm,
            high=reading.high_ohm,
            sweep=reading.sweep,
            between=place.between,
            limit_ohm=reading.limit_ohm,
            lead_ohm=reading.lead_ohm,
            source_class=version.source_class,
            held_good=version.held_good,
        )


def _contributor_name(contributor: Contributor) -> str:
    return contributor.import_name or contributor.pseudonym


def _sheet_names(versions: list[SheetVersion]) -> dict[int, str]:
    """A name is unique in the file: two people's sheets of one name are told apart by their contributors."""
    names, owners = {}, {}
    for version in versions:
        key = str(version.sheet.uuid)
        names[key], owners[key] = version.sheet.name, _contributor_name(version.sheet.contributor)
    told = names_apart(names, owners)
    return {version.pk: told[str(version.sheet.uuid)] for version in versions}


def _unit_names(versions: list[SheetVersion]) -> dict[int, str]:
    """In the file design + unit is one switch: matched units share a name, others never do."""
    groups = unit_groups(version.sheet.unit_id for version in versions)
    switch = {
        version.pk: groups.get(version.sheet.unit_id, str(version.sheet.unit.uuid)) for version in versions
    }
    keys: dict[str, str] = {}
    owners: dict[str, str] = {}
    for version in versions:
        one, key = switch[version.pk], version.sheet.unit.key
        keys[one] = min(keys.get(one, key), key)
        owner = _contributor_name(version.sheet.contributor)
        owners[one] = min(owners.get(one, owner), owner)
    of_design: dict[str, dict[str, str]] = defaultdict(dict)
    for version in versions:
        of_design[version.sheet.design.name][switch[version.pk]] = keys[switch[version.pk]]
    told = {design: names_apart(names, owners) for design, names in of_design.items()}
    return {version.pk: told[version.sheet.design.name][switch[version.pk]] for version in versions}
