"""Trouble of the machine, not of the request: the disk is full, the database or a process doesn't answer.

Nothing of the request was stored, so the sender keeps it and sends it again: 503 with Retry-After, not 500.
"""

from __future__ import annotations

import errno

from django.db import InterfaceError, OperationalError

RETRY_SECONDS = 30
FULL = (errno.ENOSPC, errno.EDQUOT, errno.EROFS)


class TookTooLong(TimeoutError):
    """What was asked is given up: it holds a process for longer than anybody may, or others before it did."""


def is_outage(error: BaseException) -> bool:
    """Whether waiting and sending again is all that a sender can do."""
    if isinstance(error, OperationalError | InterfaceError | TimeoutError):
        return True
    return isinstance(error, OSError) and error.errno in FULL
