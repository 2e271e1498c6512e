"""A log line is a JSON object, with the id of the request or task that it belongs to."""

from __future__ import annotations

import json
import logging
import re
import sys
import threading
from contextvars import ContextVar
from datetime import UTC, datetime
from types import TracebackType
from typing import Any

request_id: ContextVar[str] = ContextVar("request_id", default="")
# What PostgreSQL adds to an error: the key or the whole row that it is about, a person's address and all.
_DETAIL = re.compile(
    r"^(DETAIL|CONTEXT|HINT|QUERY): .*?(?=^(?:The above exception|During handling|Traceback|  File)|\Z)",
    re.MULTILINE | re.DOTALL,
)


class JsonLines(logging.Formatter):
    """One JSON object a line."""

    def format(self, record: logging.LogRecord) -> str:
        line = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname,
            "logger": record.name,
            "message": record.getMessage(),
            "request_id": request_id.get() or None,
            **getattr(record, "fields", {}),
        }
        if record.exc_info:
            line["error"] = self.formatException(record.exc_info)
        return json.dumps(line, ensure_ascii=False, default=str)

    def formatException(self, ei: Any) -> str:
        return _DETAIL.sub(r"\1: …\n\n", super().formatException(ei)).rstrip()


def own_words_too() -> None:
    """What Python itself says on standard error becomes a line as well: warnings, and what nobody caught."""
    logging.captureWarnings(True)
    sys.excepthook = _uncaught
    threading.excepthook = lambda told: _uncaught(told.exc_type, told.exc_value, told.exc_traceback)


def _uncaught(
    kind: type[BaseException], error: BaseException | None, traceback: TracebackType | None
) -> None:
    if error is None or issubclass(kind, SystemExit | KeyboardInterrupt):
        return
    logging.getLogger("registry.uncaught").critical("nobody caught this", exc_info=(kind, error, traceback))
