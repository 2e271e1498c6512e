"""A design's data as single fields that can be set and set back, each alone.

A path names a field: ["name"], ["alias", "D", "D4"] (there or not), ["start", "P"]…  An edit is a list of
(path, value); its inverse is the list of what was there.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from registry.errors import RegistryError, RegistryErrors, refuse
from registry.formats.labels import is_hidden, parse_name
from registry.models import Connector, Design, GearboxFamily, Maker, PartNumber, Pin, PositionAlias, part_key
from registry.models.catalogue import ConnectorViewing, DesignActuation
from registry.services.texts import has_control
from registry.translation import gettext as _

Path = Sequence[str]
TEXTS = {
    "name": 200,
    "description": 4000,
    "maker": 120,
    "landmark": 200,
    "line_name": 60,
    "position_name": 60,
}
NAMES = {"name": 200, "maker": 120, "line_name": 60, "position_name": 60, "alias": 40, "family": 120,
         "part_number": 80}  # fmt: skip
WORDS = {"viewing": ConnectorViewing.values, "actuation": DesignActuation.values}
THERE = ("alias", "family", "part_number", "start", "start_known")
PARTS_OF_PATH = {"alias": 3, "family": 2, "part_number": 2, "start": 2, "line_name": 2, "position_name": 2}


def read_changes(design: Design, payload: dict[str, Any]) -> None:
    """Check an edit and keep of it only what changes something."""
    changes = payload.get("set")
    if not isinstance(changes, list):
        refuse("/payload/set", "not_a_list", _("This is not a list of changes."))
    kept = []
    for n, change in enumerate(changes):
        at = f"/payload/set/{n}"
        if not (isinstance(change, list | tuple) and len(change) == 2 and _is_path(change[0])):
            refuse(at, "change_unreadable", _("This is not a field with its value."))
        path, value = list(change[0]), change[1]
        value = _checked(design, path, value, at)
        if field_value(design, path) != value:
            kept.append([path, value])
    if not kept:
        refuse("/payload/set", "nothing_changed", _("Nothing is different from what is there."))
    payload["set"] = kept


def _is_path(path: Any) -> bool:
    return (
        isinstance(path, list | tuple)
        and bool(path)
        and all(isinstance(part, str) for part in path)
        and path[0] in {*TEXTS, *WORDS, *THERE, "common"}
        and len(path) == PARTS_OF_PATH.get(path[0], 1)
    )


def _checked(design: Design, path: Path, value: Any, at: str) -> Any:
    field = path[0]
    if field in THERE:
        if not isinstance(value, bool):
            refuse(at, "not_yes_or_no", _("This is neither true nor false."))
    elif not isinstance(value, str) or len(value.strip()) > TEXTS.get(field, 40):
        refuse(at, "too_long", _("This is no text, or a very long one."))
    else:
        value = value.strip()
    if field in WORDS and value not in WORDS[field]:
        refuse(at, "word_unknown", _("Choose one of: {words}.").format(words=", ".join(WORDS[field])))
    if field == "name":
        _free_name(design, value, at)
    if field in ("alias", "start", "position_name") and not design.positions.filter(label=path[1]).exists():
        refuse(at, "position_unknown", _("There is no position “{label}”.").format(label=path[1]))
    if field == "alias" and value:
        _free_alias(design, path, at)
    pin = value if field == "common" else path[1] if field == "line_name" else ""
    if pin and not Pin.objects.filter(connector__design=design, label=pin, empty=False).exists():
        refuse(at, "pin_unknown", _("There is no pin “{pin}”.").format(pin=pin))
    if field in ("family", "part_number") and not part_key(path[1]):
        refuse(at, "value_missing", _("This is empty."), _("Fill it in."))
    if value and value != field_value(design, path):
        _fit(field, value if isinstance(value, str) else path[-1], at)
    return value


def _fit(field: str, text: str, at: str) -> None:
    """A new name is held to what a proposed one is (`Fields.name`): it becomes a cell of tables, too."""
    if field in NAMES:
        if is_hidden(text):
            refuse(at, "control_characters", _("There are characters here that can't be shown."))
        try:
            parse_name(text, NAMES[field])
        except RegistryError as error:
            raise RegistryErrors([error.at(field=at)]) from None
    elif field in ("description", "landmark") and has_control(text, lines=field == "description"):
        refuse(at, "control_characters", _("There are characters here that can't be shown."))


def _free_name(design: Design, name: str, at: str) -> None:
    if not name:
        refuse(at, "value_missing", _("This is empty."), _("Fill it in."))
    if Design.objects.filter(origin=design.origin, name=name).exclude(pk=design.pk).exists():
        refuse(at, "design_exists", _("There is a design “{name}” already.").format(name=name))


def _free_alias(design: Design, path: Path, at: str) -> None:
    taken = design.positions.filter(label=path[2]) | design.positions.filter(aliases__label=path[2])
    if taken.exclude(label=path[1]).exists() or not path[2].strip() or len(path[2]) > 40:
        refuse(at, "label_twice", _("“{label}” can't be an alias here.").format(label=path[2]))


def field_value(design: Design, path: Path) -> Any:
    return FIELDS[path[0]][0](design, path)


def change_field(design: Design, path: Path, value: Any) -> None:
    FIELDS[path[0]][1](design, path, value)


def _plain(name: str) -> tuple[Callable[..., Any], Callable[..., None]]:
    def read(design: Design, path: Path) -> Any:
        return Design.objects.values_list(name, flat=True).get(pk=design.pk)

    def write(design: Design, path: Path, value: Any) -> None:
        changed = {name: value} | ({"key": part_key(value)} if name == "name" else {})
        Design.objects.filter(pk=design.pk).update(**changed)

    return read, write


def _drawn(name: str) -> tuple[Callable[..., Any], Callable[..., None]]:
    def read(design: Design, path: Path) -> Any:
        return Connector.objects.filter(design=design).values_list(name, flat=True).first()

    def write(design: Design, path: Path, value: Any) -> None:
        Connector.objects.filter(design=design).update(**{name: value})

    return read, write


def _maker(design: Design, path: Path) -> str:
    return Maker.objects.filter(designs=design).values_list("name", flat=True).first() or ""


def _set_maker(design: Design, path: Path, value: str) -> None:
    maker = Maker.objects.get_or_create(name=value)[0] if value else None
    Design.objects.filter(pk=design.pk).update(maker=maker)


def _common(design: Design, path: Path) -> str:
    return Connector.objects.filter(design=design).values_list("common__label", flat=True).first() or ""


def _set_common(design: Design, path: Path, value: str) -> None:
    pin = Pin.objects.filter(connector__design=design, label=value).first() if value else None
    Connector.objects.filter(design=design).update(common=pin)


def _line_name(design: Design, path: Path) -> str:
    pins = Pin.objects.filter(connector__design=design, label=path[1])
    return pins.values_list("line_name", flat=True).first() or ""


def _set_line_name(design: Design, path: Path, value: str) -> None:
    Pin.objects.filter(connector__design=design, label=path[1]).update(line_name=value)


def _of_position(name: str) -> tuple[Callable[..., Any], Callable[..., None]]:
    def read(design: Design, path: Path) -> Any:
        return design.positions.filter(label=path[1]).values_list(name, flat=True).first()

    def write(design: Design, path: Path, value: Any) -> None:
        design.positions.filter(label=path[1]).update(**{name: value})

    return read, write


def _alias(design: Design, path: Path) -> bool:
    return PositionAlias.objects.filter(
        position__design=design, position__label=path[1], label=path[2]
    ).exists()


def _set_alias(design: Design, path: Path, value: bool) -> None:
    position = design.positions.get(label=path[1])
    if value:
        PositionAlias.objects.get_or_create(position=position, label=path[2])
    else:
        PositionAlias.objects.filter(position=position, label=path[2]).delete()


def _family(design: Design, path: Path) -> bool:
    return design.families.filter(name=path[1]).exists()


def _set_family(design: Design, path: Path, value: bool) -> None:
    here = Design.objects.select_related("maker").get(pk=design.pk)
    if value:
        design.families.add(GearboxFamily.objects.get_or_create(name=path[1], maker=here.maker)[0])
    else:
        design.families.remove(*design.families.filter(name=path[1]))


def _part(design: Design, path: Path) -> bool:
    return design.part_numbers.filter(key=part_key(path[1])).exists()


def _set_part(design: Design, path: Path, value: bool) -> None:
    key = part_key(path[1])
    if value:
        part, _made = PartNumber.objects.get_or_create(key=key, defaults={"number": path[1]})
        part.designs.add(design)
    else:
        design.part_numbers.remove(*design.part_numbers.filter(key=key))


FIELDS: dict[str, tuple[Callable[..., Any], Callable[..., None]]] = {
    "name": _plain("name"),
    "description": _plain("description"),
    "actuation": _plain("actuation"),
    "start_known": _plain("start_known"),
    "landmark": _drawn("landmark"),
    "viewing": _drawn("viewing"),
    "maker": (_maker, _set_maker),
    "common": (_common, _set_common),
    "line_name": (_line_name, _set_line_name),
    "position_name": _of_position("name"),
    "start": _of_position("releases_starter"),
    "alias": (_alias, _set_alias),
    "family": (_family, _set_family),
    "part_number": (_part, _set_part),
}
