"""Blocks that a few accounts made up, told by who sent the units."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from consensus import Reliability, Settings, agree, agree_design
from consensus.blocks import Accounts, account_evidence, log_table_priors, table_stories
from consensus.coordination import table_roles
from consensus.encoding import encode
from tests.consensus.benches import PATTERN, bench, state_table, typed_sheet
from tests.simulation.__main__ import agreed_plain
from tests.simulation.files import engine_input, world_truth
from tests.simulation.rates import WORLDS
from tests.simulation.scores import score_agreed
from tests.simulation.worlds import make_world


def accounts(account: list[int], made: float = 0.0, within: float = 0.3, rate: float = 0.05) -> Accounts:
    units = len(account)
    none = np.log1p(-rate) + len(set(account)) * np.log1p(-made)
    usual = np.full(max(account) + 1, 0.03)
    apart = (np.full(units, made), np.full(units, within))
    return Accounts(np.array(account), *apart, usual, float(np.log(-np.expm1(none))), float(none))


def split(first: int, second: int) -> np.ndarray:
    """(U, 2): the first units of the first table, the others of the second."""
    return np.repeat(np.eye(2), [first, second], axis=0)


def test_one_account_with_many_units_weighs_less_than_many_with_one_each() -> None:
    many_hands = table_stories(accounts([0, 1, 2, 3, 4, 5, 6, 7, 8, 9]), split(6, 4)).sum(axis=1)
    few_hands = table_stories(accounts([0, 0, 0, 1, 1, 2, 6, 7, 8, 9]), split(6, 4)).sum(axis=1)
    assert many_hands[0] > 0.9
    assert few_hands[0] < many_hands[0]


def test_evidence_of_accounts_by_hand() -> None:
    """Two units of one account besides one of another: 1/2 against the urn (1 + 8 * 0.03) / (1 + 1 + 8),
    and 1/3 for the number of accounts."""
    found = account_evidence(accounts([0, 0, 1, 2]), np.array([1.0, 1.0, 1.0, 0.0]))
    assert found == pytest.approx(np.log(0.5 / (1.24 / 10)) - np.log(3))


def test_priors_of_tables_add_up() -> None:
    priors = np.exp(log_table_priors(accounts([0, 1, 2]), np.array([0.5, 0.2, 0.3]), 2))
    assert priors.sum(axis=1) == pytest.approx(1)
    assert priors[:, 2] == pytest.approx(0.3)


def test_three_against_three_leaves_it_open_which_is_the_pattern() -> None:
    stories = table_stories(accounts([0, 1, 2, 3, 4, 5]), split(3, 3))
    assert stories.sum() == pytest.approx(1)
    assert stories.sum(axis=1) == pytest.approx([0.5, 0.5])


def test_accounts_known_for_blocks_do_not_outvote_others() -> None:
    """Three accounts make up three units or 40 % of each design's five to nine; seed 3.

    Their record tells where they are three of five: at most 2 % of cells may be wrong."""
    rates = replace(WORLDS["colluding"], units=(5, 9), block=0.4, same_accounts=1.0, designs=16)
    world = make_world("colluding", 3, rates=rates)
    score = score_agreed(agreed_plain(engine_input(world)), world_truth(world))
    assert score.share("cells wrong") <= 0.02
    assert score.share("found: coordinated") >= 0.9
    reliability, _ = agree(engine_input(world), Settings())
    made = {sheet.reader.name for sheet in world.sheets if sheet.block}
    assert min(reliability.of(name).made_up for name in made) > max(
        one.made_up for name, one in reliability.contributors.items() if name not in made
    )


def test_a_design_has_a_chart_even_where_its_first_table_may_be_made_up() -> None:
    (design,) = engine_input(make_world("typical", 1, 1))
    encoded = encode(design, Settings())
    kept = encoded.sheet_order
    unit = np.unique(encoded.unit[kept], return_inverse=True)[1]
    units = int(unit.max()) + 1
    made = np.array([0.6, 0.4])
    roles = table_roles(encoded, kept, unit, split(units - 2, 2), (None, None), Settings(), made)
    assert [role.key for role in roles] == ["a", None]


def test_honest_units_of_suspect_accounts_are_not_the_block() -> None:
    """Where most designs have a block, honest accounts are suspect too and are set apart first: four units of
    three accounts stay the block, nine of five the pattern."""
    made = ("o c c o", "c c c o", "o c o o", "o o c c", "c o c o", "o c c c")
    sheets = [typed_sheet(made, contributor=f"f{at % 3}") for at in range(4)]
    sheets += [typed_sheet(PATTERN, contributor=f"h{at % 5}") for at in range(9)]
    plain = Reliability.from_settings(Settings())
    forger = replace(plain.of(""), sheets=20.0, made_up=0.19, made_up_within=0.27)
    honest = replace(forger, made_up=0.21, made_up_within=0.24)
    known = {f"f{at}": forger for at in range(3)} | {f"h{at}": honest for at in range(5)}
    chart = agree_design(bench(sheets), replace(plain, block_rate=0.7, contributors=known), Settings())
    assert state_table(chart) == list(PATTERN)
    assert [finding.finding for finding in chart.findings] == ["coordinated"] * 4 + ["fits"] * 9
