"""What is held for a moderator before readers see it: sudden changes, and any change of a start position."""

from __future__ import annotations

from typing import Any

# A cell may lose its agreement step by step, first to "disputed" (which readers must see at once) and then to
# another state: the last step is what is held.
SETTLED = ("agreed", "disputed")
SETTLED_AT_START = (*SETTLED, "provisional")


def reasons_to_hold(before: dict[str, Any], after: dict[str, Any]) -> list[dict[str, Any]]:
    """Codes with places, empty where the new chart may be published at once.

    start_position: a cell of a position that releases the starter changes its state, unless it was thin;
    agreed_changed: an agreed or disputed cell changes its state; variant_gone: a table disappears.
    """
    reasons: list[dict[str, Any]] = []
    starts = after["design"]["start_positions"]
    # Where nobody stated the start positions, the starter is released in park and neutral only.
    starts = {"P", "N"} if starts is None else set(starts)
    tables = {variant["variant"]: _cells(variant) for variant in after["variants"]}
    for variant in before["variants"]:
        table = tables.get(variant["variant"])
        if table is None:
            reasons.append({"code": "variant_gone", "variant": variant["variant"]})
            continue
        for place, cell in _cells(variant).items():
            now = table.get(place)
            in_start = cell["position"] in starts
            settled = SETTLED_AT_START if in_start else SETTLED
            if now is not None and cell["state"] != now["state"] and cell["standing"] in settled:
                reasons.append(
                    {
                        "code": "start_position" if in_start else "agreed_changed",
                        "variant": variant["variant"],
                        "position": cell["position"],
                        "pin": cell["pin"],
                        "against": cell["against"],
                        "from": cell["state"],
                        "to": now["state"],
                    }
                )
    return reasons


def _cells(variant: dict[str, Any]) -> dict[tuple[Any, ...], dict[str, Any]]:
    return {
        (cell["position"], cell.get("between", False), *sorted((cell["pin"], cell["against"]))): cell
        for cell in variant["cells"]
    }
