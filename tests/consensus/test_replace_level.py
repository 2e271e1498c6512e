"""The level from which failure was likely, and silence where readings don't tell."""

from __future__ import annotations

import pytest

from consensus.replace_level import level_to_replace


def test_the_level_from_which_failure_was_likely() -> None:
    # by hand: below 5 Ω one of 10 failed soon, from 5 Ω on 6 of 7
    ohm = [0.4, 0.4, 0.5, 0.5, 0.6, 0.7, 0.8, 0.9, 1.1, 2.0, 5.0, 6.0, 7.0, 9.0, 12.0, 20.0, 2e7]
    soon = [False] * 5 + [True] + [False] * 4 + [True, True, False, True, True, True, True]
    found = level_to_replace(ohm, soon, 20_000)
    assert (found.ohm, found.failed, found.at_least) == (5.0, 6, 7)
    # Clopper-Pearson of 6 in 7, statsmodels 0.15.0 proportion_confint(6, 7, method="beta")
    assert (found.low, found.high) == pytest.approx((0.421277, 0.996390), abs=1e-6)


@pytest.mark.parametrize(
    ("soon", "reason"),
    [
        ([True] * 2 + [False] * 10, "too_few"),
        ([True] * 10 + [False] * 2, "too_few"),
        ([True, False] * 6, "not_seen"),
        ([True] * 5 + [False] * 7, "not_seen"),  # the lowest readings failed: no level
    ],
)
def test_no_level_where_readings_do_not_tell(soon: list[bool], reason: str) -> None:
    found = level_to_replace([0.4 + 0.1 * n for n in range(12)], soon, 20_000)
    assert (found.reason, found.ohm) == (reason, None)
