"""From readings to charts: the engine's public calls."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from consensus.agreement import agree_cells
from consensus.aside import findings_aside
from consensus.block_learning import learn_blocks
from consensus.common_offset import with_offsets
from consensus.coordination import MEMBER, table_roles
from consensus.design_figures import agreement_figures, telling_cells, told_states
from consensus.encoding import Encoded, encode
from consensus.explanation import Explanation, explain
from consensus.findings import TableRole, find_all
from consensus.learning import learn
from consensus.problem import Problem, make_problem
from consensus.propagation import State, final_beliefs, pattern_beliefs
from consensus.readings import DesignReadings
from consensus.reliability import Reliability
from consensus.results import DesignAgreement, ReadingModel, SheetFinding, VariantPattern
from consensus.settings import Settings
from consensus.sheet_findings import UnusualFigure
from consensus.sheet_origin import name_other_designs
from consensus.thin import explain_thinly, is_thin, thin_beliefs
from consensus.together import alike_designs, run_together
from consensus.variants import Tables, find_tables, finding_tables

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Plain = dict[str, Any]
Progress = Callable[[int, int], None]


def learn_reliability(
    designs: Sequence[DesignReadings],
    settings: Settings,
    progress: Progress | None = None,
    mapper: Callable[..., Iterable[Any]] = map,
) -> Reliability:
    """Snapshot of contributors' slip rates and habits, learned across designs (learning.py).

    progress: called with (done, of); mapper: like the builtin map, for instance a process pool's.
    """
    return learn_blocks(designs, learn(designs, settings, progress, mapper), settings, mapper)


def agree_design(readings: DesignReadings, reliability: Reliability, settings: Settings) -> DesignAgreement:
    """The agreed pattern of one design under a snapshot: pure and deterministic, so that a design with one
    sheet more is the same as computed with all sheets at once."""
    encoded = with_offsets(encode(readings, settings), settings)
    problem = make_problem(encoded, reliability, settings)
    return agreement_of(encoded, judge_design(encoded, problem), reliability, settings, problem)


def agree_designs(
    designs: Sequence[DesignReadings], reliability: Reliability, settings: Settings
) -> list[DesignAgreement]:
    """`agree_design` of each; those of one shape are propagated together, which is faster (together.py)."""
    encoded = [with_offsets(encode(design, settings), settings) for design in designs]
    problems = [make_problem(one, reliability, settings) for one in encoded]
    dense = [at for at, problem in enumerate(problems) if not is_thin(problem)]
    found = run_together([finding_tables(problems[at], bound_variants(encoded[at])) for at in dense])
    tables = dict(zip(dense, found, strict=True))
    return [
        agreement_of(one, judge_design(one, problem, tables.get(at)), reliability, settings, problem)
        for at, (one, problem) in enumerate(zip(encoded, problems, strict=True))
    ]


def bound_variants(encoded: Encoded) -> tuple[str | None, ...]:
    """(U,) the variant that a moderator bound each counting unit to."""
    kept, sheets = encoded.sheet_order, encoded.readings.sheets
    held = {int(encoded.unit[at]): sheets[at].bound_variant for at in kept}
    return tuple(held[int(unit)] for unit in np.unique(encoded.unit[kept]))


def agreement_of(
    encoded: Encoded,
    judged: Judged,
    reliability: Reliability,
    settings: Settings,
    problem: Problem | None = None,
    findings: Sequence[SheetFinding] = (),
) -> DesignAgreement:
    """The frozen result from what inference says; the findings from the problem, or as given without one."""
    readings, kept = encoded.readings, encoded.sheet_order
    model = reading_model(encoded, reliability, settings)
    unit = np.unique(encoded.unit[kept], return_inverse=True)[1]
    roles = table_roles(encoded, kept, unit, judged.unit_table, judged.keys, settings, judged.made)
    variants, unusual = published_variants(encoded, unit, judged, roles, settings)
    if problem is not None:
        findings = _all_findings(encoded, problem, judged, roles, reliability, settings)
    findings = [
        one if one.unusual == unusual.get(at, ()) else replace(one, unusual=unusual.get(at, ()))
        for at, one in enumerate(findings)
    ]
    return DesignAgreement(
        design=readings.design,
        positions=readings.positions,
        pins=readings.pins,
        common=None if readings.common is None else readings.pins[readings.common],
        variants=tuple(variants),
        findings=tuple(findings),
        model=model,
        statistics=judged.statistics,
        start_positions=None
        if readings.start_positions is None
        else tuple(readings.positions[row] for row in readings.start_positions),
    )


@dataclass(frozen=True)
class Judged:
    """What inference says of a design's counting sheets: belief (V, Q, A), unit_table (U, V), state shares
    (A,) and table shares (V,), the block's table or -1, chances (V,) of tables being a block and
    of being the pattern itself, keys of bound tables, explanations, agreement figures."""

    belief: FloatArray
    unit_table: FloatArray
    prior: FloatArray
    share: FloatArray
    keys: tuple[str | None, ...]
    explained: Explanation
    statistics: Plain
    state: State | None = None  # None: thin
    block: int = -1
    made: FloatArray | None = None  # None: no block
    pattern: FloatArray | None = None  # None: the first table is


def judge_design(encoded: Encoded, problem: Problem, tables: Tables | None = None) -> Judged:
    """Inference on the counting sheets, thin where they are very many and small (thin.py); from `tables`
    where they were found already."""
    if is_thin(problem):
        belief, behind, prior = thin_beliefs(problem)
        explained = explain_thinly(problem, behind, encoded.code)
        return Judged(
            belief=belief[None],
            unit_table=np.ones((problem.units, 1)),
            prior=prior,
            share=np.ones(1),
            keys=(None,),
            explained=explained,
            statistics={"units": problem.units},
        )
    tables = tables or find_tables(problem, bound_variants(encoded))
    state = tables.state
    explained = explain(problem, state.pairs, state.posterior, pattern_beliefs(problem, state), encoded)
    return Judged(
        final_beliefs(state),
        tables.unit_table,
        state.prior,
        state.share,
        tables.keys,
        explained,
        agreement_figures(told_states(state.messages)),
        state,
        state.block,
        tables.made_up(problem),
        tables.pattern(problem),
    )


def published_variants(
    encoded: Encoded,
    unit: IntArray,  # (N,) of counting sheets
    judged: Judged,
    roles: list[TableRole],
    settings: Settings,
) -> tuple[list[VariantPattern], dict[int, tuple[UnusualFigure, ...]]]:
    """Variants largest first (shares are of units of published ones), and each sheet's unusual figures."""
    kept = encoded.sheet_order
    unit_table = judged.unit_table
    published = [table for table, role in enumerate(roles) if role.key is not None]
    belief = judged.belief.copy()
    belief[0] = doubted_pattern(judged, published)
    member = unit_table[:, published].argmax(axis=1)
    belongs = unit_table[:, published].max(axis=1) > MEMBER
    found = []
    unusual: dict[int, tuple[UnusualFigure, ...]] = {}
    for at, table in enumerate(published):
        cells, beyond = agree_cells(encoded, judged.explained, kept, table, belief[table], settings)
        unusual |= beyond
        units = np.flatnonzero((member == at) & belongs)
        sheets = kept[np.isin(unit, units)]
        found.append(
            VariantPattern(
                variant=roles[table].key or "",
                share=len(units) / max(int(belongs.sum()), 1),
                submissions=len(sheets),
                units=len(units),
                contributors=len(np.unique(encoded.contributor[sheets])),
                tells=telling_cells(encoded, belief, published, at),
                cells=cells,
            )
        )
    return found, unusual


def doubted_pattern(judged: Judged, published: list[int]) -> FloatArray:
    """(Q, A) the first table, or one that is not published: which of them is the pattern may be in doubt.
    Published variants stand beside it with charts of their own, so that there is nothing to mix."""
    if judged.pattern is None:
        return judged.belief[0]
    weight = judged.pattern.copy()
    weight[[table for table in published if table > 0]] = 0.0
    return np.asarray(np.einsum("v,vqa->qa", weight / max(weight.sum(), 1e-12), judged.belief))


def _all_findings(
    encoded: Encoded,
    problem: Problem,
    judged: Judged,
    roles: list[TableRole],
    reliability: Reliability,
    settings: Settings,
) -> list[SheetFinding]:
    """Findings in the order of the sheets; those that do not count are judged against the final tables."""
    found: dict[int, SheetFinding] = {}
    kept = encoded.sheet_order
    for sheet, finding in zip(
        kept, find_all(encoded, problem.hypotheses, judged.explained, kept, roles), strict=True
    ):
        found[int(sheet)] = finding
    found |= findings_aside(
        encoded, judged.belief, judged.prior, judged.share, judged.block, roles, reliability, settings
    )
    return [found[sheet] for sheet in range(encoded.sheets)]


def reading_model(encoded: Encoded, reliability: Reliability, settings: Settings) -> ReadingModel:
    """What a check needs to know of those who read this design."""
    nobody = reliability.of("")
    names = sorted(encoded.contributor_names)
    return ReadingModel(
        miss=nobody.miss_rate,
        invent=nobody.invent_rate,
        leak=reliability.leak,
        dirty=reliability.dirty,
        misread_level=settings.misread_level_rate,
        contact_ohm=settings.contact_ohm,
        contact_spread=settings.contact_spread,
        level_spread=settings.level_spread,
        contributors=tuple(
            (name, reliability.of(name).miss_rate, reliability.of(name).invent_rate) for name in names
        ),
        mistakes=reliability.mistakes,
        faults=(("any", reliability.fault_rate),),
        evidence=tuple(
            (name, sum(of.miss) - sum(nobody.miss), sum(of.invent) - sum(nobody.invent))
            for name, of in ((name, reliability.of(name)) for name in names)
        ),
        slip_weights=(sum(nobody.miss), sum(nobody.invent)),
    )


def _agree_some(
    work: tuple[Sequence[DesignReadings], Reliability, Settings],
) -> list[DesignAgreement]:
    return agree_designs(*work)


def agree(
    designs: Sequence[DesignReadings],
    settings: Settings,
    progress: Progress | None = None,
    mapper: Callable[..., Iterable[Any]] = map,
) -> tuple[Reliability, tuple[DesignAgreement, ...]]:
    """Reliability and charts of all designs.  mapper: like the builtin map (a process pool's keeps the
    result the same); progress: called with (done, of) charts."""
    reliability = learn_reliability(designs, settings, mapper=mapper)
    groups = alike_designs(designs)
    work = (([designs[at] for at in group], reliability, settings) for group in groups)
    found: dict[int, DesignAgreement] = {}
    for group, charts in zip(groups, mapper(_agree_some, work), strict=True):
        found |= dict(zip(group, charts, strict=True))
        if progress is not None:
            progress(len(found), len(designs))
    charts = [found[at] for at in range(len(designs))]
    return reliability, name_other_designs(designs, charts, settings)
