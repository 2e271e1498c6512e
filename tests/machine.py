"""What this machine has of what the tests need, and what is left out for want of it."""

from __future__ import annotations

import os
import shutil

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


def left_out() -> list[str]:
    """Sentences on what this run does not test."""
    return [line for line in os.environ.get(LEFT_OUT, "").splitlines() if line]
