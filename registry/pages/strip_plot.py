"""The readings of one cell on a log axis: acceptance range as a band, over-limits as arrows at the edge.

Only places in the drawing are worked out here; `templates/parts/strip.html` draws them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from registry.formats.figures import ohm_text

WIDTH, LEFT, RIGHT = 400, 30, 370
TOP, LINE = 34, 11
LEAST, MOST = 0.1, 5e7  # Ω; the axis is cut to the decades that are needed
CLOSED_BELOW, OPEN_ABOVE = 20.0, 1e5


@dataclass(frozen=True)
class Dot:
    x: float
    y: float
    kind: str  # value, range, over_limit, continuity
    unlike: bool
    words: str
    x2: float = 0.0

    @property
    def arrow(self) -> str:
        """Points off the axis: to the right above the limit, to the left below the buzzer's."""
        tip = 7 if self.kind == "over_limit" else -7
        return f"M{self.x - tip} {self.y - 4}L{self.x} {self.y}L{self.x - tip} {self.y + 4}"

    @property
    def ring(self) -> float:
        return 6.5


@dataclass(frozen=True)
class StripPlot:
    height: int
    ticks: list[tuple[float, str]]
    dots: list[Dot]
    band: tuple[float, float] | None
    width: int = WIDTH
    left: int = LEFT
    right: int = RIGHT
    marks: list[tuple[float, str]] = field(default_factory=list)

    @property
    def foot(self) -> int:
        return self.height - 26

    @property
    def words_at(self) -> int:
        return self.height - 8

    @property
    def band_width(self) -> float:
        return round(self.band[1] - self.band[0], 1) if self.band else 0.0


def state_of(reading: Any) -> str:
    """State by the figure alone, leads subtracted: closed below 20 Ω, open above 100 kΩ."""
    if reading.kind == "over_limit":
        return "open"
    if reading.kind == "continuity":
        return "closed"
    low, high = (max(end - reading.lead_ohm, 0.0) for end in (reading.low_ohm, reading.high_ohm))
    if high < CLOSED_BELOW:
        return "closed"
    return "open" if low > OPEN_ABOVE else "resistive"


def strip_plot(readings: Iterable[Any], state: str | None, accept: list[float] | None) -> StripPlot:
    """readings: of one cell, in the order of their sheets; accept: range of one new unit, Ω."""
    rows = list(readings)
    figures = [max(r.low_ohm - r.lead_ohm, LEAST) for r in rows if r.low_ohm is not None]
    figures += [max(r.high_ohm - r.lead_ohm, LEAST) for r in rows if r.high_ohm is not None]
    figures += [max(accept[0], LEAST), accept[1]] if accept else []
    figures += [r.limit_ohm for r in rows if r.kind == "over_limit"]
    low = math.floor(math.log10(max(min(figures, default=0.1), LEAST)))
    high = math.ceil(math.log10(min(max(figures, default=10.0), MOST)))
    high = max(high, low + 2)

    def x(value: float) -> float:
        share = (math.log10(min(max(value, 10.0**low), 10.0**high)) - low) / (high - low)
        return round(LEFT + share * (RIGHT - LEFT), 1)

    line = LINE if len(rows) <= 24 else max(2.0, 24 * LINE / len(rows))
    dots = [_dot(row, TOP + n * line, x, state) for n, row in enumerate(rows)]
    return StripPlot(
        height=int(TOP + len(rows) * line + 34),
        ticks=[(x(10.0**p), ohm_text(10.0**p)) for p in range(low, high + 1, 1 if high - low < 6 else 2)],
        dots=dots,
        band=(x(max(accept[0], 10.0**low)), x(accept[1])) if accept else None,
    )


def _dot(row: Any, y: float, x: Any, state: str | None) -> Dot:
    unlike = state is not None and state_of(row) != state
    y = round(y, 1)
    if row.kind == "over_limit":
        return Dot(RIGHT + 14, y, row.kind, unlike, row.as_typed)
    if row.kind == "continuity":
        return Dot(LEFT - 14, y, row.kind, unlike, row.as_typed)
    low, high = (max(end - row.lead_ohm, LEAST) for end in (row.low_ohm, row.high_ohm))
    return Dot(x(low), y, row.kind, unlike, row.as_typed, x(high))
