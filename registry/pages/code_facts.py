"""Line-code facts for a page: what faults do, the danger first, and how few readings settle it."""

from __future__ import annotations

from functools import lru_cache
from typing import Any
from uuid import UUID

from django.utils.translation import get_language

from registry.formats.code_words import code_messages, dangerous, effect_message
from registry.services.chart_facts import line_codes_of, short_tests_of


def facts_for(design: UUID, variant: str, common: str | None, content_sha256: str) -> dict[str, Any] | None:
    """Of the chart that readers are shown, in the reader's language; worked out once for each content."""
    return _facts(design, variant, common, content_sha256, get_language())


@lru_cache(maxsize=512)
def _facts(
    design: UUID, variant: str, common: str | None, _sha: str, _language: str | None
) -> dict[str, Any] | None:
    found = line_codes_of(design)
    code = next((c for c in found[1] if c["variant"] == variant), None) if found else None
    if code is None:
        return None
    grave = dangerous(code["effects"])
    return {
        "says": code_messages(code),
        "danger": [effect_message(effect, common) for effect in grave],
        "others": [effect_message(effect, common) for effect in code["effects"] if not effect["danger"]],
    }


def effects_by_fault(design: UUID, variant: str | None) -> dict[tuple[Any, ...], dict[str, Any]]:
    """Cause, pins and positions → what that fault makes the controller see."""
    found = line_codes_of(design)
    codes = found[1] if found else []
    code = next((c for c in codes if c["variant"] == variant), codes[0] if codes else None)
    return {fault_key(effect): effect for effect in code["effects"]} if code else {}


def fault_key(fault: dict[str, Any]) -> tuple[Any, ...]:
    detail = fault.get("detail") or (fault.get("params") or {}).get("detail") or ""
    positions = tuple(sorted(fault["positions"])) if fault["cause"] == "worn_contact" else ()
    return fault["cause"], tuple(sorted(fault["pins"])), positions, detail if not fault["pins"] else ""


def readings_that_settle(design: UUID, variant: str | None) -> tuple[int, int] | None:
    """(the fewest readings that tell good from every single fault, readings of a full sheet)."""
    found = short_tests_of(design)
    tests = found[1] if found else []
    test = next((t for t in tests if t["variant"] == variant), tests[0] if tests else None)
    return (len(test["good"]), int(test["full"])) if test else None
