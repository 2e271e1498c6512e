"""Coordinated blocks: units that a few accounts made up, told by who sent them and what they did elsewhere.

A design has such a block with probability P(B), which grows with what is known of the accounts that take
part in it.  Within a design that has one, a unit of account c is of the block with probability kappa_c,
otherwise it is of an honest table.  The units of a block come from no more than `BLOCK_ACCOUNTS` accounts in
equal parts, those of an honest table from whoever reads this design (a Polya urn: one who read a unit reads
another).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from consensus.reliability import Reliability

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

BLOCK_ACCOUNTS = 3  # accounts of a block as a rule: one less than what a variant needs
FEWEST_BLOCK = 1.5  # expected units of a block that nothing is known of
FEWEST_HONEST = 0.9  # expected units that must be left to honest tables
URN = 8.0  # units that the shares of all sheets are worth in the urn
LEAST_SHARE = 0.02  # of all sheets, of an account of which little is known
SUSPECT = 0.2  # share of an account's sheets in blocks from which its units are looked at apart
MEMBER = 0.5
ACCOUNT_MORE = 4.0  # nats that every account beyond BLOCK_ACCOUNTS speaks against a block
MAIN_SHARE = 0.78  # units that are of the largest table, where there are variants
TINY = 1e-12


@dataclass(frozen=True)
class Accounts:
    """Who sent the U units of a design.  account: (U,) index; made: (U,) share of the account's sheets in
    blocks; within: (U,) kappa; usual: (accounts,) share of all sheets; log_block, log_none: log P(B) and
    log(1 - P(B)).

    A unit that several accounts read is as likely made up as the most honest of them lets it be.
    """

    account: IntArray
    made: FloatArray
    within: FloatArray
    usual: FloatArray
    log_block: float
    log_none: float


def design_accounts(
    names: Sequence[str], sheet_account: IntArray, unit: IntArray, units: int, reliability: Reliability
) -> Accounts:
    """names: of accounts; sheet_account, unit: (N,) of each sheet."""
    known = [reliability.of(name) for name in names]
    made = np.array([one.made_up for one in known])
    within = np.array([one.made_up_within for one in known])
    every = sum(one.sheets for one in reliability.contributors.values())
    usual = np.array([max(one.sheets / max(every, 1.0), LEAST_SHARE) for one in known])
    account = np.zeros(units, dtype=np.int64)
    account[unit[::-1]] = sheet_account[::-1]
    unit_made, unit_within = np.ones(units), np.ones(units)
    np.minimum.at(unit_made, unit, made[sheet_account])
    np.minimum.at(unit_within, unit, within[sheet_account])
    present = np.unique(account)
    none = np.log1p(-reliability.block_rate) + np.log1p(-np.minimum(made[present], 0.99)).sum()
    none = max(float(none), np.log(TINY))
    return Accounts(account, unit_made, unit_within, usual, float(np.log(-np.expm1(none))), none)


def log_table_priors(accounts: Accounts, share: FloatArray, block: int) -> FloatArray:
    """(V,) log prior of each table, or (U, V) where table `block` is one that accounts made up."""
    if block < 0:
        return np.asarray(np.log(np.maximum(share, TINY)))
    honest = np.arange(len(share)) != block
    shares = np.log(np.maximum(share, TINY) / max(float(share[honest].sum()), TINY))
    log = np.log1p(-accounts.within)[:, None] + shares
    log[:, block] = np.log(accounts.within)
    return np.asarray(log)


def account_evidence(accounts: Accounts, chance: FloatArray) -> float:
    """Log odds of a block against an honest table that its members' accounts bring; chance: (U,).

    Each member beyond the first of its account has probability 1/m in a block of m accounts, and that of the
    urn in an honest table; every account more than a block has costs `ACCOUNT_MORE`.
    """
    inside = chance > MEMBER
    mine = np.bincount(accounts.account[inside], minlength=len(accounts.usual))
    hands = int((mine > 0).sum())
    if hands == 0:
        return 0.0
    others = np.bincount(accounts.account[~inside], minlength=len(accounts.usual))
    drawn, found = float((~inside).sum()), -np.log(BLOCK_ACCOUNTS)
    found -= ACCOUNT_MORE * max(hands - BLOCK_ACCOUNTS, 0)
    for account in np.flatnonzero(mine):
        drawn += 1
        for more in range(1, int(mine[account])):
            urn = (more + others[account] + URN * accounts.usual[account]) / (drawn + URN)
            found -= np.log(hands * min(urn, 1.0))
            drawn += 1
    return float(found)


def table_stories(accounts: Accounts, unit_table: FloatArray) -> FloatArray:
    """(V, V + 1) probabilities of the stories of V tables: the row is the pattern of the design, the column
    the block that accounts made up (the last: none); other tables are variants.  unit_table: (U, V).

    A unit of a design that has variants is of the pattern itself with `MAIN_SHARE`.
    """
    tables = unit_table.shape[1]
    stories = np.full((tables, tables + 1), -np.inf)
    size = unit_table.sum(axis=0)
    for block in range(tables + 1):
        made = block < tables
        honest = [table for table in range(tables) if table != block]
        if made and (size[honest].sum() < FEWEST_HONEST or size[block] < FEWEST_BLOCK):
            continue
        told = accounts.log_none
        if made:
            log_in, log_out = np.log(accounts.within), np.log1p(-accounts.within)
            inside = unit_table[:, block]
            told = accounts.log_block + account_evidence(accounts, inside)
            told += float((inside * log_in + (1 - inside) * log_out).sum())
        for main in honest:
            rest = size[honest].sum() - size[main]
            split = size[main] * np.log(MAIN_SHARE) + rest * np.log(
                (1 - MAIN_SHARE) / max(len(honest) - 1, 1)
            )
            stories[main, block] = told + (split if len(honest) > 1 else 0.0)
    weight = np.exp(stories - stories.max())
    return np.asarray(weight / weight.sum())
