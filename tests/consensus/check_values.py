"""Published numbers with their data, as stored in tests/data/check_values.json (sources are named there)."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

_ALL: dict[str, Any] = json.loads((Path(__file__).parents[1] / "data" / "check_values.json").read_text())


def published(slug: str) -> tuple[dict[str, Any], dict[str, Any]]:
    """Data and expected numbers under `slug`."""
    entry = _ALL[slug]
    return entry["data"], entry["expected"]
