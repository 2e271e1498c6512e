"""Designs of a few units: explanations of all sheets at once, searched and averaged.

With two to four units, whether one sheet is mirrored or the other is one question, not two: propagation,
which judges each sheet against a product of places, becomes too sure.  Here a beam of joint explanations
(one hypothesis a sheet) is grown sheet by sheet, each with the tables that follow from it; beliefs are
their average, weighted by prior times evidence.  Within one explanation the places are independent, so
that the evidence is exact but for the beam.

A unit is one voice, however often it is read: its sheets show the same contacts, so what they say is
multiplied before the unit's own deviation from the pattern, and a further sheet of it is told by those
contacts rather than by the pattern.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from consensus.contacts import deviation
from consensus.hypotheses import CONSTANTS
from consensus.inference import (
    Pairs,
    crossed_pairs,
    make_pairs,
    predict,
    single_pairs,
    source_beliefs,
)
from consensus.messages import sheet_messages
from consensus.problem import Problem
from consensus.propagation import CROSSED_FROM, Joint, State, leading

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

BEAM = 80  # joint explanations carried along
BEHIND = 14.0  # nats behind the best beyond which one is dropped
CROSSED_PARENTS = 3  # the likeliest explanations that are tried with a mistake and a fault of the next sheet
LEAST_SAID = 1e-12  # of a symbol, beside the likeliest ones
LEAST_WEIGHT = 0.01  # joint explanations less likely than that tell nothing of slips
PLAIN = 2 / 3  # sheets as read from which propagation is trusted with more than a handful of units


@dataclass(frozen=True)
class Beam:
    """B joint explanations.  score: (B,) log prior times evidence; tables: (B, Q, A) log messages summed;
    repeats: (B, K + 1, Q, A) logs of what is said of the contacts of the K units that are read more than
    once, before their deviation, and nothing for all others; hypothesis: (B, sheets so far)."""

    score: FloatArray
    tables: FloatArray
    repeats: FloatArray
    hypothesis: IntArray


def is_small(problem: Problem, state: State) -> bool:
    """Whether joint explanations are worth their while: with few units, and with half as many again where
    propagation takes less than two thirds of them as read."""
    most = problem.settings.joint_units
    if problem.units <= most:
        return True
    as_read = state.pairs.hypothesis == 0
    plain = float(state.posterior[as_read].sum())
    return problem.units <= most * 3 // 2 and plain < PLAIN * problem.sheets


def explain_jointly(problem: Problem, state: State) -> State:
    """`state` with posteriors, cavities and final beliefs averaged over joint explanations."""
    options = _options(problem, state)
    order = np.argsort(-np.bincount(problem.sheet, minlength=problem.sheets), kind="stable")
    beam = _merged(
        _grow(problem, state.prior, order, options),
        _grow(problem, state.prior, np.roll(order, 1), options),
        np.argsort(np.roll(np.arange(len(order)), 1), kind="stable"),
    )
    weight = np.exp(beam.score - beam.score.max())
    weight /= weight.sum()
    belief = np.einsum("b,bqa->qa", weight, _beliefs(beam.tables, state.prior))
    pairs, posterior = _sheet_posteriors(problem, beam, weight, order)
    cavity = np.broadcast_to(belief, (problem.units, 1, *belief.shape))
    in_sheets = np.argsort(order, kind="stable")
    return replace(
        state,
        pairs=pairs,
        posterior=posterior[:, None],
        fit=np.zeros((len(pairs), 1)),
        beliefs=source_beliefs(problem, cavity, state.prior),
        final=belief[None],
        joint=Joint(weight, beam.tables, beam.repeats, beam.hypothesis[:, in_sheets]),
    )


def told_by_others(problem: Problem, state: State, joint: Joint) -> tuple[Pairs, FloatArray, FloatArray]:
    """Sheets under each joint explanation that is not negligible, as pairs with their weight (P,), and what
    the other sheets say of the places under that explanation (P, sources, A).

    Which contact a reading showed depends on how all sheets are explained: of two sheets of which one is
    shifted neither has slips, though averaged tables would say that either has many."""
    likely = np.flatnonzero(joint.weight > LEAST_WEIGHT)
    tables, many = joint.tables[likely], len(likely)
    sheet = np.repeat(np.arange(problem.sheets), many)
    at = np.tile(np.arange(many), problem.sheets)
    pairs = make_pairs(problem, sheet, joint.hypothesis[likely].T.ravel())
    belief = _beliefs(tables, state.prior)
    said = _contacts(problem, pairs, source_beliefs(problem, belief, state.prior)[at])
    slot = _slots(problem)[problem.unit[sheet]]
    whole = np.where((slot >= 0)[:, None, None], joint.repeats[likely][at, slot], said)
    others = tables[at] - _of_unit(problem, whole)
    weight = joint.weight[likely] / joint.weight[likely].sum()
    return pairs, weight[at], _unit_sources(problem, others, whole - said, state.prior)


def _slots(problem: Problem) -> IntArray:
    """(U,) where `repeats` holds each unit that is read more than once, -1 for the others."""
    several = np.bincount(problem.unit, minlength=problem.units) > 1
    return np.where(several, np.cumsum(several) - 1, -1)


def _contacts(problem: Problem, pairs: Pairs, sources: FloatArray) -> FloatArray:
    """(P, Q, A) log of what each pair, taken as certain, says of its unit's contacts; sources: (P, sources,
    A)."""
    said = sheet_messages(problem, pairs, sources, np.arange(len(pairs)))
    return np.asarray(np.log(np.maximum(said, LEAST_SAID)))


def _of_unit(problem: Problem, contacts: FloatArray) -> FloatArray:
    """(…, A) log of what a unit says of the pattern, from the logs of what is said of its contacts."""
    spread = deviation(problem.alphabet, problem.settings.unit_deviation)
    said = np.exp(contacts - contacts.max(axis=-1, keepdims=True))
    return np.asarray(np.log(np.maximum(said, LEAST_SAID) @ spread.T))


def _unit_sources(
    problem: Problem, others: FloatArray, contacts: FloatArray, prior: FloatArray
) -> FloatArray:
    """(…, sources, A) beliefs of a unit's contacts: by the log messages of other units about the pattern
    (…, Q, A), and by the logs of what its own other sheets say of the contacts (…, Q, A)."""
    sources = source_beliefs(problem, _beliefs(others, prior), prior)
    sources[..., CONSTANTS:, :] = _beliefs(contacts, sources[..., CONSTANTS:, :])
    return sources


def _grow(problem: Problem, prior: FloatArray, order: IntArray, options: dict[int, IntArray]) -> Beam:
    """Joint explanations of the sheets taken in this order."""
    empty = np.zeros((1, problem.places, problem.alphabet.size))
    repeats = np.repeat(empty[None], _slots(problem).max() + 2, axis=1)
    beam = Beam(np.zeros(1), empty, repeats, np.zeros((1, 0), dtype=np.int64))
    for turn, sheet in enumerate(order):
        beam = _extend(problem, beam, prior, int(sheet), order[:turn], options[int(sheet)])
    return beam


def _merged(one: Beam, other: Beam, columns: IntArray) -> Beam:
    """Both beams without what they share; `columns` puts the other's sheets into the order of the first.

    A sheet with a mistake and a fault at once is only told once others are there to tell it by, so that the
    first sheet of an order never has both; each order finds what the other one cannot.  A sheet whose
    readings are of two contacts together says less of either than it knows, the less the earlier it is taken:
    of one explanation in both orders the better evidence is the nearer one."""
    hypothesis = np.concatenate([one.hypothesis, other.hypothesis[:, columns]])
    score = np.concatenate([one.score, other.score])
    order = np.argsort(-score, kind="stable")
    best = order[np.unique(hypothesis[order], axis=0, return_index=True)[1]]
    tables = np.concatenate([one.tables, other.tables])[best]
    return Beam(score[best], tables, np.concatenate([one.repeats, other.repeats])[best], hypothesis[best])


def _options(problem: Problem, state: State) -> dict[int, IntArray]:
    """Hypotheses of each sheet: every single one, and what propagation found likely."""
    single = single_pairs(problem, np.ones(problem.sheets, dtype=bool))
    likely = state.posterior.max(axis=1) > 1e-3
    found = {}
    for sheet in range(problem.sheets):
        known = state.pairs.hypothesis[(state.pairs.sheet == sheet) & likely]
        found[sheet] = np.union1d(single.hypothesis[single.sheet == sheet], known)
    return found


def _beliefs(tables: FloatArray, prior: FloatArray) -> FloatArray:
    belief = np.exp(tables - tables.max(axis=-1, keepdims=True)) * prior
    return np.asarray(belief / belief.sum(axis=-1, keepdims=True))


def _extend(
    problem: Problem, beam: Beam, prior: FloatArray, sheet: int, before: IntArray, options: IntArray
) -> Beam:
    """The beam with one sheet more: each explanation times each hypothesis, the best kept."""
    width, many = len(beam.score), len(options)
    slot = int(_slots(problem)[problem.unit[sheet]])
    known = beam.repeats[:, slot]  # by the unit's earlier sheets
    others = beam.tables - _of_unit(problem, known)
    sources = _unit_sources(problem, others, known, prior)
    parent, choice = np.repeat(np.arange(width), many), np.tile(options, width)
    fit = _fit(problem, sources, sheet, parent, choice)
    if len(before):
        more = _crossed(problem, beam, sheet, options, fit.reshape(width, many))
        fit = np.append(fit, _fit(problem, sources, sheet, *more))
        parent, choice = np.append(parent, more[0]), np.append(choice, more[1])
    score = beam.score[parent] + _log_prior(problem, beam, sheet, before, parent, choice) + fit
    best = np.argsort(-score, kind="stable")[:BEAM]
    best = best[score[best] > score[best[0]] - BEHIND]
    parent, choice = parent[best], choice[best]
    chosen = make_pairs(problem, np.full(len(best), sheet), choice)
    contacts = known[parent] + _contacts(problem, chosen, sources[parent])
    tables, repeats = others[parent] + _of_unit(problem, contacts), beam.repeats[parent]
    if slot >= 0:
        repeats[:, slot] = contacts
    return Beam(score[best], tables, repeats, np.column_stack([beam.hypothesis[parent], choice]))


def _fit(problem: Problem, sources: FloatArray, sheet: int, parent: IntArray, choice: IntArray) -> FloatArray:
    """(n,) log likelihood of the sheet under hypothesis `choice` of each explanation `parent`."""
    pairs = make_pairs(problem, np.full(len(choice), sheet), choice)
    chance = predict(problem, sources, pairs, parent[pairs.pair])
    return np.asarray(np.bincount(pairs.pair, np.log(chance), len(choice)), dtype=np.float64)


def _crossed(
    problem: Problem, beam: Beam, sheet: int, options: IntArray, fit: FloatArray
) -> tuple[IntArray, IntArray]:
    """(parent, hypothesis) with a mistake and a fault at once, for the likeliest explanations so far of which
    no hypothesis in `options` explains the sheet; fit: (B, options)."""
    first, last = problem.start[sheet], problem.start[sheet + 1]
    ideal = np.log(problem.like[first:last].max(axis=1)).sum()
    parents, choices = [np.zeros(0, np.int64)], [np.zeros(0, np.int64)]
    for parent in range(min(CROSSED_PARENTS, len(beam.score))):
        if problem.light[sheet] or ideal - fit[parent].max() < CROSSED_FROM:
            continue
        found = Pairs(np.full(len(options), sheet), options, *(np.zeros(0, np.int64),) * 3)
        lead = leading(problem, found, fit[parent][:, None])
        chosen = np.arange(problem.sheets) == sheet
        crossed = crossed_pairs(problem, chosen, *lead)
        wanted = np.setdiff1d(crossed.hypothesis[crossed.sheet == sheet], options)
        parents.append(np.full(len(wanted), parent))
        choices.append(wanted)
    return np.concatenate(parents), np.concatenate(choices)


def _log_prior(
    problem: Problem, beam: Beam, sheet: int, before: IntArray, parent: IntArray, choice: IntArray
) -> FloatArray:
    """(n,) log prior of each hypothesis; a unit read before has the fault that it had."""
    mistake, fault = choice % problem.mistakes, choice // problem.mistakes
    prior = problem.log_mistake[sheet, mistake]
    same = np.flatnonzero(problem.unit[before] == problem.unit[sheet])
    if not len(same):
        return np.asarray(prior + problem.log_fault[fault])
    known = beam.hypothesis[parent, same[0]] // problem.mistakes
    return np.where(known == fault, prior, -1e9)


def _sheet_posteriors(
    problem: Problem, beam: Beam, weight: FloatArray, order: IntArray
) -> tuple[Pairs, FloatArray]:
    """Pairs that occur in the beam, and their posterior."""
    many = problem.mistakes * problem.faults
    keys = (order[None, :] * many + beam.hypothesis).ravel()
    distinct, inverse = np.unique(keys, return_inverse=True)
    posterior = np.asarray(np.bincount(inverse, np.repeat(weight, len(order))), dtype=np.float64)
    return make_pairs(problem, distinct // many, distinct % many), posterior
