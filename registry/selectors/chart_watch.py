"""Which revision of a design is current, without asking, for as long as this process hears of every change.

A thread of a server process listens to PostgreSQL's notices (chart_notices.py).  While it does, the answer to
“which revision is current?” holds until a notice names the design: some milliseconds after the commit.
Whenever the line to the database is not proven to be sound (SOUND_SECONDS), every read asks.
"""

from __future__ import annotations

import logging
import threading
import time
from typing import NamedTuple
from uuid import UUID

from cachetools import FIFOCache
from django.db import connections

from registry.chart_notices import CHANNEL, IN_PLACE, TRIGGERS
from registry.poolers import kept_for_us, own_line
from registry.selectors.api_charts import CurrentHead, RevisionHead

SOUND_SECONDS = 3.0  # after a round trip on the listening line
ROUND_SECONDS = 1.0
POOLED_SECONDS = 60.0  # until another look at a line that is not ours alone
MOST_KNOWN = 20_000  # designs

log = logging.getLogger("registry.charts")


class Told(NamedTuple):
    row: int  # of the design
    head: RevisionHead


class ChartWatch:
    """One for each process.  Nothing is known before `start`."""

    def __init__(self, most: int = MOST_KNOWN) -> None:
        self.heard = 0  # notices so far
        self._told: FIFOCache[UUID, Told] = FIFOCache(most)
        self._uuids: FIFOCache[int, UUID] = FIFOCache(most)
        self._writing = threading.Lock()
        self._sound_until = 0.0
        self._thread: threading.Thread | None = None
        self._stopped = threading.Event()

    def known(self, design: UUID) -> RevisionHead | None:
        """The current revision of the design, if that still holds for certain."""
        if time.monotonic() >= self._sound_until:
            return None
        try:
            return self._told[design].head
        except KeyError:
            return None

    def keep(self, design: UUID, current: CurrentHead, heard: int) -> None:
        """heard: the number of notices before `current` was read; any since then, and it may be outdated."""
        with self._writing:
            if heard == self.heard and time.monotonic() < self._sound_until:
                self._told[design] = Told(current.design_row, current.head)
                self._uuids[current.design_row] = design

    def start(self) -> None:
        """In a process that serves, on PostgreSQL."""
        if self._thread is None and connections["default"].vendor == "postgresql":
            self._thread = threading.Thread(target=self._watch, name="chart-watch", daemon=True)
            self._thread.start()

    def stop(self) -> None:
        self._stopped.set()
        if self._thread is not None:
            self._thread.join()

    def hear(self, payload: str) -> None:
        """A notice: the row of a design, or nothing for all."""
        with self._writing:
            self.heard += 1
            if not payload:
                self._told.clear()
                self._uuids.clear()
            elif (design := self._uuids.pop(int(payload), None)) is not None:
                self._told.pop(design, None)

    def _watch(self) -> None:
        while not self._stopped.is_set():
            try:
                self._listen()
            except Exception:
                log.warning("the line on which changes of charts are told is down; every read asks")
            self._sound_until = 0.0
            self.hear("")
            self._stopped.wait(ROUND_SECONDS)

    def _listen(self) -> None:
        """Until the line breaks, or a trigger is missing.  A connection of its own, outside transactions."""
        with own_line() as line:
            if not kept_for_us(line):
                log.warning(
                    "DATABASE_URL is a pooler's that works by transaction: no change is told; every read asks"
                )
                self._stopped.wait(POOLED_SECONDS)
                return
            line.execute(f"LISTEN {CHANNEL}")
            self.hear("")  # whoever asked before would not have been told of a change
            while not self._stopped.is_set():
                if line.execute(IN_PLACE).fetchone()[0] != TRIGGERS:
                    log.warning("a trigger that tells of charts is missing; “benchquorum migrate” makes it")
                    return
                for notice in line.notifies(timeout=0):  # what came before the answer
                    self.hear(notice.payload)
                self._sound_until = time.monotonic() + SOUND_SECONDS
                for notice in line.notifies(timeout=ROUND_SECONDS):
                    self.hear(notice.payload)


watch = ChartWatch()
