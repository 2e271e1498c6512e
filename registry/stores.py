"""Where a registry keeps things: its database, the counts that servers share; and who takes its mail."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from environ import Env

SQLITE_OPTIONS: dict[str, object] = {
    # Writers queue up at BEGIN instead of failing at COMMIT.
    "transaction_mode": "IMMEDIATE",
    "timeout": 20,
    "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON;",
}
# This end notices within 25 s that the other machine is gone.  That the database does too, and frees what was
# locked, is a setting of our role there (deploy/database/roles.sql): a pooler refuses to be asked for it.
POSTGRESQL_OPTIONS: dict[str, object] = {
    "keepalives_idle": 10,
    "keepalives_interval": 5,
    "keepalives_count": 3,
    "tcp_user_timeout": 25_000,
}


def database(url: str, folder: Path) -> dict[str, object]:
    """For Django: what the address names, else a file in the folder."""
    if url:
        # PostgreSQL.  Connections are kept: reconnecting costs a queue worker three quarters of its rate.
        given = {**Env.db_url_config(url), "CONN_MAX_AGE": 60, "CONN_HEALTH_CHECKS": True}
        if given["ENGINE"].endswith("postgresql"):
            given["OPTIONS"] = {**POSTGRESQL_OPTIONS, **given.get("OPTIONS", {})}
        return given
    folder.mkdir(parents=True, exist_ok=True)
    return {
        "ENGINE": "django.db.backends.sqlite3",
        "NAME": folder / "benchquorum.sqlite3",
        "CONN_MAX_AGE": 60,  # opening the file and its pragmas would cost half of a chart's answer
        "TEST": {"NAME": folder / "test.sqlite3"},  # a file: two writers at once need a real one
        "OPTIONS": SQLITE_OPTIONS,
    }


def cache(named: dict[str, Any]) -> dict[str, Any]:
    """A shared store that is down must not stop anybody: what can't be counted is not limited.

    In memory there is room for as many callers as an hour brings; in the framework's 300 the counts of one
    would be gone once 300 others had come.
    """
    if named["BACKEND"].endswith("LocMemCache"):
        return {**named, "OPTIONS": {"MAX_ENTRIES": 50_000, **named.get("OPTIONS", {})}}
    if not named["BACKEND"].endswith("RedisCache"):
        return named
    return {
        **named,
        "BACKEND": "registry.shared_cache.LenientCache",
        "OPTIONS": {
            "IGNORE_EXCEPTIONS": True,
            "SOCKET_TIMEOUT": 0.5,
            "SOCKET_CONNECT_TIMEOUT": 0.5,
            **named.get("OPTIONS", {}),
        },
    }


def mail(named: dict[str, Any]) -> dict[str, Any]:
    """Every setting of Django's that an address can give; where it has no port, the one of its encryption."""
    tls, ssl = bool(named.get("EMAIL_USE_TLS")), bool(named.get("EMAIL_USE_SSL"))
    if tls and named["EMAIL_PORT"] == 465:  # where nobody speaks in the clear first
        tls, ssl = False, True
    return {
        **named,
        "EMAIL_HOST": named["EMAIL_HOST"] or "localhost",
        "EMAIL_PORT": named["EMAIL_PORT"] or (465 if ssl else 587 if tls else 25),
        "EMAIL_HOST_USER": named["EMAIL_HOST_USER"] or "",
        "EMAIL_HOST_PASSWORD": named["EMAIL_HOST_PASSWORD"] or "",
        "EMAIL_USE_TLS": tls,
        "EMAIL_USE_SSL": ssl,
        "EMAIL_FILE_PATH": named["EMAIL_FILE_PATH"] or None,
    }
