"""The fuzzers and the requests made up from the API's description, with new cases for half an hour each."""

from __future__ import annotations

import os
import random
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SOAK = float(os.environ.get("BENCHQUORUM_SOAK") or 0)
MINUTES = 30 * SOAK
ROUND = "0.05"  # share of the long form in one round: a minute or two
FUZZED = {
    "parsers": ["tests/registry/operations/test_fuzz.py", "tests/registry/operations/test_fuzz_documents.py"],
    "API": ["tests/api/test_schemathesis.py"],
}


def for_minutes(
    minutes: float, one_round: Callable[[], int], clock: Callable[[], float]
) -> tuple[int, float]:
    """Rounds until so much time has passed, one at least: cases and minutes."""
    since, cases = clock(), 0
    while True:
        cases += one_round()
        passed = (clock() - since) / 60
        if passed >= minutes:
            return cases, passed


def test_rounds_go_on_until_the_time_has_passed() -> None:
    now = iter([0.0, 50.0, 100.0, 130.0, 999.0])
    assert for_minutes(2, lambda: 7, lambda: next(now)) == (21, 130 / 60)


@pytest.mark.skipif(not SOAK, reason="`make test` runs one round of each as tests of their own")
@pytest.mark.parametrize("name", FUZZED)
def test_nothing_crashes(name: str, tmp_path: Path) -> None:
    def one_round() -> int:
        folder = tmp_path / str(len(list(tmp_path.iterdir())))
        folder.mkdir()
        environment = {**os.environ, "BENCHQUORUM_SOAK": ROUND, "BENCHQUORUM_CASES": str(folder)}
        seed = random.SystemRandom().randrange(2**32)
        done = subprocess.run(
            [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", f"--hypothesis-seed={seed}",
             *FUZZED[name]],
            cwd=ROOT, env=environment, capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == 0, f"seed {seed}\n{done.stdout[-8000:]}{done.stderr[-2000:]}"
        return sum(int(file.read_text()) for file in folder.iterdir())

    cases, minutes = for_minutes(MINUTES, one_round, time.monotonic)
    print(f"\n{name}: {cases} cases in {minutes:.1f} minutes, no crash")
    assert cases > 0 and minutes >= MINUTES
