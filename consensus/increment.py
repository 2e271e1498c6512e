"""One sheet more in a large design, without computing the design anew.

In a design of thousands of sheets every place that was read at all is certain to the last bit, whoever is
left out of the count. Then a further sheet changes what is said of itself, counts, figures and agreement,
and nothing that is said of any other sheet; `update_design` computes just that. Where this doesn't hold (a
place that isn't beyond doubt, several tables, a group that might be one, levels that move a
reading) it computes the whole design, so that the answer is the batch's in any case. `Standing.anew` tells
which it was.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from consensus.common_offset import with_offsets
from consensus.design_figures import SAYS_SOMETHING, agreement_figures, told_states
from consensus.encoding import Encoded, encode
from consensus.engine import Judged, agreement_of
from consensus.explanation import Explanation, explain
from consensus.findings import TableRole, find_all
from consensus.inference import Pairs, crossed_pairs, single_pairs, source_beliefs
from consensus.messages import unit_messages
from consensus.part import join_explanations, part_of, rows_of
from consensus.problem import Problem, make_problem
from consensus.propagation import (
    CROSSED_FROM,
    DEAR_FROM,
    active_pairs,
    first_prior,
    judge,
    lacking,
    leading,
)
from consensus.readings import DesignReadings
from consensus.results import DesignAgreement, SheetFinding, rounded
from consensus.standing import SILENT, Spoken, Standing, begin_updates, is_certain, loudest_units
from consensus.unit_groups import candidate_groups
from consensus.variants import WORTH_A_TRIAL, group_gains, lost_units

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

SLACK = 3.0  # nats by which a group that might be a table is looked at sooner than in a batch
MOST_ADDED = 0.02  # share of sheets added since the last whole computation: their weights are looked at then
NEAR = 0.01  # nats about the edge of "says something" within which a unit is read again


def update_design(previous: Standing, readings: DesignReadings) -> Standing:
    """The standing with further sheets; equal to `begin_updates(readings, …)` under the same snapshot.

    readings: the design with the sheets that it had, in their order, and the added ones after them.
    """
    encoded = with_offsets(encode(readings, previous.settings), previous.settings)
    updated = _with_new_sheets(previous, encoded) if _same_so_far(previous, encoded) else None
    return updated or begin_updates(readings, previous.reliability, previous.settings)


def _same_so_far(previous: Standing, encoded: Encoded) -> bool:
    """Whether the added sheets leave the reading of all earlier ones as it was."""
    old, design, before = previous.encoded, encoded.readings, previous.encoded.readings
    many, rows = old.sheets, len(old.sheet)
    added = encoded.sheets - previous.whole
    if previous.total is None or encoded.sheets <= many or added > MOST_ADDED * previous.whole:
        return False
    if (design.positions, design.pins, design.common) != (before.positions, before.pins, before.common):
        return False
    if old.shape != encoded.shape or len(old.alphabet.levels) != len(encoded.alphabet.levels):
        return False
    if design.sheets[:many] != before.sheets or any(one.bound_variant for one in design.sheets[many:]):
        return False
    alike = ("sheet", "cell", "code", "torn", "missed")
    raw, sweeps = ("raw_code", "raw_limit"), len(old.raw_code)
    now, then = encoded.alphabet, old.alphabet
    return (
        bool(encoded.counts[many:].all())
        and all(np.array_equal(getattr(encoded, name)[:rows], getattr(old, name)) for name in alike)
        and all(np.array_equal(getattr(encoded, name)[:sweeps], getattr(old, name)) for name in raw)
        and np.array_equal(encoded.ohm[:rows], old.ohm, equal_nan=True)
        and np.array_equal(now.series, then.series)
        and np.array_equal(now.parallel, then.parallel)
    )


def _with_new_sheets(previous: Standing, encoded: Encoded) -> Standing | None:
    """The update, or None where more than the added sheets' own business changes."""
    assert previous.total is not None and previous.loud is not None and previous.loud_units is not None
    many, prior = previous.encoded.sheets, previous.judged.prior
    kept = encoded.sheet_order
    changed = np.append(_other_offsets(previous.encoded, encoded), np.arange(many, encoded.sheets))
    if not encoded.counts[changed].all():
        return None
    units = np.unique(encoded.unit[changed])
    sheets = kept[np.isin(encoded.unit[kept], units)]
    problem, pairs, posterior, messages = _speak(previous, encoded, sheets)
    if lost_units(problem, pairs, posterior).any():  # with other such units it may have a table of its own
        return None
    total = previous.total + messages.sum(axis=0)
    read_before = sheets[sheets < many]
    if len(read_before):  # what a unit said before is taken off, and it is told anew with the sheet added
        total -= _speak(previous, previous.encoded, read_before)[3].sum(axis=0)
    if not is_certain(total[0], prior) or not (_silent(total) == _silent(previous.total)).all():
        return None
    others = ~np.isin(previous.loud_units, units)
    loud_units = np.concatenate([previous.loud_units[others], units])
    order = np.argsort(loud_units)
    loud, loud_units = np.concatenate([previous.loud[others], messages])[order], loud_units[order]
    if _might_be_tables(previous, loud, total):
        return None
    pattern = source_beliefs(problem, _cavity(previous, problem), prior, deviating=False)
    rows, part = rows_of(encoded, sheets), part_of(encoded, sheets)
    mine = explain(problem, pairs, posterior, pattern, part)
    spoken = _spoken_with(previous, encoded, units, messages)
    judged = Judged(
        belief=_normal(total, prior),
        unit_table=np.ones((len(spoken.told), 1)),
        prior=prior,
        share=previous.judged.share,
        keys=previous.judged.keys,
        explained=join_explanations(previous.judged.explained, mine, np.searchsorted(kept, sheets), rows),
        statistics=agreement_figures(spoken.told),
    )
    chart = _chart(previous, encoded, part, problem, judged, mine, sheets)
    if chart.variants[0].variant != previous.chart.variants[0].variant:
        return None
    loudest = loudest_units(loud)
    return replace(
        previous,
        chart=chart,
        encoded=encoded,
        judged=judged,
        anew=False,
        total=total,
        loud=loud[loudest],
        loud_units=loud_units[loudest],
        spoken=spoken,
    )


def _other_offsets(old: Encoded, encoded: Encoded) -> IntArray:
    """Earlier sheets that read otherwise with a resistive common's figure taken off: it is sought among
    levels, which move by a hair with each reading."""
    rows = np.flatnonzero(encoded.shifted_code[: len(old.sheet)] != old.shifted_code)
    sought = np.flatnonzero(np.isfinite(encoded.offset[: old.sheets]) != np.isfinite(old.offset))
    return np.union1d(encoded.sheet[rows], sought)


def _total_of(previous: Standing) -> FloatArray:
    assert previous.total is not None
    return previous.total


def _silent(total: FloatArray) -> BoolArray:
    return np.asarray(np.abs(total).max(axis=-1) < SILENT)


def _normal(total: FloatArray, prior: FloatArray) -> FloatArray:
    belief = np.exp(total - total.max(axis=-1, keepdims=True)) * prior
    return np.asarray(belief / belief.sum(axis=-1, keepdims=True))


def _explained(problem: Problem, first: FloatArray, sources: FloatArray) -> tuple[Pairs, FloatArray]:
    """Pairs of some sheets and their posterior, by the steps of `propagation.propagate` under fixed beliefs:
    those of its first round, with the state shares before data, and of all later ones."""
    share = np.ones(1)
    pairs = single_pairs(problem, problem.strange)
    fit, posterior, _ = judge(problem, pairs, first, share)
    mistake, fault = pairs.hypothesis % problem.mistakes, pairs.hypothesis // problem.mistakes
    prior = problem.log_mistake[pairs.sheet, mistake] + problem.log_fault[fault]
    dear = lacking(problem, pairs, fit + prior[:, None], posterior) > DEAR_FROM
    pairs = single_pairs(problem, dear | problem.strange, active_pairs(problem, pairs, posterior))
    fit, posterior, _ = judge(problem, pairs, sources, share)
    badly = lacking(problem, pairs, fit, posterior) > CROSSED_FROM
    if (badly & ~problem.light).any():
        kept = active_pairs(problem, pairs, posterior)
        pairs = crossed_pairs(problem, badly, *leading(problem, pairs, fit), kept)
        fit, posterior, _ = judge(problem, pairs, sources, share)
    pairs = active_pairs(problem, pairs, posterior)
    return pairs, judge(problem, pairs, sources, share)[1]


def _cavity(previous: Standing, problem: Problem) -> FloatArray:
    """(U, 1, Q, A) what all others say to each unit: the belief itself, which is beyond doubt."""
    belief = _normal(_total_of(previous), previous.judged.prior)
    return np.broadcast_to(belief, (problem.units, *belief.shape))


def _speak(
    previous: Standing, encoded: Encoded, sheets: IntArray
) -> tuple[Problem, Pairs, FloatArray, FloatArray]:
    """The problem of some sheets under the standing's beliefs: pairs, posterior, messages (U, 1, Q, A)."""
    problem = make_problem(part_of(encoded, sheets), previous.reliability, previous.settings)
    cavity = _cavity(previous, problem)
    sources = source_beliefs(problem, cavity, previous.judged.prior)
    first = source_beliefs(problem, cavity, first_prior(problem))
    pairs, posterior = _explained(problem, first, sources)
    return problem, pairs, posterior, unit_messages(problem, pairs, posterior, sources)


def _spoken_with(previous: Standing, encoded: Encoded, units: IntArray, messages: FloatArray) -> Spoken:
    """What the units say with those told anew (`units`, by their messages), under the new design effects.

    A reading of a contributor of many sheets weighs less with each, and what it says shrinks in proportion;
    units that come near the edge of saying nothing are told anew too.
    """
    old, kept = previous.spoken, encoded.sheet_order
    assert old is not None
    names = np.unique(encoded.unit[kept])
    weight = np.concatenate([old.weight, encoded.weight[len(old.weight) :]])
    grown = ((0, len(names) - len(old.told)), (0, 0))
    told, reach = np.pad(old.told, (*grown, (0, 0))), np.pad(old.reach, grown)
    rows = np.flatnonzero(encoded.weight < weight)
    shrunk = np.ones(len(names))
    unit = np.searchsorted(names, encoded.unit[encoded.sheet[rows]])
    np.minimum.at(shrunk, unit, encoded.weight[rows] / weight[rows])
    edge = (reach > SAYS_SOMETHING - NEAR) & (reach * shrunk[:, None] < SAYS_SOMETHING + NEAR)
    near = np.flatnonzero(edge.any(axis=1) & (shrunk < 1) & ~np.isin(names, units))
    anew = [(np.searchsorted(names, units), messages)]
    if len(near):
        sheets = kept[np.isin(encoded.unit[kept], names[near])]
        anew.append((near, _speak(previous, encoded, sheets)[3]))
    for at, messages in anew:
        told[at] = told_states(messages)
        said = messages.sum(axis=1)
        reach[at] = said.max(axis=-1) - said.min(axis=-1)
        mine = np.isin(encoded.unit[encoded.sheet], names[at])
        weight[mine] = encoded.weight[mine]
    return Spoken(told, reach, weight)


def _might_be_tables(previous: Standing, loud: FloatArray, total: FloatArray) -> bool:
    """Whether a group of units might have a table of its own."""
    groups = candidate_groups(loud.sum(axis=1))
    differs = np.array([previous.settings.variant_differs])
    gains = group_gains(groups, loud, total, previous.judged.prior, differs)
    return bool((gains > WORTH_A_TRIAL - SLACK).any())


def _chart(
    previous: Standing,
    encoded: Encoded,
    part: Encoded,
    problem: Problem,
    judged: Judged,
    mine: Explanation,
    sheets: IntArray,
) -> DesignAgreement:
    """The chart with the findings of the sheets told anew, and those of the others as they were; part: of
    these sheets."""
    role = TableRole(previous.chart.variants[0].variant)
    found = find_all(part, problem.hypotheses, mine, np.arange(len(sheets)), [role])
    findings = dict(enumerate(previous.chart.findings)) | dict(zip(sheets.tolist(), found, strict=True))
    fresh = tuple(_offset_anew(encoded, at, findings[at]) for at in range(encoded.sheets))
    return agreement_of(encoded, judged, previous.reliability, previous.settings, None, fresh)


def _offset_anew(encoded: Encoded, sheet: int, finding: SheetFinding) -> SheetFinding:
    """The figure of a resistive common is taken from the levels, which move by a hair with each reading."""
    if finding.params.get("fault") != "resistive_common":
        return finding
    return replace(finding, params=finding.params | {"ohm": rounded(float(encoded.offset[sheet]), 4)})
