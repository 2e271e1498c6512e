"""The fields of a JSON schema, each with its types, its words and whether it is always there."""

from __future__ import annotations

from typing import Any

Plain = dict[str, Any]
# type: sorted, ["any"] where nothing is said; enum: sorted words, or None; required: beside its neighbours
Shape = dict[str, Any]
NAME_OF = {str: "string", bool: "boolean", int: "integer", float: "number", type(None): "null"}


def shapes(schema: Plain, document: Plain, at: str = "", *, required: bool = False) -> dict[str, Shape]:
    """Path → shape; "" is the whole, `a.b` a field inside a field, `a[]` an item of a list."""
    if "$ref" in schema:
        schema = document["components"]["schemas"][schema["$ref"].rpartition("/")[2]]
        return shapes(schema, document, at, required=required)
    ways = [part for way in ("anyOf", "oneOf") for part in schema.get(way, [])]
    found = _either([shapes(part, document, at, required=required) for part in ways])
    for part in schema.get("allOf", []):
        found = _both(found, shapes(part, document, at, required=required))
    own: dict[str, Shape] = {at: _own(schema, bare=bool(found), required=required)}
    for name, inner in schema.get("properties", {}).items():
        needed = name in schema.get("required", [])
        own |= shapes(inner, document, f"{at}.{name}" if at else name, required=needed)
    if isinstance(schema.get("items"), dict):
        own |= shapes(schema["items"], document, f"{at}[]")
    return _both(found, own)


def _own(schema: Plain, *, bare: bool, required: bool) -> Shape:
    """What the schema itself says; bare: its parts say the rest."""
    words = [schema["const"]] if "const" in schema else schema.get("enum")
    said = schema.get("type", [])
    kinds = {said} if isinstance(said, str) else set(said)
    if not kinds and words is not None:
        kinds = {NAME_OF[type(word)] for word in words}
    if not kinds and "properties" in schema:
        kinds = {"object"}
    if not kinds and not bare:
        kinds = {"any"}
    enum = None if words is None else sorted(words, key=str)
    return {"type": sorted(kinds), "enum": enum, "required": required}


def _either(parts: list[dict[str, Shape]]) -> dict[str, Shape]:
    """One of the parts holds: a field is only always there where it is in all of them."""
    found: dict[str, Shape] = {}
    for path in {path for part in parts for path in part}:
        there = [part[path] for part in parts if path in part]
        open_ = any(one["enum"] is None and one["type"] != ["null"] for one in there)
        words = {word for one in there for word in one["enum"] or ()}
        found[path] = {
            "type": sorted({kind for one in there for kind in one["type"]}),
            "enum": None if open_ or not words else sorted(words, key=str),
            "required": len(there) == len(parts) and all(one["required"] for one in there),
        }
    return found


def _both(one: dict[str, Shape], other: dict[str, Shape]) -> dict[str, Shape]:
    """Both hold: what either says of a field is so."""
    found = dict(one)
    for path, shape in other.items():
        known = found.get(path, {"type": [], "enum": None, "required": False})
        found[path] = {
            "type": known["type"] or shape["type"],
            "enum": shape["enum"] if known["enum"] is None else known["enum"],
            "required": known["required"] or shape["required"],
        }
    return found


def types_outside(kinds: list[str], allowed: list[str]) -> list[str]:
    """Types that are not among the allowed ones; every integer is a number."""
    if "any" in allowed:
        return []
    wider = {*allowed, *(["integer"] if "number" in allowed else [])}
    return [kind for kind in kinds if kind not in wider]
