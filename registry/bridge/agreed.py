"""A tidy table → `benchquorum/agreed/1`, and that document → charts that a check can use."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from consensus import ENGINE_VERSION, Reliability, Settings, agree_designs, alike_designs, learn_reliability
from consensus.chart_origin import ChartOrigin, chart_origin
from consensus.readings import DesignReadings
from consensus.results import DesignAgreement, SheetFinding
from consensus.sheet_origin import other_designs_found
from registry.bridge.checks import stored_agreement
from registry.bridge.parallel import crew
from registry.bridge.tables import designs_from_table
from registry.errors import RegistryError, RegistryErrors, pointer
from registry.formats.documents import AGREED
from registry.formats.json_text import json_text
from registry.formats.sentences import finding_message
from registry.formats.tidy_table import TidyTable
from registry.translation import gettext as _

Plain = dict[str, Any]
LearnWork = tuple[Sequence[DesignReadings], Reliability, Settings]
LearnOne = Callable[[LearnWork], Any]
LEARNING = 0.4  # share of the work, for the progress line
WORTH_SPREADING = 50_000  # readings


def agree_document(
    table: TidyTable, progress: Callable[[float], None] | None = None, workers: int = 1
) -> Plain:
    """The agreed patterns of all designs of a file, and why each sheet fits or doesn't.

    progress: is told the share done; workers: processes for files of many readings.
    """
    document = {**_head(), "designs": [], "submissions": []}
    found = _each_design(table, _agreed, dict, progress or (lambda share: None), workers)
    for told in found.results:
        document["designs"].append(told.design)
        document["submissions"] += told.findings
    document["reliability"] = found.reliability.to_plain()
    return document


def agree_text(
    table: TidyTable, progress: Callable[[float], None] | None = None, workers: int = 1
) -> Iterator[str]:
    """`json_text(agree_document(…))` in pieces: each worker writes its own designs."""
    found = _each_design(table, _agreed_text, json_text, progress or (lambda share: None), workers)
    head = json_text(_head())
    yield head[:-1] + ',"designs":['
    yield ",".join(told.design for told in found.results)
    yield '],"submissions":['
    yield ",".join(text for told in found.results for text in told.findings)
    yield f'],"reliability":{json_text(found.reliability.to_plain())}}}'


def _head() -> Plain:
    return {"format": AGREED, "engine": {"version": ENGINE_VERSION, "settings": Settings().to_plain()}}


@dataclass(frozen=True)
class _Told:
    """A design and the findings of its sheets, plain or as text; where no sheet may be of another design the
    text of all findings is in one piece.  origin: what is compared with other designs, once all are there."""

    design: Any
    findings: list[Any]
    origin: ChartOrigin


@dataclass(frozen=True)
class _Found:
    reliability: Reliability
    results: list[_Told]


def _each_design(
    table: TidyTable,
    one: Callable[..., list[_Told]],
    written: Callable[[Plain], Any],
    tell: Callable[[float], None],
    workers: int,
) -> _Found:
    """The snapshot of a file, and what `one` makes of each of its designs under it; then, with all of them
    there, which sheets are of another design than they claim.  written: a finding as `one` gives it."""
    settings = Settings()
    designs = designs_from_table(table)
    place = {id(design): number for number, design in enumerate(designs)}
    with crew(designs, workers if len(table) >= WORTH_SPREADING else 1) as each:

        def learn_each(function: LearnOne, works: Iterable[LearnWork]) -> Iterator[Any]:
            return each(
                _learned, [(function, [place[id(one)] for one in some], *rest) for some, *rest in works]
            )

        reliability = learn_reliability(
            designs, settings, lambda done, of: tell(LEARNING * done / max(of, 1)), learn_each
        )
        groups = alike_designs(designs)
        work = [(group, reliability, settings) for group in groups]
        found: dict[int, _Told] = {}
        for group, results in zip(groups, each(one, work), strict=True):
            found |= zip(group, results, strict=True)
            tell(LEARNING + (1 - LEARNING) * len(found) / len(designs))
    results = [found[number] for number in range(len(designs))]
    renamed = other_designs_found(designs, [told.origin for told in results], settings)
    for (number, sheet), finding in renamed.items():
        common = designs[number].common
        label = None if common is None else designs[number].pins[common]
        results[number].findings[sheet] = written(_finding(finding, label))
    return _Found(reliability, results)


def _learned(
    designs: Sequence[DesignReadings], work: tuple[LearnOne, list[int], Reliability, Settings]
) -> Any:
    """Some designs of a round of learning; they are in the worker already, only their places are sent."""
    function, numbers, reliability, settings = work
    return function(([designs[number] for number in numbers], reliability, settings))


def _agreed(designs: Sequence[DesignReadings], work: tuple[list[int], Reliability, Settings]) -> list[_Told]:
    numbers, reliability, settings = work
    some = [designs[number] for number in numbers]
    found = []
    for design, agreement in zip(some, agree_designs(some, reliability, settings), strict=True):
        findings = [_finding(finding, agreement.common) for finding in agreement.findings]
        found.append(_Told(agreement.to_plain(), findings, chart_origin(design, agreement)))
    return found


def _agreed_text(
    designs: Sequence[DesignReadings], work: tuple[list[int], Reliability, Settings]
) -> list[_Told]:
    found = []
    for told in _agreed(designs, work):
        apart = [[entry] for entry in told.findings] if told.origin.suspects else [told.findings]
        texts = [json_text(entries)[1:-1] for entries in apart if entries]
        found.append(_Told(json_text(told.design), texts, told.origin))
    return found


def _finding(finding: SheetFinding, common: str | None) -> Plain:
    plain = finding.to_plain()
    return {**plain, "message": finding_message(plain, common)}


@dataclass(frozen=True)
class Charts:
    """Agreed patterns, ready to be checked against; by name of the design."""

    by_design: Mapping[str, DesignAgreement]
    settings: Settings

    def of(self, design: str) -> DesignAgreement | None:
        return self.by_design.get(design)

    def others(self, design: str) -> tuple[DesignAgreement, ...]:
        return tuple(chart for name, chart in self.by_design.items() if name != design)


def charts_from_document(document: Mapping[str, Any]) -> Charts:
    """The charts of an agreed document, or `RegistryErrors` that point to where it is damaged."""
    designs, submissions = document.get("designs"), document.get("submissions")
    if not isinstance(designs, list) or not isinstance(submissions, list):
        raise RegistryErrors([_damaged("" if isinstance(document, dict) else "/")])
    findings: dict[Any, list[Any]] = defaultdict(list)
    for place, entry in enumerate(submissions):
        if not isinstance(entry, dict) or not isinstance(entry.get("design"), str):
            raise RegistryErrors([_damaged(pointer("submissions", place))])
        findings[entry["design"]].append(entry)
    charts: dict[str, DesignAgreement] = {}
    for place, plain in enumerate(designs):
        try:
            chart = DesignAgreement.from_plain(plain, findings[plain["design"]])
        except (KeyError, TypeError, ValueError, AttributeError, IndexError):
            raise RegistryErrors([_damaged(pointer("designs", place))]) from None
        charts[chart.design] = chart
    return Charts(charts, _settings_of(document))


def charts_from_stored(contents: Iterable[bytes]) -> Charts:
    """Charts of a registry (`benchquorum/chart/1`), by the names of their designs."""
    charts = (stored_agreement(json.loads(content)) for content in contents)
    return Charts({chart.design: chart for chart in charts}, Settings())


def _settings_of(document: Mapping[str, Any]) -> Settings:
    """The settings that the document was made under; ones that this engine doesn't know are left out."""
    engine = document.get("engine")
    stored = engine.get("settings") if isinstance(engine, dict) else None
    known = Settings().to_plain()
    if not isinstance(stored, dict):
        return Settings()
    return Settings().with_values(
        **{name: value for name, value in stored.items() if type(value) is type(known.get(name))}
    )


def _damaged(field: str) -> RegistryError:
    return RegistryError(
        "document_damaged",
        _("The file of agreed patterns is damaged at {field}.").format(field=field or "/"),
        _("Make it again with “benchquorum agree … --json”."),
        field=field,
    )
