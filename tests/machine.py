"""What this machine has of what the tests need, and what is left out for want of it."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import psycopg

CHROMIUM_NAMES = ("chromium", "chromium-browser", "google-chrome")
LOCAL_POSTGRES = "postgres://postgres@127.0.0.1:5432/postgres"
LEFT_OUT = "BENCHQUORUM_TESTS_LEFT_OUT"  # set by tests.run for the session that prints its summary last


def in_ci() -> bool:
    """In CI nothing may be left out: what is missing there is a failure."""
    return os.environ.get("CI", "") == "true"


def chromium_path() -> str | None:
    """The browser for the walks; BENCHQUORUM_CHROMIUM names another than Debian's."""
    named = os.environ.get("BENCHQUORUM_CHROMIUM")
    return named or next((path for name in CHROMIUM_NAMES if (path := shutil.which(name))), None)


def postgres_url() -> str | None:
    """A PostgreSQL server that answers: DATABASE_URL, or the machine's own; None where there is none."""
    url = os.environ.get("DATABASE_URL") or LOCAL_POSTGRES
    try:
        psycopg.connect(url, connect_timeout=3).close()
    except psycopg.OperationalError:
        return None
    return url


def postgres_programs() -> Path | None:
    """The folder of initdb and postgres; None where no server is installed here."""
    on_path = shutil.which("initdb")
    if on_path:
        return Path(on_path).resolve().parent
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: int(p.parts[-3]))
    return found[-1].parent if found else None


def left_out() -> list[str]:
    """Sentences on what this run does not test."""
    return [line for line in os.environ.get(LEFT_OUT, "").splitlines() if line]
