"""100 000 readings by the API's bulk call and by `benchquorum import`, beside plain `bulk_create`.

The bar: a third at least of the rate of the same rows written plainly, on both databases, with all that the
call and the command do besides: reading, checking, the log, the feed, and the charts.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import psycopg
import pytest

from tests.benchmarks.bulk_rate import READINGS
from tests.machine import postgres_url

ROOT = Path(__file__).parents[2]
NAME = f"benchquorum_bulk_{os.getpid()}"


def measured(folder: Path, url: str) -> dict[str, float]:
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("BENCHQUORUM_", "DJANGO_"))}
    own = {"DATABASE_URL": url, "BENCHQUORUM_DATA": str(folder), "BENCHQUORUM_NEW_SHEETS": "0"}
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.bulk_rate"],
        cwd=ROOT, env={**kept, **own}, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-3000:]
    found: dict[str, float] = json.loads(done.stdout)
    return found


def judge(database: str, found: dict[str, float]) -> None:
    rates = {way: READINGS / seconds for way, seconds in found.items()}
    print(f"\n{database}: " + ", ".join(f"{way} {rate:.0f}/s" for way, rate in rates.items()))
    for way in ("api", "command", "many_designs", "api_again", "command_again", "many_designs_again"):
        print(f"  {way}: {rates[way] / rates['plain']:.2f} of plain rows")
        assert rates[way] / rates["plain"] >= 1 / 3


def test_bulk_on_sqlite(tmp_path: Path) -> None:
    judge("SQLite", measured(tmp_path, ""))


def test_bulk_on_postgresql(tmp_path: Path) -> None:
    server = postgres_url()
    if server is None:
        pytest.skip("no PostgreSQL server answers")
    with psycopg.connect(server, autocommit=True) as admin:
        admin.execute(f"CREATE DATABASE {NAME}")
        try:
            judge("PostgreSQL", measured(tmp_path, server.rsplit("/", 1)[0] + f"/{NAME}"))
        finally:
            admin.execute(f"DROP DATABASE {NAME} WITH (FORCE)")
