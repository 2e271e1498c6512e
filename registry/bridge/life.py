"""Units over time → curves, laws and intervals as plain data: `benchquorum/life/1` and the pages' figures."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from consensus import (
    Bounded,
    ConsensusError,
    DriftReadings,
    GroupLife,
    Lifetimes,
    compare_classes,
    group_life,
    level_to_replace,
    next_failure,
    replacement_interval,
    resistance_drift,
)
from consensus.weibull import WeibullFit
from registry.errors import RegistryError
from registry.formats.documents import LIFE
from registry.formats.labels import natural_key
from registry.formats.life_table import LifeTable
from registry.formats.life_words import comparison_message, life_message, selection_caution
from registry.formats.tidy_columns import SOURCE_CLASSES

Plain = dict[str, Any]
UnitRow = tuple[float, float | None, float | None]  # entered, good, failed, km


def life_document(table: LifeTable) -> Plain:
    """Every design and class of a file: counts, curve, law, B5 and B10, and how classes compare."""
    groups, comparisons = [], []
    for design in sorted(range(len(table.designs)), key=lambda at: natural_key(table.designs[at])):
        name, of_class = table.designs[design], {}
        for number, source_class in enumerate(SOURCE_CLASSES):
            rows = np.flatnonzero((table.design == design) & (table.source_class == number))
            if len(rows):
                of_class[source_class] = _lifetimes(table.entered[rows], table.good[rows], table.failed[rows])
        for source_class, lifetimes in of_class.items():
            figures = _told(group_life(lifetimes))
            groups.append({"design": name, "class": source_class, **figures})
        comparisons += [{"design": name, **found} for found in _compared(of_class)]
    return {
        "format": LIFE,
        "caution": selection_caution(),
        "groups": groups,
        "comparisons": comparisons,
    }


def life_figures(units: Iterable[UnitRow]) -> Plain:
    """The figures of one group of units, without design and class."""
    return _told(group_life(_of_rows(units)))


def life_comparisons(of_class: Mapping[str, Sequence[UnitRow]]) -> list[Plain]:
    """How the classes compare, pair by pair, where there is enough of both."""
    return list(_compared({name: _of_rows(rows) for name, rows in of_class.items()}))


def chance_of_failure(units: Iterable[UnitRow], law: Plain, at_km: float, further_km: float) -> Plain:
    """Chance that a unit good at `at_km` fails within `further_km`, with its interval."""
    return _bounded(next_failure(_of_rows(units), _law(law), at_km, further_km))


def replacement_age(units: Iterable[UnitRow], law: Plain, planned: float, breakdown: float) -> Plain:
    """The distance with the lowest cost a km, with its interval; km None: run to failure."""
    answer, ages = replacement_interval(_of_rows(units), _law(law), planned, breakdown)
    return {
        **_bounded(ages),
        "cost_per_km": answer.cost_per_km,
        "run_to_failure_per_km": answer.run_to_failure,
    }


def drift_figures(
    readings: Sequence[tuple[Any, float, float, bool]], worst: Sequence[tuple[float, bool]], within_km: float
) -> Plain:
    """readings: (unit, km, Ω, over limit); worst: (Ω, failed within the next distance), one a unit."""
    unit, km, ohm, over = zip(*readings, strict=True) if readings else ((), (), (), ())
    numbers = {name: number for number, name in enumerate(dict.fromkeys(unit))}
    drift = resistance_drift(DriftReadings.of([numbers[name] for name in unit], km, ohm, over))
    level = level_to_replace([row[0] for row in worst], [row[1] for row in worst], within_km)
    return {"trend": drift.to_plain(), "replace": level.to_plain()}


def _told(life: GroupLife) -> Plain:
    plain = life.to_plain()
    return {**plain, "message": life_message(plain)}


def _compared(of_class: dict[str, Lifetimes]) -> Iterator[Plain]:
    for first, second in combinations([name for name in of_class if name != "unknown"], 2):
        answer = compare_classes(of_class[first], of_class[second])
        if answer is not None:
            plain = {"classes": [first, second], **answer.to_plain()}
            yield {**plain, "message": comparison_message(plain)}


def _of_rows(units: Iterable[UnitRow]) -> Lifetimes:
    rows = list(units)
    entered, good, failed = zip(*rows, strict=True) if rows else ((), (), ())
    return _lifetimes(_figures(entered), _figures(good), _figures(failed))


def _figures(values: Sequence[float | None]) -> ArrayLike:
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)


def _lifetimes(entered: ArrayLike, good: ArrayLike, failed: ArrayLike) -> Lifetimes:
    try:
        return Lifetimes.from_km(good, failed, entered)
    except ConsensusError as error:
        raise RegistryError(error.code, error.message, error.advice) from None


def _law(law: Plain) -> WeibullFit:
    return WeibullFit(law["shape"], law["scale_km"], float("nan"))


def _bounded(figure: Bounded) -> Plain:
    return {"estimate": figure.estimate, "low": figure.low, "high": figure.high}
