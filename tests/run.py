"""`make test`: migrations check, the suite on PostgreSQL, then all of it on SQLite with doctests.

Closes with pytest's own summary.  What a bare machine lacks is left out, and said loudly above that summary;
with CI=true it is a failure instead.
"""

from __future__ import annotations

import os
import subprocess
import sys

from tests.machine import LEFT_OUT, chromium_path, in_ci, postgres_url

WORKERS = os.environ.get("BENCHQUORUM_TEST_WORKERS", "2")
DOCTESTS = ["consensus", "registry/formats"]
# What a site's own settings would change.
OF_A_SITE = ("BENCHQUORUM_HOSTS", "BENCHQUORUM_ORIGINS", "BENCHQUORUM_TLS")
# What never touches a database needs no second run on PostgreSQL.
WITH_DATABASE = ["tests/registry", "tests/api"]


def main() -> int:
    postgres = postgres_url()
    missing = _missing(postgres)
    if missing and in_ci():
        print("CI lacks what the tests need:", *missing, sep="\n  ", file=sys.stderr)
        return 1
    failed = []
    if _run([sys.executable, "manage.py", "makemigrations", "--check", "--dry-run"]):
        failed.append("The migrations check FAILED: run `manage.py makemigrations`.")
    if postgres and _pytest(*WITH_DATABASE, "-m", "not browser", DATABASE_URL=postgres):
        failed.append("The suite on PostgreSQL FAILED; its report stands above.")
    told = "\n".join([*missing, *failed])
    suite = ("tests", *DOCTESTS, "--doctest-modules", "--ignore=tests/benchmarks")
    last = _pytest(*suite, DATABASE_URL="", **{LEFT_OUT: told})
    return 1 if failed or last else 0


def _missing(postgres: str | None) -> list[str]:
    missing = []
    if postgres is None:
        missing.append("No PostgreSQL server answers: the suite ran on SQLite only. Set DATABASE_URL to one.")
    if chromium_path() is None:
        missing.append("No chromium: the browser walks did not run. `apt-get install chromium` brings it.")
    return missing


def _pytest(*arguments: str, **environment: str) -> int:
    print(f"\n== {'PostgreSQL' if environment['DATABASE_URL'] else 'SQLite'}", flush=True)
    return _run(
        [sys.executable, "-m", "pytest", "-q", "-n", WORKERS, "--dist", "loadgroup", *arguments],
        **environment,
    )


def _run(command: list[str], **environment: str) -> int:
    # One thread a worker: the workers share two cores.
    threads = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"), "1")
    given = {name: value for name, value in os.environ.items() if name not in OF_A_SITE}
    return subprocess.run(command, env={**given, **threads, **environment}, check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
