"""A design's data in a form, and what of it somebody changed, as paths and values."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from registry.models import Design, Pin
from registry.services.design_fields import field_value

Change = list[Any]
PLAIN = ("name", "maker", "description", "landmark", "viewing", "actuation", "common")


def words_of(text: str) -> list[str]:
    """Words between commas or line ends, each once."""
    parts = text.replace("\n", ",").replace("\r", ",").split(",")
    return list(dict.fromkeys(part.strip() for part in parts if part.strip()))


def design_changes(design: Design, posted: Mapping[str, str]) -> list[Change]:
    """Everything that the form says, as changes; those that change nothing are dropped by the service."""
    return [*_plain(posted), *_positions(design, posted), *_pins(design, posted), *_lists(design, posted)]


def _plain(posted: Mapping[str, str]) -> Iterator[Change]:
    for name in PLAIN:
        if name in posted:
            yield [[name], posted[name]]


def _positions(design: Design, posted: Mapping[str, str]) -> Iterator[Change]:
    for position in design.positions.prefetch_related("aliases"):
        label = position.label
        if f"position_name_{position.step}" not in posted:
            continue
        yield [["position_name", label], posted[f"position_name_{position.step}"]]
        yield [["start", label], f"start_{position.step}" in posted]
        wanted = words_of(posted.get(f"aliases_{position.step}", ""))
        now = [alias.label for alias in position.aliases.all()]
        yield from ([["alias", label, alias], False] for alias in now if alias not in wanted)
        yield from ([["alias", label, alias], True] for alias in wanted if alias not in now)
    if "has_starts" in posted:
        yield [["start_known"], "start_known" in posted]


def _pins(design: Design, posted: Mapping[str, str]) -> Iterator[Change]:
    for pin in Pin.objects.filter(connector__design=design, empty=False):
        if f"line_name_{pin.order}" in posted:
            yield [["line_name", pin.label], posted[f"line_name_{pin.order}"]]


def _lists(design: Design, posted: Mapping[str, str]) -> Iterator[Change]:
    for name, kind, rows in (
        ("families", "family", design.families.values_list("name", flat=True)),
        ("part_numbers", "part_number", design.part_numbers.values_list("number", flat=True)),
    ):
        if name not in posted:
            continue
        wanted, now = words_of(posted[name]), list(rows)
        yield from ([[kind, word], False] for word in now if word not in wanted)
        yield from ([[kind, word], True] for word in wanted if word not in now)


def design_values(design: Design) -> dict[str, Any]:
    """What the form shows."""
    return {
        **{name: field_value(design, [name]) for name in PLAIN},
        "families": ", ".join(design.families.values_list("name", flat=True)),
        "part_numbers": ", ".join(design.part_numbers.values_list("number", flat=True)),
        "positions": [
            {
                "step": position.step,
                "label": position.label,
                "name": position.name,
                "start": position.releases_starter,
                "aliases": ", ".join(alias.label for alias in position.aliases.all()),
            }
            for position in design.positions.prefetch_related("aliases")
        ],
        "pins": list(Pin.objects.filter(connector__design=design, empty=False)),
    }
