"""Designs, found by whatever a technician has: a number with sloppy punctuation, a name, a shape."""

from __future__ import annotations

import re
import uuid
from typing import Any

from django.db.models import Count, Prefetch, Q, QuerySet

from registry.errors import RegistryError
from registry.models import Design, Pin, part_key
from registry.translation import gettext as _

# Counts in words, in each language of the pages; what is counted follows below.
NUMBERS = (
    "one two three four five six seven eight nine ten eleven twelve",
    "ein zwei drei vier fünf sechs sieben acht neun zehn elf zwölf",
    "un dos tres cuatro cinco seis siete ocho nueve diez once doce",
)
NUMBER_WORDS = {word: n for words in NUMBERS for n, word in enumerate(words.split(), start=1)}
_SHAPE = re.compile(
    r"\b(?P<n>\d{1,2}|"
    + "|".join(sorted(NUMBER_WORDS, key=len, reverse=True))
    + r")[\s-]*(?:(?P<pins>pin(?:e?s)?\b|polig\w*)|(?P<lines>lines?|wires?|leitung(?:en)?|líneas?|lineas?)\b"
    r"|(?P<positions>positions?|ranges?|detents?|(?:rast)?stellung(?:en)?|rasten?|posici(?:ón|on|ones)|muescas?)\b)",
    re.IGNORECASE,
)


def design_named(text: str, *, with_connector: bool = True) -> Design:
    """The design with this UUID or name; RegistryError where there is none or more than one."""
    designs = Design.objects.order_by()
    if with_connector:
        designs = designs.select_related("connector__common")
    try:
        found = list(designs.filter(uuid=uuid.UUID(text)))
    except ValueError:
        found = list(designs.filter(name=text)) or list(designs.filter(key=part_key(text) or "\x01"))
    if len(found) == 1:
        return found[0]
    if not found:
        raise RegistryError(
            "design_unknown",
            _("There is no design “{text}”.").format(text=text[:60]),
            _("Search for it, or propose it as a new design."),
        )
    raise RegistryError(
        "design_ambiguous",
        _("“{text}” fits {n} designs.").format(text=text[:60], n=len(found)),
        _("Give its id instead."),
    )


def with_shape(designs: QuerySet[Design]) -> QuerySet[Any]:
    """Adds pin_count and position_count."""
    return designs.annotate(
        pin_count=Count("connector__pins", filter=Q(connector__pins__empty=False), distinct=True),
        position_count=Count("positions", distinct=True),
    )


def designs_for_list() -> QuerySet[Any]:
    """Everything that a line of a list shows, in a fixed number of queries."""
    return (
        with_shape(Design.objects.all())
        .select_related("maker", "connector__common", "current_chart__revision")
        .prefetch_related(
            "part_numbers",
            "families",
            "positions",
            Prefetch("connector__pins", queryset=Pin.objects.filter(empty=False)),
        )
    )


def search_designs(query: str, **shape: Any) -> QuerySet[Any]:
    """Designs that fit all words: part number, name, maker, gearbox, vehicle, year, or “6 pins, 7 positions”.

    shape: pins, positions: exact counts.
    """
    designs = designs_for_list()
    words, asked = split_query(query)
    asked.update({name: value for name, value in shape.items() if value is not None})
    if "pins" in asked:
        designs = designs.filter(pin_count=asked["pins"])
    if "lines" in asked:  # one pin more than lines, where there is a common
        designs = designs.filter(pin_count=asked["lines"] + 1)
    if "positions" in asked:
        designs = designs.filter(position_count=asked["positions"])
    whole = part_key(words)
    fits = Q(key__contains=whole) | Q(part_numbers__key__contains=whole) if whole else Q()
    every = Q()
    for word in words.split():
        every &= _word(word)
    matching = Design.objects.filter(fits | every if words.split() else Q()).values("pk")
    # A design that was merged into another is found as that other.
    found = Q(pk__in=matching, merged_into=None) | Q(
        pk__in=matching.exclude(merged_into=None).values("merged_into")
    )
    return designs.filter(found).order_by("name", "pk")


def split_query(query: str) -> tuple[str, dict[str, int]]:
    """The words, and the counts that were among them.

    >>> split_query("kestrel, six pins and 7 positions")
    ('kestrel', {'pins': 6, 'positions': 7})
    >>> split_query("sechs Pins, 7 Stellungen"), split_query("6 pines y siete posiciones")
    (('', {'pins': 6, 'positions': 7}), ('', {'pins': 6, 'positions': 7}))
    """
    asked: dict[str, int] = {}
    for match in _SHAPE.finditer(query):
        number = match["n"].lower()
        n = NUMBER_WORDS.get(number) or int(number)
        asked[str(match.lastgroup)] = n
    rest = _SHAPE.sub(" ", query)
    if asked:
        rest = re.sub(r"\b(and|with|und|mit|y|con)\b", " ", rest)
    return " ".join(re.sub(r"[,;]", " ", rest).split()), asked


def _word(word: str) -> Q:
    key = part_key(word)
    fits = (
        Q(maker__name__icontains=word)
        | Q(families__name__icontains=word)
        | Q(applications__vehicle__icontains=word)
        | Q(description__icontains=word)
        | Q(name__icontains=word)
    )
    if key:
        fits |= Q(key__contains=key) | Q(part_numbers__key__contains=key)
    if re.fullmatch(r"(19|20|21)\d\d", word):
        year = int(word)
        fits |= Q(applications__year_from__lte=year, applications__year_to__gte=year)
        fits |= Q(applications__year_from__lte=year, applications__year_to__isnull=True)
    return fits
