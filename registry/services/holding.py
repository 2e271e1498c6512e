"""What is held for a moderator before readers see it: sudden changes, and any change of a start position.

A figure that shifts is one too: a contact told as 15 Ω where it has 0.4 is closed either way, but a worn one
would pass for good.
A cell that was settled once stays so for good: neither a detour over a weaker standing nor one over no cell
at all changes its state unattended.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from registry.selectors.tolerance import figure_left

Place = tuple[Any, ...]

# A cell may lose its agreement step by step, first to "disputed" (which readers must see at once) and then to
# another state: the last step is what is held.
SETTLED = ("agreed", "disputed")
SETTLED_AT_START = (*SETTLED, "provisional")
FOR_TWO = ("start_position", "variant_gone", "after_withdrawal")  # reasons that two moderators answer for
CLOSED_OHM = 20.0  # Ω, leads subtracted: what reads below is closed (model.md)
WIDER = 2.0  # times as wide an acceptance range is no chance of one unit more


def reasons_to_hold(before: dict[str, Any], after: dict[str, Any]) -> list[dict[str, Any]]:
    """Codes with places, empty where the new chart may be published at once.

    start_position: a cell of a position that releases the starter changes its state, unless it was thin;
    agreed_changed: an agreed or disputed cell changes its state; variant_gone: a table disappears;
    figure_changed, figure_wider: of a settled cell that keeps its state.
    """
    reasons: list[dict[str, Any]] = []
    starts = _starts(after)
    tables = {variant["variant"]: _cells(variant) for variant in after["variants"]}
    for variant in before["variants"]:
        table = tables.get(variant["variant"])
        if table is None:
            reasons.append({"code": "variant_gone", "variant": variant["variant"]})
            continue
        for place, cell in _cells(variant).items():
            now = table.get(place)
            if now is None or not _is_settled(cell, starts):
                continue
            if cell["state"] != now["state"]:
                reasons.append(_reason(variant["variant"], now, cell["state"], starts))
            else:
                reasons += figure_reasons(variant["variant"], cell, now)
    return reasons


def figure_reasons(variant: str, cell: dict[str, Any], now: dict[str, Any]) -> list[dict[str, Any]]:
    """The typical figure left the range in which good units were accepted, or that became much wider.

    Of a contact that had no figure so far, as where all read by a buzzer, the limit of a closed one counts.
    """
    was, is_ = cell.get("ohm"), now.get("ohm")
    if not is_:
        return []
    lowest, highest = is_["accept"]
    place = {"variant": variant, **{name: now[name] for name in ("position", "pin", "against")}}
    if not was:
        beyond = now["state"] == "closed" and highest > CLOSED_OHM
        return [{"code": "figure_wider", **place, "from": CLOSED_OHM, "to": highest}] if beyond else []
    low, high = was["accept"]
    if figure_left(was, is_):
        return [{"code": "figure_changed", **place, "from": was["typical"], "to": is_["typical"]}]
    if highest - lowest > WIDER * (high - low):
        return [{"code": "figure_wider", **place, "from": high, "to": highest}]
    return []


def reasons_of_history(
    before: dict[str, Any], after: dict[str, Any], earlier: Iterable[dict[str, Any]]
) -> list[dict[str, Any]]:
    """As `reasons_to_hold`, for cells that are not settled in the chart before but were in one before that.

    earlier: charts that readers were shown before, newest first; read only as far as needed.
    """
    starts, shown = _starts(after), _all_cells(before)
    open_: dict[Place, dict[str, Any]] = {}
    last: dict[Place, Any] = {}  # the state that readers were shown last
    for key, now in _all_cells(after).items():
        was = shown.get(key)
        if now["state"] is None or (was is not None and _is_settled(was, starts)):
            continue
        if was is not None and was["state"] is not None:
            if was["state"] == now["state"]:
                continue
            last[key] = was["state"]
        open_[key] = now
    reasons = []
    for content in earlier if open_ else ():
        cells = _all_cells(content)
        for key in [key for key in open_ if key in cells and cells[key]["state"] is not None]:
            was, now = cells[key], open_[key]
            last.setdefault(key, was["state"])
            if last[key] == now["state"]:
                del open_[key]  # nothing that readers have not been shown last
            elif _is_settled(was, starts):
                reasons.append(_reason(key[0], open_.pop(key), last[key], starts))
        if not open_:
            break
    return reasons


def starts_settled(chart: dict[str, Any]) -> bool:
    """Whether readers may rely on any cell of a start position."""
    starts, cells = _starts(chart), _all_cells(chart).values()
    return any(cell["position"] in starts and _is_settled(cell, starts) for cell in cells)


def settled_cells(chart: dict[str, Any]) -> dict[Place, dict[str, Any]]:
    """By variant and place."""
    starts = _starts(chart)
    return {key: cell for key, cell in _all_cells(chart).items() if _is_settled(cell, starts)}


def _starts(chart: dict[str, Any]) -> set[str]:
    """Where nobody stated the start positions, the starter is released in park and neutral only."""
    starts = chart["design"]["start_positions"]
    return {"P", "N"} if starts is None else set(starts)


def _is_settled(cell: dict[str, Any], starts: set[str]) -> bool:
    return cell["standing"] in (SETTLED_AT_START if cell["position"] in starts else SETTLED)


def _reason(variant: str, now: dict[str, Any], state: Any, starts: set[str]) -> dict[str, Any]:
    return {
        "code": "start_position" if now["position"] in starts else "agreed_changed",
        "variant": variant,
        "position": now["position"],
        "pin": now["pin"],
        "against": now["against"],
        "from": state,
        "to": now["state"],
    }


def _all_cells(chart: dict[str, Any]) -> dict[Place, dict[str, Any]]:
    return {
        (variant["variant"], *place): cell
        for variant in chart["variants"]
        for place, cell in _cells(variant).items()
    }


def _cells(variant: dict[str, Any]) -> dict[tuple[Any, ...], dict[str, Any]]:
    return {
        (cell["position"], cell.get("between", False), *sorted((cell["pin"], cell["against"]))): cell
        for cell in variant["cells"]
    }
