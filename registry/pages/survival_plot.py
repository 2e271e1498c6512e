"""The share of units still good over distance: a step curve with its band, the law beside it.

Only places in the drawing are worked out here; `templates/parts/survival.html` draws them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from registry.formats.figures import in_unit
from registry.formats.life_words import far_text

WIDTH, HEIGHT = 400, 236
LEFT, RIGHT, TOP, FOOT = 46, 384, 10, 188
Plain = dict[str, Any]
Point = tuple[float, float]


@dataclass(frozen=True)
class SurvivalPlot:
    """curve, band, law: paths; ticks, shares: place and words of each mark; b10: where its interval lies."""

    curve: str
    band: str
    law: str
    ticks: list[tuple[float, str]]
    shares: list[tuple[float, str]]
    b10: tuple[float, float, float] | None
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right: int = RIGHT
    top: int = TOP
    foot: int = FOOT

    @property
    def b10_height(self) -> float:
        return _y(0.9)


def survival_plot(group: Plain, unit: str) -> SurvivalPlot | None:
    """group: of `life_figures`; None where it has no curve."""
    steps = group["survival"]
    if not steps:
        return None
    farthest = in_unit(steps[-1]["km"], unit) * 1.08
    step = _tick(farthest)
    farthest = max(farthest, step)

    def x(km: float) -> float:
        return round(LEFT + min(in_unit(km, unit) / farthest, 1.0) * (RIGHT - LEFT), 1)

    marks = [n * step for n in range(int(farthest / step) + 1)]
    return SurvivalPlot(
        curve=_path(_steps(steps, "s", x)),
        band=_path([*_steps(steps, "high", x), *reversed(_steps(steps, "low", x))]) + "Z",
        law=_law(group["weibull"], farthest, unit, x),
        ticks=[(x(_km(mark, unit)), far_text(_km(mark, unit), unit)) for mark in marks],
        shares=[(_y(share), f"{share * 100:.0f} %") for share in (0.0, 0.25, 0.5, 0.75, 1.0)],
        b10=_b10(group["b10_km"], x),
    )


def _km(value: float, unit: str) -> float:
    return value * 1.609344 if unit == "mi" else value


def _y(share: float) -> float:
    return round(FOOT - share * (FOOT - TOP), 1)


def _tick(farthest: float) -> float:
    """1, 2 or 5 times a power of ten: two to four marks."""
    power = 10.0 ** math.floor(math.log10(max(farthest, 1.0) / 3))
    return next((power * by for by in (1, 2, 5) if farthest / (power * by) <= 4.2), power * 10)


def _steps(steps: list[Plain], name: str, x: Any) -> list[Point]:
    points: list[Point] = [(LEFT, _y(1.0))]
    for step in steps:
        points += [(x(step["km"]), points[-1][1]), (x(step["km"]), _y(step[name]))]
    return [*points, (float(RIGHT), points[-1][1])]


def _path(points: list[Point]) -> str:
    return "M" + "L".join(f"{a:g} {b:g}" for a, b in points)


def _law(law: Plain | None, farthest: float, unit: str, x: Any) -> str:
    if law is None:
        return ""
    far = [farthest * n / 40 for n in range(41)]
    share = [math.exp(-((_km(at, unit) / law["scale_km"]) ** law["shape"])) for at in far]
    return _path([(x(_km(at, unit)), _y(s)) for at, s in zip(far, share, strict=True)])


def _b10(figure: Plain | None, x: Any) -> tuple[float, float, float] | None:
    if figure is None:
        return None
    low = LEFT if figure["low"] is None else x(figure["low"])
    high = RIGHT if figure["high"] is None else x(figure["high"])
    return low, x(figure["estimate"]), high
