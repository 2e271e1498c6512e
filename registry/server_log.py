"""The server's own lines in the form of all others.

Its first process writes most of them, and loads nothing else of the registry.
"""

from __future__ import annotations

import logging
from typing import Any

from gunicorn.glogging import Logger

from registry.log_lines import JsonLines


class WithoutCaller(logging.Filter):
    """Of a request that goes wrong the server would tell the sender's address, and its line, link and all."""

    def filter(self, record: logging.LogRecord) -> bool:
        said = str(record.msg)
        for start in ("Invalid request", "Error handling request"):
            if said.startswith(start):
                record.msg, record.args = start, ()
        return True


class ServerLog(Logger):
    """What the server itself has to say: that a process of it died, was stuck, or could not start."""

    def setup(self, cfg: Any) -> None:
        super().setup(cfg)
        for handler in self.error_log.handlers:
            handler.setFormatter(JsonLines())
            handler.addFilter(WithoutCaller())
