"""How many tables a design has: variants and coherent blocks, by evidence.

Tables are added one at a time.  Units are clustered by what they say of the places on which they are
split; groups whose own table would raise the evidence of the places are propagated to the end, and the
best is kept if the log evidence of the design grows by more than `Settings.variant_evidence` and two
units or more stand behind it.  What may be published is decided afterwards (coordination.py).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from consensus.blocks import FEWEST_HONEST, MEMBER, SUSPECT, account_evidence, table_stories
from consensus.inference import Pairs, make_pairs, predict
from consensus.joint import explain_jointly, is_small
from consensus.messages import unit_messages
from consensus.problem import Problem
from consensus.propagation import State, propagating, run
from consensus.steps import Steps, side_by_side
from consensus.tables import log_totals
from consensus.trials import log_evidence, trying, unit_tables
from consensus.unit_groups import MOST_CLUSTERED, candidate_groups

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

MOST_TABLES = 4
MOST_ATTEMPTS = 5  # further tables tried, those folded back included
GROUPS_RUN = 3  # groups of which a table is propagated to the end
WORTH_A_TRIAL = -6.0  # nats that a group may lack at first sight: others join it in propagation
GROUP_SHARES = (0.05, 0.6)  # least and most of the units that a further table starts with
TRIAL_SLACK = 3.0  # nats that a trial may lack of what the table needs in the end
FOLDED_GAIN = 0.5  # nats by which a folded explanation must be better
FEWEST_TOLD = 0.5  # share of further tables that could be told from slips, below which none is looked for
FEWEST_UNITS = 1.7  # expected units behind a further table


@dataclass(frozen=True)
class Tables:
    """A propagated state with V tables, largest first.  unit_table: (U, V) posterior; evidence: log;
    keys: (V,) of tables that a moderator made."""

    state: State
    unit_table: FloatArray
    evidence: float
    keys: tuple[str | None, ...] = (None,)

    def made_up(self, problem: Problem) -> FloatArray:
        """(V,) chance of each table that a few accounts made it up (blocks.py)."""
        return np.asarray(table_stories(problem.accounts, self.unit_table).sum(axis=0)[:-1])

    def pattern(self, problem: Problem) -> FloatArray:
        """(V,) chance of each table to be the pattern itself."""
        return np.asarray(table_stories(problem.accounts, self.unit_table).sum(axis=1))


def as_tables(problem: Problem, state: State) -> Tables:
    return Tables(state, unit_tables(problem, state.pairs, state.posterior), log_evidence(problem, state))


def find_tables(problem: Problem, bound: tuple[str | None, ...] = ()) -> Tables:
    """The tables of a design; one where nothing speaks for more.

    bound: (U,) key of the variant that a moderator bound each unit to, None where free.
    """
    return run(finding_tables(problem, bound))


def finding_tables(problem: Problem, bound: tuple[str | None, ...] = ()) -> Steps[Tables]:
    """`find_tables`, step by step, so that several designs may go together."""
    state = yield from propagating(problem)
    if any(bound):
        found = yield from bound_tables(problem, state, bound)
        return in_order(found, found.unit_table.sum(axis=0))
    if problem.told < FEWEST_TOLD:  # what is hard to see is missed by many alike: that makes no variant
        return as_tables(problem, state)
    suspect = problem.accounts.made > SUSPECT
    if not suspect.any() and is_small(problem, state):
        return as_tables(problem, explain_jointly(problem, state))
    best = as_tables(problem, state)
    if problem.light.all():  # sheets of so few readings don't tell tables apart (inference.weigh)
        return best
    if suspect.any() and not suspect.all():
        best = yield from set_apart(problem, best, suspect)
    for _ in range(MOST_ATTEMPTS):
        grown = yield from add_table(problem, best)
        if grown is None:
            break
        best = grown
    return (yield from named_block(problem, pattern_first(problem, best)))


def set_apart(problem: Problem, present: Tables, suspect: BoolArray) -> Steps[Tables]:
    """With a block of the suspect units (U,), where that explains the design better."""
    messages, share = seeded_messages(present.state.messages, np.flatnonzero(suspect)), np.full(2, 0.5)
    apart = as_tables(problem, (yield from propagating(problem, messages, share, block=1)))
    accounts = problem.accounts
    gained = accounts.log_block + account_evidence(accounts, apart.unit_table[:, 1]) - accounts.log_none
    if apart.unit_table[:, 0].sum() < FEWEST_HONEST:
        return present
    return apart if apart.evidence + gained > present.evidence else present


def named_block(problem: Problem, tables: Tables) -> Steps[Tables]:
    """The tables propagated with a block among them, where who sent the units speaks for one: another one,
    too, than the table that was set apart at first, for suspect units may be the honest ones."""
    made = tables.made_up(problem)
    block = int(made.argmax())
    if tables.state.block == block or made[block] <= MEMBER:
        return tables
    order = np.append(np.delete(np.arange(len(made)), block), block)
    state = tables.state
    last = len(order) - 1
    found = yield from propagating(problem, state.messages[:, order], state.share[order], block=last)
    return pattern_first(problem, as_tables(problem, found))


def bound_tables(problem: Problem, state: State, bound: tuple[str | None, ...]) -> Steps[Tables]:
    """One table for each key of a moderator, and one for the units left free if only one key was given."""
    keys: list[str | None] = [*sorted({key for key in bound if key is not None})]
    if len(keys) == 1 and None in bound:
        keys = [None, *keys]
    table = np.array([keys.index(key) if key in keys and key is not None else -1 for key in bound])
    said = state.messages.sum(axis=1)
    messages = np.zeros((problem.units, len(keys), *said.shape[1:]))
    home = np.where(table < 0, 0, table)
    messages[np.arange(problem.units), home] = said
    share = np.bincount(home, minlength=len(keys)) + 1.0
    held = replace(problem, bound=table.astype(np.int64))
    found = as_tables(held, (yield from propagating(held, messages, share / share.sum())))
    return replace(found, keys=tuple(keys))


def add_table(problem: Problem, present: Tables) -> Steps[Tables | None]:
    """The best state with one table more, or None if nothing is gained."""
    if present.unit_table.shape[1] == MOST_TABLES:
        return None
    groups = promising_groups(problem, present)
    tried = yield from side_by_side([grown_table(problem, present, *group) for group in groups])
    best = None
    for grown in tried:
        if grown is not None and (best is None or grown.evidence > best.evidence):
            best = grown
    return best


def grown_table(
    problem: Problem, present: Tables, messages: FloatArray, share: FloatArray
) -> Steps[Tables | None]:
    """With a table more from these messages, where that is worth it.

    A further table that takes nobody in has only shown the way to a better explanation with the present
    number of tables: it is folded back and that explanation kept if it is one.
    """
    needed, block = present.evidence + problem.settings.variant_evidence, present.state.block
    if not (yield from trying(problem, present.state, messages, share, needed - TRIAL_SLACK)):
        return None
    grown = as_tables(problem, (yield from propagating(problem, messages, share, block=block)))
    if not enough_units(grown):
        folded, fewer = fold_last(grown.state.messages), share[:-1] / share[:-1].sum()
        grown = as_tables(problem, (yield from propagating(problem, folded, fewer, block=block)))
        needed = present.evidence + FOLDED_GAIN
    return grown if grown.evidence > needed else None


def enough_units(tables: Tables) -> bool:
    """Whether each table has units of its own, but for a block, of which one unit is enough."""
    units = np.where(tables.unit_table > 0.5, tables.unit_table, 0.0).sum(axis=0)
    if tables.state.block >= 0:
        units[tables.state.block] = np.inf
    return bool((units >= FEWEST_UNITS).all())


def fold_last(messages: FloatArray) -> FloatArray:
    """Messages without the last table: what was said of it is said of the first."""
    folded = messages[:, :-1].copy()
    folded[:, 0] += messages[:, -1]
    return folded


def promising_groups(problem: Problem, present: Tables) -> list[tuple[FloatArray, FloatArray]]:
    """(messages, shares) to start from: groups of units that, given a table of their own, raise the evidence
    of the places most; groups are the nodes of a hierarchical clustering of what units say."""
    state = present.state
    differs = np.append(state.differs, problem.settings.variant_differs)
    lost = lost_units(problem, state.pairs, state.posterior)
    heard, gives_up = state.messages, np.zeros(problem.units)
    if lost.sum() > 1:
        heard, gives_up = heard_as_read(problem, state, lost)
    groups = candidate_groups(heard.sum(axis=1))
    whole = state.messages.sum(axis=0)
    gains = group_gains(groups, state.messages, whole, state.prior, differs, heard)
    gains = gains + np.array([gives_up[group].sum() for group in groups])
    order = [at for at in np.argsort(-gains, kind="stable") if gains[at] > WORTH_A_TRIAL]
    return [
        (seeded_messages(heard, np.flatnonzero(groups[at])), _shares(state, groups[at]))
        for at in order[:GROUPS_RUN]
    ]


def lost_units(problem: Problem, pairs: Pairs, posterior: FloatArray) -> BoolArray:
    """(U,) units of which no sheet is explained by anything.  posterior: (P, V)."""
    nothing = pairs.hypothesis % problem.mistakes == problem.mistakes - 1
    loose = np.bincount(pairs.sheet, nothing * posterior.sum(axis=1), problem.sheets)
    least = np.ones(problem.units)
    np.minimum.at(least, problem.unit, loose)
    return np.asarray(least > MEMBER)


def heard_as_read(problem: Problem, state: State, lost: BoolArray) -> tuple[FloatArray, FloatArray]:
    """(U, V, Q, A) messages, those of lost units (U,) as if their sheets were as read, and (U,) nats that
    this costs them under the present tables: one by itself says nothing of the pattern, and yet several may
    show one table."""
    sheets = np.flatnonzero(lost[problem.unit])
    as_read = make_pairs(problem, sheets, np.zeros(len(sheets), dtype=np.int64))
    sure = np.zeros((len(sheets), len(state.share)))
    sure[:, 0] = 1.0
    said = unit_messages(problem, as_read, sure, state.beliefs)
    chance = predict(problem, np.ascontiguousarray(state.beliefs[:, 0]), as_read)
    fit = np.bincount(as_read.pair, np.log(chance), len(sheets)) + problem.log_mistake[sheets, 0]
    cost = np.bincount(problem.unit[sheets], fit, problem.units) + problem.log_fault[0] - state.log_unit
    return np.where(lost[:, None, None, None], said, state.messages), np.where(lost, cost, 0.0)


def group_gains(
    groups: list[BoolArray],
    messages: FloatArray,
    whole: FloatArray,
    prior: FloatArray,
    differs: FloatArray,
    heard: FloatArray | None = None,
) -> FloatArray:
    """(groups,) nats that the places gain if each group alone had a further table to itself, less what it
    costs to say who belongs to it.  whole: (V, Q, A) log messages of all units, of which `messages`
    (U, V, Q, A) holds at least those that are clustered; heard: what they say of a table of their own, where
    that is something else."""
    if not groups:
        return np.zeros(0)
    mask = np.array(groups, dtype=np.float64)
    held = np.flatnonzero(mask.any(axis=0))
    mine = (mask[:, held] @ messages[held].reshape(len(held), -1)).reshape(-1, *whole.shape)
    own = mine
    if heard is not None and heard is not messages:
        own = (mask[:, held] @ heard[held].reshape(len(held), -1)).reshape(-1, *whole.shape)
    total = np.concatenate([whole - mine, own.sum(axis=1, keepdims=True)], axis=1)
    plain = log_totals(whole, prior, differs[:-1])
    many, among = mask.sum(axis=1), min(mask.shape[1], MOST_CLUSTERED)
    share = np.clip(many / among, *GROUP_SHARES)
    assigned = many * np.log(share) + (among - many) * np.log(1 - share)
    return np.asarray(log_totals(total, prior, differs) - plain + assigned)


def _shares(state: State, joined: BoolArray) -> FloatArray:
    mine = float(np.clip(joined.sum() / min(len(joined), MOST_CLUSTERED), *GROUP_SHARES))
    return np.append(state.share * (1 - mine), mine)


def seeded_messages(messages: FloatArray, units: IntArray) -> FloatArray:
    """Messages (U, V + 1, Q, A) where the given units speak of the new table only."""
    said = messages.sum(axis=1)
    grown = np.concatenate([messages, np.zeros_like(messages[:, :1])], axis=1)
    grown[units] = 0.0
    grown[units, -1] = said[units]
    return grown


def pattern_first(problem: Problem, tables: Tables) -> Tables:
    """The table that most likely is the pattern first, the others by expected units, a block last."""
    units = tables.unit_table.sum(axis=0)
    units[int(tables.pattern(problem).argmax())] += 2 * problem.units
    return in_order(tables, units)


def in_order(tables: Tables, rank: FloatArray) -> Tables:
    """Tables by rank (V,), the highest first (the star's centre included), a block last."""
    rank = rank.copy()
    if tables.state.block >= 0:
        rank[tables.state.block] = -1.0
    order = np.argsort(-rank, kind="stable")
    if (order == np.arange(len(order))).all():
        return tables
    state = tables.state
    moved = State(
        messages=state.messages[:, order],
        share=state.share[order],
        prior=state.prior,
        differs=state.differs[order[order > 0] - 1],
        pairs=state.pairs,
        fit=state.fit[:, order],
        posterior=state.posterior[:, order],
        log_unit=state.log_unit,
        beliefs=state.beliefs[:, order],
        rounds=state.rounds,
        block=-1 if state.block < 0 else len(order) - 1,
    )
    keys = tables.keys if len(tables.keys) == len(order) else (None,) * len(order)
    return Tables(moved, tables.unit_table[:, order], tables.evidence, tuple(keys[at] for at in order))
