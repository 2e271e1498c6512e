"""Places come into being when they are first read."""

from __future__ import annotations

from collections.abc import Iterable

from registry.models import Place

PlaceKey = tuple[int, bool, int, int]  # position, between, lower pin, higher pin (ids)


def places_for(keys: Iterable[PlaceKey]) -> dict[PlaceKey, int]:
    """Ids of the places, made where missing; two people making the same one at once get the same."""
    wanted = set(keys)
    found = _known(wanted)
    missing = sorted(wanted - found.keys())
    if missing:
        Place.objects.bulk_create(
            (
                Place(position_id=position, between=between, pin_a_id=low, pin_b_id=high)
                for position, between, low, high in missing
            ),
            ignore_conflicts=True,
        )
        found = _known(wanted)
    return found


def _known(wanted: set[PlaceKey]) -> dict[PlaceKey, int]:
    positions = sorted({key[0] for key in wanted})
    rows = Place.objects.filter(position_id__in=positions)
    return {
        (position, between, low, high): pk
        for pk, position, between, low, high in rows.values_list(
            "pk", "position_id", "between", "pin_a_id", "pin_b_id"
        )
        if (position, between, low, high) in wanted
    }
