"""What API v1 has promised; `python -m tests.api.contract` records what was added."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from tests.api.contract_shapes import Shape, shapes, types_outside

KEPT = Path(__file__).parent / "contract_v1.json"
METHODS = ("get", "post", "put", "patch", "delete")
Contract = dict[str, dict[str, Any]]
Fields = dict[str, Shape]


def contract(document: dict[str, Any]) -> Contract:
    """Operation → its parameters, the fields of its body and of each answer, each with its shape."""
    found: Contract = {}
    for path, item in document["paths"].items():
        for method in METHODS:
            if method not in item:
                continue
            operation = item[method]
            body = operation.get("requestBody", {}).get("content", {})
            found[f"{method.upper()} {path}"] = {
                "id": operation["operationId"],
                "parameters": _parameters(operation.get("parameters", []), document),
                "body": {kind: _fields(content["schema"], document) for kind, content in body.items()},
                "answers": {
                    f"{status} {kind}": _fields(content["schema"], document)
                    for status, response in operation["responses"].items()
                    for kind, content in response.get("content", {}).items()
                },
            }
    return found


def _fields(schema: dict[str, Any], document: dict[str, Any]) -> Fields:
    return {field: _said(shape) for field, shape in shapes(schema, document).items()}


def _parameters(parameters: list[dict[str, Any]], document: dict[str, Any]) -> Fields:
    return {
        f"{one['in']} {one['name']}": _said(
            shapes(one["schema"], document, required=bool(one.get("required")))[""]
        )
        for one in parameters
    }


def _said(shape: Shape) -> Shape:
    """Without what is not said: most fields have no list of words."""
    return {name: value for name, value in shape.items() if value or name == "type"}


def missing(kept: Contract, now: Contract) -> list[str]:
    """What a client that was written against `kept` would miss, be newly asked for, or not understand."""
    lost = []
    for name, before in kept.items():
        after = now.get(name)
        if after is None:
            lost.append(f"{name} is gone")
            continue
        if before["id"] != after["id"]:
            lost.append(f"{name} is called otherwise")
        lost += [f"{name}: {said}" for said in _refused(before["parameters"], after["parameters"])]
        for kind, fields in before["body"].items():
            lost += [f"{name}: {kind}: {said}" for said in _refused(fields, after["body"].get(kind, {}))]
        for kind, fields in before["answers"].items():
            lost += [f"{name}: {kind}: {said}" for said in _unlike(fields, after["answers"].get(kind, {}))]
    return lost


def _refused(before: Fields, after: Fields) -> list[str]:
    """Of what a client sends: what is not taken any more, or asked for where it was not."""
    lost = [f"{field or 'it'} is gone" for field in before if field not in after]
    for field, shape in after.items():
        known = before.get(field)
        if shape.get("required") and not (known or {}).get("required") and _was_there(field, before):
            lost.append(f"{field} is asked for")
        if known is None:
            continue
        lost += [f"{field} may be no {kind}" for kind in types_outside(known["type"], shape["type"])]
        lost += _dropped_words(field, known, shape)
        if known.get("enum") is None and shape.get("enum") is not None:
            lost.append(f"{field} may only be one of some words")
    return lost


def _unlike(before: Fields, after: Fields) -> list[str]:
    """Of what a client reads: what is gone, may be left out, or may come in another form."""
    lost = []
    for field, known in before.items():
        shape = after.get(field)
        if shape is None:
            lost.append(f"{field or 'it'} is gone")
            continue
        if known.get("required") and not shape.get("required"):
            lost.append(f"{field} may be left out")
        lost += [f"{field} may be {kind}" for kind in types_outside(shape["type"], known["type"])]
        lost += _dropped_words(field, known, shape)
        if known.get("enum") is not None and shape.get("enum") is None:
            lost.append(f"{field} may be any word")
    return lost


def _dropped_words(field: str, known: Shape, shape: Shape) -> list[str]:
    """A word that is gone was as a rule renamed; new ones are an addition."""
    if known.get("enum") is None or shape.get("enum") is None:
        return []
    return [f"{field}: {word} is gone" for word in known["enum"] if word not in shape["enum"]]


def _was_there(field: str, before: Fields) -> bool:
    """Whether what the field is part of was sent before: in something new all may be asked for."""
    parent = field.removesuffix("[]").rpartition(".")[0]
    return not parent or parent in before


def written(now: Contract) -> str:
    """JSON, a field a line: what changes is seen in a comparison."""
    return _lines(now) + "\n"


def _lines(value: Any, indent: str = "") -> str:
    is_shape = isinstance(value, dict) and isinstance(value.get("type"), list)
    if not isinstance(value, dict) or not value or is_shape:
        return json.dumps(value, sort_keys=True)
    inner = indent + " "
    lines = [f"{inner}{json.dumps(name)}: {_lines(value[name], inner)}" for name in sorted(value)]
    return "{\n" + ",\n".join(lines) + f"\n{indent}}}"


def record() -> None:
    import django

    django.setup()
    from api.views.description import description

    now = contract(json.loads(description()[0]))
    if KEPT.exists():
        lost = missing(json.loads(KEPT.read_text()), now)
        if lost:
            raise SystemExit("v1 has promised this:\n" + "\n".join(lost))
    KEPT.write_text(written(now))


if __name__ == "__main__":
    record()
