"""What changed between two charts beyond what one more good unit may show."""

from __future__ import annotations

from typing import Any

Cell = dict[str, Any]
Place = tuple[Any, ...]
UNREAD = "unread"


def cells_by_place(variant: dict[str, Any]) -> dict[Place, Cell]:
    """Cells of a variant by position, gap and unordered pair of pins."""
    return {
        (cell["position"], bool(cell.get("between")), *sorted((cell["pin"], cell["against"]))): cell
        for cell in variant["cells"]
    }


def changes_beyond(before: dict[str, Any], after: dict[str, Any]) -> list[dict[str, Any]]:
    """Places whose state differs, or whose typical figure left the range in which a good unit was accepted.

    A place that was not read before is no change; a table that is gone is one, as is a new one.
    """
    tables = {variant["variant"]: variant for variant in after["variants"]}
    changed: list[dict[str, Any]] = []
    for variant in before["variants"]:
        key = variant["variant"]
        if key not in tables:
            changed.append({"variant": key, "what": "variant_gone"})
            continue
        now = cells_by_place(tables[key])
        for place, cell in cells_by_place(variant).items():
            what = _change(cell, now.get(place))
            if what is not None:
                changed.append(
                    {"variant": key, "what": what, **_place(cell), **_states(cell, now.get(place))}
                )
    old = {variant["variant"] for variant in before["variants"]}
    changed += [{"variant": key, "what": "variant_new"} for key in tables if key not in old]
    return changed


def _change(cell: Cell, now: Cell | None) -> str | None:
    if cell["state"] is None:
        return None
    if now is None or now["state"] != cell["state"]:
        return "state"
    was, figure = cell.get("ohm"), now.get("ohm")
    return "figure" if was and figure and figure_left(was, figure) else None


def figure_left(was: dict[str, Any], now: dict[str, Any]) -> bool:
    """Whether the typical figure left the range in which a good unit was accepted."""
    return not was["accept"][0] <= now["typical"] <= was["accept"][1]


def _place(cell: Cell) -> dict[str, Any]:
    return {name: cell.get(name, False) for name in ("position", "between", "pin", "against")}


def _states(cell: Cell, now: Cell | None) -> dict[str, Any]:
    return {"from": cell["state"], "to": None if now is None else now["state"]}
