"""Checks say what they said when they were recorded: how an engine is made quicker must not show."""

from __future__ import annotations

import json

import pytest

from tests.consensus.check_cases import COUNT, RECORDED, checked, made_cases

BEFORE = json.loads(RECORDED.read_text())


@pytest.mark.parametrize("at, case", list(enumerate(made_cases(1, COUNT))), ids=map(str, range(COUNT)))
def test_a_check_says_what_was_recorded(at, case) -> None:
    now, before = json.loads(json.dumps(checked(case))), BEFORE[at]
    for name in ("p", "causes_p", "bits"):  # 1e-9: sums may be taken in another order, nothing else
        assert now.pop(name) == pytest.approx(before.pop(name), rel=0, abs=1e-9), name
    assert now == before


def test_what_was_recorded_has_all_verdicts_and_many_causes() -> None:
    said = [check["verdict"] for check in BEFORE]
    assert {verdict for verdict, *_ in said} == {"good", "faulty", "undecided"}
    causes = {cause[0] for check in BEFORE for cause in check["causes"]}
    assert causes >= {
        "line_open",
        "line_closed",
        "worn_contact",
        "bridged_lines",
        "detent_shift",
        "mirrored_pins",
    }
    assert causes >= {"resistive_common", "harness_open", "unknown", "other_variant", "shifted_positions"}
