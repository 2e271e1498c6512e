"""What follows from a published chart alone; worked out once for each content and kept."""

from __future__ import annotations

import json
from functools import lru_cache
from typing import Any
from uuid import UUID

from registry.bridge.codes import line_codes, short_tests
from registry.selectors.api_charts import head_of_current, revision_content

KEPT = 256
Plain = dict[str, Any]


def line_codes_of(design: UUID) -> tuple[int, list[Plain]] | None:
    """Revision and a line code for each variant; None where there is no published chart."""
    head = head_of_current(design)
    if head is None or head.state != "published":
        return None
    return head.number, _line_codes(head.content_sha256, head.pk)


def short_tests_of(design: UUID) -> tuple[int, list[Plain]] | None:
    """Revision and a short test for each variant; None where there is no published chart."""
    head = head_of_current(design)
    if head is None or head.state != "published":
        return None
    return head.number, _short_tests(head.content_sha256, head.pk)


@lru_cache(maxsize=KEPT)
def _line_codes(content_sha256: str, revision: int) -> list[Plain]:
    return line_codes(json.loads(revision_content(revision)))


@lru_cache(maxsize=KEPT)
def _short_tests(content_sha256: str, revision: int) -> list[Plain]:
    return short_tests(json.loads(revision_content(revision)))
