"""Which units are the same physical switch, by the word of two people."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from registry.models import Unit, UnitMatch

CHUNK = 500  # ids a query: SQLite's limit on variables
Word = tuple[int, int, int]  # unit, the same as unit, said by contributor: ids


def unit_groups(units: Iterable[int]) -> dict[int, str]:
    """unit id → name of the physical switch, for units that two people say are the same."""
    words = unit_words(units)
    if not words:
        return {}
    named = list(Unit.objects.filter(pk__in={pk for word in words for pk in word[:2]}))
    owners = {unit.pk: unit.contributor_id for unit in named}
    return groups_of(words, owners, {unit.pk: str(unit.uuid) for unit in named})


def unit_words(units: Iterable[int]) -> set[Word]:
    """What was said of two of these units."""
    asked = sorted(set(units))
    known = set(asked)
    return {
        word
        for start in range(0, len(asked), CHUNK)
        for word in UnitMatch.objects.filter(unit__in=asked[start : start + CHUNK]).values_list(
            "unit_id", "same_as_id", "said_by_id"
        )
        if word[1] in known
    }


def groups_of(words: Iterable[Word], owners: Mapping[int, int], names: Mapping[int, str]) -> dict[int, str]:
    """owners, names: at least of every unit in the words; a word counts where both owners gave theirs."""
    said = set(words)
    parent = {pk: pk for word in said for pk in word[:2]}

    def root(unit: int) -> int:
        while parent[unit] != unit:
            unit = parent[unit]
        return unit

    for a, b, _said_by in sorted(said):
        both = (a, b, owners[a]) in said or (b, a, owners[a]) in said
        both = both and ((a, b, owners[b]) in said or (b, a, owners[b]) in said)
        if both:
            first, second = sorted((root(a), root(b)))
            parent[second] = first
    return {pk: names[root(pk)] for pk in parent}
