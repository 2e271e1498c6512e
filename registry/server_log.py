"""The server's own lines in the form of all others.

Its first process writes most of them, and loads nothing else of the registry.
"""

from __future__ import annotations

from typing import Any

from gunicorn.glogging import Logger

from registry.log_lines import JsonLines


class ServerLog(Logger):
    """What the server itself has to say: that a process of it died, was stuck, or could not start."""

    def setup(self, cfg: Any) -> None:
        super().setup(cfg)
        for handler in self.error_log.handlers:
            handler.setFormatter(JsonLines())
