"""The same for each of several: one that fails is logged and keeps none of the others back."""

from __future__ import annotations

import logging
from collections.abc import Callable

from django.db import connection, transaction

log = logging.getLogger("registry.due")


class SomeFailed(Exception):
    """done: what came of the others."""

    def __init__(self, what: str, *, done: int, failed: int) -> None:
        super().__init__(f"{what}: {failed} failed")
        self.done = done


class OneByOne:
    """Adds up what each comes to; `end` raises SomeFailed, after all of them, where one failed."""

    def __init__(self, what: str) -> None:
        self.what, self.done, self.failed = what, 0, 0

    def run(self, do: Callable[[], int]) -> None:
        """In a transaction of its own.  A database that is gone fails them all, so that is raised.

        A deadlock or a lock that was waited for in vain is this one's alone.
        """
        try:
            with transaction.atomic():
                came = do()
        except Exception:
            if not connection.is_usable():
                raise
            log.exception("one of %s failed; the others go on", self.what)
            self.failed += 1
        else:
            self.done += came

    def end(self) -> int:
        if self.failed:
            raise SomeFailed(self.what, done=self.done, failed=self.failed)
        return self.done
