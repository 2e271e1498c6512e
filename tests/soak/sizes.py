"""How long and how much: a bounded form in `make test`, the whole in `make soak`."""

from __future__ import annotations

import os
from dataclasses import dataclass


@dataclass(frozen=True)
class Sizes:
    """seconds: of mixed traffic; kills: over server, worker and database; designs × units: what is loaded."""

    seconds: float
    kills: int
    designs: int
    units: int
    pause: float  # s between the sheets of one sender
    judged: bool  # whether ratios of time are held to their bars: not while tests share the cores


# 25 000 sheets, 1 000 000 readings
LONG = Sizes(seconds=600, kills=500, designs=1250, units=20, pause=0.05, judged=True)
SHORT = Sizes(seconds=3, kills=5, designs=4, units=4, pause=1.0, judged=False)


def sizes() -> Sizes:
    """BENCHQUORUM_SOAK=1 for the long form; BENCHQUORUM_SOAK=0.1 for a tenth of it."""
    share = float(os.environ.get("BENCHQUORUM_SOAK") or 0)
    if not share:
        return SHORT
    return Sizes(
        seconds=max(LONG.seconds * share, SHORT.seconds),
        kills=max(int(LONG.kills * share), SHORT.kills),
        designs=max(int(LONG.designs * share), SHORT.designs),
        units=LONG.units,
        pause=LONG.pause,
        judged=True,
    )
