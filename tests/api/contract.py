"""What API v1 has promised; `python -m tests.api.contract` records what was added."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

KEPT = Path(__file__).parent / "contract_v1.json"
METHODS = ("get", "post", "put", "patch", "delete")
Contract = dict[str, dict[str, Any]]


def contract(document: dict[str, Any]) -> Contract:
    """Operation → its parameters, the fields of its body and of each answer."""
    found: Contract = {}
    for path, item in document["paths"].items():
        for method in METHODS:
            if method not in item:
                continue
            operation = item[method]
            body = operation.get("requestBody", {}).get("content", {})
            found[f"{method.upper()} {path}"] = {
                "id": operation["operationId"],
                "parameters": sorted(f"{p['in']} {p['name']}" for p in operation.get("parameters", [])),
                "required": sorted(
                    f"{p['in']} {p['name']}" for p in operation.get("parameters", []) if p.get("required")
                ),
                "body": {kind: sorted(_fields(c["schema"], document)) for kind, c in body.items()},
                "body_required": {kind: sorted(_required(c["schema"])) for kind, c in body.items()},
                "answers": {
                    f"{status} {kind}": sorted(_fields(content["schema"], document))
                    for status, response in operation["responses"].items()
                    for kind, content in response.get("content", {}).items()
                },
            }
    return found


def missing(kept: Contract, now: Contract) -> list[str]:
    """What a client that was written against `kept` would miss, or be newly asked for."""
    lost = []
    for name, before in kept.items():
        after = now.get(name)
        if after is None:
            lost.append(f"{name} is gone")
            continue
        if before["id"] != after["id"]:
            lost.append(f"{name} is called otherwise")
        lost += [f"{name}: {p} is gone" for p in before["parameters"] if p not in after["parameters"]]
        lost += [f"{name}: {p} is asked for" for p in after["required"] if p not in before["required"]]
        for part in ("body", "answers"):
            for kind, fields in before[part].items():
                there = set(after[part].get(kind, ()))
                lost += [f"{name}: {kind}: {field} is gone" for field in fields if field not in there]
        for kind, fields in after["body_required"].items():
            known = before["body_required"].get(kind, ())
            lost += [f"{name}: {field} is asked for" for field in fields if field not in known]
    return lost


def _required(schema: dict[str, Any]) -> list[str]:
    return list(schema.get("required", []))


def _fields(schema: dict[str, Any], document: dict[str, Any], at: str = "") -> set[str]:
    if "$ref" in schema:
        name = schema["$ref"].rpartition("/")[2]
        return _fields(document["components"]["schemas"][name], document, at)
    found = {at} if at else set()
    for way in ("allOf", "anyOf", "oneOf"):
        for part in schema.get(way, []):
            found |= _fields(part, document, at)
    for name, inner in schema.get("properties", {}).items():
        found |= _fields(inner, document, f"{at}.{name}" if at else name)
    if isinstance(schema.get("items"), dict):
        found |= _fields(schema["items"], document, f"{at}[]")
    return found


def record() -> None:
    import django

    django.setup()
    from api.views.description import description

    now = contract(json.loads(description()[0]))
    if KEPT.exists():
        lost = missing(json.loads(KEPT.read_text()), now)
        if lost:
            raise SystemExit("v1 has promised this:\n" + "\n".join(lost))
    KEPT.write_text(json.dumps(now, indent=1, sort_keys=True) + "\n")


if __name__ == "__main__":
    record()
