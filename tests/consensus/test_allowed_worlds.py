"""What the model allows and the worlds of the bars never have (tests/simulation/rates.py, ALLOWED): leads,
ranges, gaps, sweeps, poor meters, lines against each other, one or two lines, one to three positions.

Worlds go through the file form, as the command reads them.  Seeds fixed; 16 designs have 100 to 480 cells, so
that one wrong cell is 0.2 to 1 %: none may be.
"""

from __future__ import annotations

import pytest

from tests.simulation.__main__ import score_worlds
from tests.simulation.rates import ALLOWED
from tests.simulation.scores import Tally

# of fewer than four readings no mistake can be told from slips, and on two lines few from each other
FOUND_AT_LEAST = {"few positions": 0.4, "one line": 0.8, "two lines": 0.8, "all of it": 0.8}
FOUND = ("mirrored_pins", "shifted_positions", "wrong_common")


@pytest.fixture(scope="module", params=sorted(ALLOWED))
def score(request: pytest.FixtureRequest) -> tuple[str, Tally]:
    return request.param, score_worlds(request.param, [41, 42], 16, by_file=True)


def test_states_are_right(score: tuple[str, Tally]) -> None:
    _kind, tally = score
    assert tally.share("agreed but wrong") == 0
    assert tally.share("cells wrong") == 0
    assert tally.share("state right") >= 0.995
    assert tally.share("cells agreed") >= 0.85
    assert tally.hits["tables beyond the true ones"] <= 1  # of 32: units of one line are soon alike by chance


def test_gaps_and_lines_against_each_other_are_read_rightly(score: tuple[str, Tally]) -> None:
    kind, tally = score
    for name in {"gaps": ["gaps"], "across": ["line to line"], "all of it": ["gaps", "line to line"]}.get(
        kind, []
    ):
        assert tally.of[f"{name}: state right"] > 100
        assert tally.share(f"{name}: state right") >= 0.99
        assert not tally.hits[f"{name}: agreed but wrong"]


def test_findings_are_right(score: tuple[str, Tally]) -> None:
    kind, tally = score
    assert tally.share("clean sheets flagged") <= 0.01
    assert tally.share("faulty or two slips: not called fits") >= 0.85
    found = [f"found: {name}" for name in FOUND]
    share = sum(tally.hits[name] for name in found) / sum(tally.of[name] for name in found)
    assert share >= FOUND_AT_LEAST.get(kind, 0.9)


def test_resistances_are_right(score: tuple[str, Tally]) -> None:
    _kind, tally = score
    assert tally.share("ohm: true value inside typical ± 3u + contact") >= 0.93


@pytest.mark.parametrize("seed", [7, 8])
def test_two_lines_numbered_from_the_other_face_are_found(seed: int) -> None:
    tally = score_worlds("two lines", [seed], 25, by_file=True)
    assert tally.of["found: mirrored_pins"] >= 10
    assert tally.share("found: mirrored_pins") >= 0.9
