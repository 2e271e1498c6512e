"""Leads that are not zeroed, and Mandel's h and k of those who read a contact twice."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from consensus import Reliability, Settings, learn_reliability
from consensus.meter_habits import CONTACT_SD, mandel_figures, mean_weights
from consensus.outliers import mandel_h_critical, mandel_k_limit
from tests.consensus.benches import PATTERN, bench, typed_sheet
from tests.consensus.check_values import published
from tests.simulation.files import engine_input
from tests.simulation.rates import WORLDS
from tests.simulation.worlds import make_world


def test_leads_that_are_not_zeroed_are_found():
    # seed 3: a quarter of the contributors add 0.2 to 0.6 Ω; a contact varies by about 0.3 Ω, so that 100
    # figures know a mean to 0.03, and 0.12 lies three of them from either
    world = make_world("typical", 3, 30, replace(WORLDS["typical"], leads_unzeroed=0.25, bare_continuity=0.0))
    snapshot = learn_reliability(engine_input(world), Settings())
    seen = {sheet.reader.name: sheet.reader.unzeroed for sheet in world.sheets}
    known = {name: snapshot.of(name) for name in seen if snapshot.of(name).sheets > 10}
    assert any(seen[name] > 0 for name in known)
    for name, one in known.items():
        assert (one.leads_ohm > 0.12) == (seen[name] > 0), (name, one.leads_ohm, seen[name])


def test_a_snapshot_keeps_the_figures():
    leads = {name: np.array([at * 1.0, 20.0]) for at, name in enumerate("abcd")}
    repeats = {name: np.array([0.2 + at, 10.0]) for at, name in enumerate("abcd")}
    figures = mandel_figures(leads, repeats)
    assert figures["a"].h_limit == pytest.approx(mandel_h_critical(4))
    assert figures["a"].k_limit == pytest.approx(mandel_k_limit(10, 30))
    assert figures["d"].k > figures["a"].k
    assert figures["a"].h == pytest.approx(-figures["d"].h)
    before = Reliability.from_settings(Settings())
    one = replace(before.of("a"), mandel=figures["a"], leads_ohm=0.3)
    assert Reliability.from_plain(replace(before, contributors={"a": one}).to_plain()).of("a") == one


def test_nobody_is_compared_with_too_few():
    leads = {name: np.array([1.0, 20.0]) for name in "ab"}
    repeats = {name: np.array([0.2, 10.0]) for name in "ab"}
    assert mandel_figures(leads, repeats) == {}


def test_the_variance_between_people_is_der_simonian_and_lairds():
    # the published example (thirteen trials); source in check_values.json
    data, expected = published("dersimonian_laird_bcg")
    table = np.array(data["tpos_tneg_cpos_cneg"], dtype=float)
    treated, control = table[:, :2].sum(axis=1), table[:, 2:].sum(axis=1)
    means = np.log(table[:, 0] / treated / (table[:, 2] / control))
    variance = 1 / table[:, 0] - 1 / treated + 1 / table[:, 2] - 1 / control
    weights = mean_weights(means, variance)
    assert 1 / weights - variance == pytest.approx(np.full(13, expected["tau2"]), abs=1e-7)
    assert (weights * means).sum() / weights.sum() == pytest.approx(expected["mu"], abs=1e-7)


def test_nobody_is_named_for_reading_little_or_much():
    # seed 8: six people without any habit, of 5, 10, 20, 40, 200 and 1000 figures, all of them read again.
    # Limits are at 1 %: of 1500 worlds each share has a standard error of 0.26 points.  As if all had read as
    # much, the first is named in 13 % for h, and k's limit of two readings names nobody, whatever the spread
    rng = np.random.default_rng(8)
    readings = np.array([5.0, 10.0, 20.0, 40.0, 200.0, 1000.0])
    names = "abcdef"
    far, wide = np.zeros(6), np.zeros(6)
    for _ in range(1500):
        means = rng.normal(size=6) * CONTACT_SD / np.sqrt(readings)
        squares = 0.05**2 * rng.chisquare(readings)
        figures = mandel_figures(
            {name: np.array([means[at] * readings[at], readings[at]]) for at, name in enumerate(names)},
            {name: np.array([squares[at], readings[at]]) for at, name in enumerate(names)},
        )
        far += [abs(figures[name].h) > figures[name].h_limit for name in names]
        wide += [figures[name].k > figures[name].k_limit for name in names]
    assert (far / 1500 <= 0.02).all(), far / 1500
    assert wide / 1500 == pytest.approx(0.01, abs=0.009), wide / 1500


def test_a_spread_half_as_large_again_is_seen_where_much_was_read():
    # the limit for two readings was 1.9 of four people; of 200 degrees of freedom it is 1.1
    repeats = {name: np.array([200 * 0.05**2, 200.0]) for name in "abcd"}
    repeats["d"] = np.array([200 * 0.075**2, 200.0])
    figures = mandel_figures({name: np.array([0.0, 200.0]) for name in "abcd"}, repeats)
    assert figures["d"].k > figures["d"].k_limit
    assert all(figures[name].k < figures[name].k_limit for name in "abc")


def test_who_reads_a_contact_twice_gets_mandels_figures():
    # each of five people reads the same three units twice; "e" does so with a spread of its own
    rng = np.random.default_rng(4)
    sheets = []
    for name in "abcde":
        for unit in range(3):
            for _ in range(2):
                spread = 0.3 if name == "e" else 0.02
                rows = [
                    " ".join(
                        f"{0.5 + abs(rng.normal(0, spread)):.2f}" if word == "c" else word
                        for word in row.split()
                    )
                    for row in PATTERN
                ]
                sheets.append(typed_sheet(rows, unit=f"u{unit}", contributor=name))
    snapshot = learn_reliability([bench(sheets)], Settings())
    figures = {name: snapshot.of(name).mandel for name in "abcde"}
    assert figures["e"].k > figures["e"].k_limit
    assert all(figures[name].k < figures[name].k_limit for name in "abcd")
    assert figures["a"].contributors == 5
