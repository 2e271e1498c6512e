"""Which line to PostgreSQL goes through a pooler, and whether that gives it to others in between.

What is listened for, a worker's name on its lines and long reads by cursor belong to one line for as long as
it is open: DATABASE_URL is the database itself, or a pooler that works by session.  One that works by
transaction may stand before the requests of servers alone (BENCHQUORUM_POOLER).
"""

from __future__ import annotations

import secrets
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection, connections

from registry import stores

HEARD_SECONDS = 2.0  # a notice takes milliseconds
_own: dict[str, Any] = {}  # of the default database, where its requests are pooled


def requests_pooled() -> None:
    """In a process that serves, before its first question: all its threads go through the pooler then."""
    if not settings.BENCHQUORUM_POOLER or connection.vendor != "postgresql" or _own:
        return
    # a long read by cursor may outlast its transaction
    given = {**stores.database(settings.BENCHQUORUM_POOLER, Path()), "DISABLE_SERVER_SIDE_CURSORS": True}
    pooled = connections.configure_settings({"default": given})["default"]
    _own.update(connection.settings_dict)
    connection.settings_dict.clear()  # one for all threads
    connection.settings_dict.update(pooled)


def own_line() -> Any:
    """A new line to the database past the pooler of requests, outside transactions, for who keeps it."""
    wrapper: Any = connections["default"]
    if _own:
        wrapper = type(wrapper)(_own, "default")
    line = wrapper.get_new_connection(wrapper.get_connection_params())
    line.autocommit = True
    return line


def kept_for_us(line: Any) -> bool:
    """Whether what happens while this line is idle reaches it, or a pooler gives it to others meanwhile."""
    (told,) = line.execute("SELECT pg_backend_pid()").fetchone()
    if told == line.info.backend_pid:
        return True  # nobody in between
    channel = f"benchquorum_{secrets.token_hex(8)}"
    line.execute(f"LISTEN {channel}")
    try:
        with own_line() as another:
            another.execute(f"NOTIFY {channel}")
        return any(notice.channel == channel for notice in line.notifies(timeout=HEARD_SECONDS, stop_after=1))
    finally:
        line.execute(f"UNLISTEN {channel}")
