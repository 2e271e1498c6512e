"""Designs of a few units: explanations of all sheets at once, searched and averaged.

With two to four units, whether one sheet is mirrored or the other is one question, not two: propagation,
which judges each sheet against a product of places, becomes too sure.  Here a beam of joint explanations
(one hypothesis a sheet) is grown sheet by sheet, each with the tables that follow from it; beliefs are
their average, weighted by prior times evidence.  Within one explanation the places are independent, so
that the evidence is exact but for the beam.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from consensus.contacts import deviation
from consensus.inference import (
    Pairs,
    make_pairs,
    predict,
    single_pairs,
    source_beliefs,
)
from consensus.messages import sheet_messages
from consensus.problem import Problem
from consensus.propagation import State

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

BEAM = 80  # joint explanations carried along
BEHIND = 14.0  # nats behind the best beyond which one is dropped


@dataclass(frozen=True)
class Beam:
    """B joint explanations.  score: (B,) log prior times evidence; tables: (B, Q, A) log messages summed;
    hypothesis: (B, sheets so far)."""

    score: FloatArray
    tables: FloatArray
    hypothesis: IntArray


def explain_jointly(problem: Problem, state: State) -> State:
    """`state` with posteriors, cavities and final beliefs averaged over joint explanations."""
    options = _options(problem, state)
    order = np.argsort(-np.bincount(problem.sheet, minlength=problem.sheets), kind="stable")
    size = problem.alphabet.size
    beam = Beam(np.zeros(1), np.zeros((1, problem.places, size)), np.zeros((1, 0), dtype=np.int64))
    for turn, sheet in enumerate(order):
        beam = _extend(problem, beam, state.prior, int(sheet), order[:turn], options[int(sheet)])
    weight = np.exp(beam.score - beam.score.max())
    weight /= weight.sum()
    belief = np.einsum("b,bqa->qa", weight, _beliefs(beam.tables, state.prior))
    pairs, posterior = _sheet_posteriors(problem, beam, weight, order)
    cavity = np.broadcast_to(belief, (problem.units, 1, *belief.shape))
    return replace(
        state,
        pairs=pairs,
        posterior=posterior[:, None],
        fit=np.zeros((len(pairs), 1)),
        beliefs=source_beliefs(problem, cavity, state.prior),
        final=belief[None],
    )


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
    sources = source_beliefs(problem, _beliefs(beam.tables, prior), prior)
    pairs = make_pairs(problem, np.full(many, sheet), options)
    entries = len(pairs.pair)
    wide = Pairs(
        np.full(width * many, sheet),
        np.tile(options, width),
        np.repeat(np.arange(width) * many, entries) + np.tile(pairs.pair, width),
        np.tile(pairs.row, width),
        np.tile(pairs.source, width),
    )
    at = np.repeat(np.arange(width), entries)
    fit = np.bincount(wide.pair, np.log(predict(problem, sources, wide, at)), width * many)
    score = (beam.score[:, None] + _log_prior(problem, beam, sheet, before, options)).ravel() + fit
    best = np.argsort(-score, kind="stable")[:BEAM]
    best = best[score[best] > score[best[0]] - BEHIND]
    parent, choice = best // many, options[best % many]
    chosen = make_pairs(problem, np.full(len(best), sheet), choice)
    said = sheet_messages(problem, chosen, sources[parent], np.arange(len(best)))
    spread = deviation(problem.alphabet, problem.settings.unit_deviation)
    tables = beam.tables[parent] + np.log(np.maximum(said, 1e-12) @ spread.T)
    return Beam(score[best], tables, np.column_stack([beam.hypothesis[parent], choice]))


def _log_prior(problem: Problem, beam: Beam, sheet: int, before: IntArray, options: IntArray) -> FloatArray:
    """(B, options) log prior of each hypothesis; a unit read before has the fault that it had."""
    mistake, fault = options % problem.mistakes, options // problem.mistakes
    prior = np.broadcast_to(problem.log_mistake[sheet, mistake], (len(beam.score), len(options)))
    same = np.flatnonzero(problem.unit[before] == problem.unit[sheet])
    if not len(same):
        return np.asarray(prior + problem.log_fault[fault])
    known = beam.hypothesis[:, same[0]] // problem.mistakes
    return np.where(known[:, None] == fault[None, :], prior, -1e9)


def _sheet_posteriors(
    problem: Problem, beam: Beam, weight: FloatArray, order: IntArray
) -> tuple[Pairs, FloatArray]:
    """Pairs that occur in the beam, and their posterior."""
    many = problem.mistakes * problem.faults
    keys = (order[None, :] * many + beam.hypothesis).ravel()
    distinct, inverse = np.unique(keys, return_inverse=True)
    posterior = np.asarray(np.bincount(inverse, np.repeat(weight, len(order))), dtype=np.float64)
    return make_pairs(problem, distinct // many, distinct % many), posterior
