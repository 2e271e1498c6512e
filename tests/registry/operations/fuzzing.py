"""What the fuzz tests share: how long they run, what a refusal is, documents with a few nodes spoilt."""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import Any

from django.core.exceptions import PermissionDenied
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from rest_framework.exceptions import ParseError

from api.problems import Failure
from registry.errors import RegistryError, RegistryErrors
from tests.cases import case_tried

EXAMPLES = int(60 + 62_000 * float(os.environ.get("BENCHQUORUM_SOAK") or 0))  # of a test, in one round
REFUSED = (RegistryError, RegistryErrors, ParseError, Failure, PermissionDenied)
fuzz = settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck))

texts = st.one_of(
    st.text(max_size=12),
    st.sampled_from(
        [
            "",
            "-1",
            "1e999",
            "NaN",
            "OL",
            "\u202e",
            "\ud800",
            "\x00",
            "=1+1",
            "2026-02-30",
            "9" * 400,
            "1/2",
            "é",
        ]
    ),
)
figures = st.one_of(st.integers(), st.integers(-3, 12), st.floats(), st.sampled_from([10**400, -0.0, 2**63]))
values = st.recursive(
    st.none() | st.booleans() | figures | texts,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(texts, inner, max_size=3),
    max_leaves=6,
)


def survives(parse: Callable[[], Any]) -> Any:
    """What it gives, None where it is refused in words; anything else that is raised is the test's to see."""
    case_tried()
    try:
        return parse()
    except REFUSED:
        return None


def spoilt(data: st.DataObject, whole: Any) -> Any:
    """A document with up to four of its nodes replaced, dropped or given twice."""
    changed = {"": whole}
    for _ in range(data.draw(st.integers(1, 4))):
        holder, key = data.draw(st.sampled_from(sorted(_nodes(changed), key=lambda node: node[2])))[:2]
        act = data.draw(st.sampled_from(["replace", "replace", "drop", "twice"]))
        if act == "replace" or holder is changed:
            holder[key] = data.draw(values)
        elif act == "drop":
            del holder[key]
        elif isinstance(holder, list):
            holder.insert(key, holder[key])
        else:
            holder[key] = [holder[key], holder[key]]
    return changed[""]


def _nodes(holder: Any, at: str = "") -> list[tuple[Any, Any, str]]:
    """Every node with what holds it and its place there."""
    found = []
    for key, inner in list(holder.items()) if isinstance(holder, dict) else list(enumerate(holder)):
        place = f"{at}/{key!r}"
        found.append((holder, key, place))
        if isinstance(inner, dict | list):
            found += _nodes(inner, place)
    return found


def damaged(data: st.DataObject, whole: bytes) -> bytes:
    """A few bytes changed, or an end cut off."""
    broken = bytearray(whole)
    for at in data.draw(st.lists(st.integers(0, len(whole) - 1), max_size=5)):
        broken[at] = data.draw(st.integers(0, 255))
    return bytes(broken[: data.draw(st.integers(1, len(whole)))])
