"""What a reliability snapshot says of one contributor, as figures that a page shows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from consensus.reliability import ContributorReliability, MandelFigures

LEADS_SEEN_OHM = 0.12  # from here on it is hardly chance (tests/consensus/test_meter_habits.py)
MISTAKE_SEEN = 0.5  # sheets that are expected to have gone through it


@dataclass(frozen=True)
class Rate:
    """A share of readings with its 95 % interval."""

    share: float
    low: float
    high: float


@dataclass(frozen=True)
class Habits:
    """How somebody reads.

    miss, invent: contacts read as open, and opens read as contacts; sheets: how many stand behind it;
    mistakes: about how many sheets by mistake, most first; leads_ohm: Ω by which closed contacts read higher
    than those of others; mandel: h and k with limits, None where too few contacts were read twice; made_up:
    share of the sheets that are of coordinated groups.
    """

    sheets: float
    miss: Rate
    invent: Rate
    mistakes: tuple[tuple[str, int], ...]
    leads_ohm: float
    mandel: MandelFigures | None
    made_up: float

    @property
    def leads_seen(self) -> bool:
        return self.leads_ohm >= LEADS_SEEN_OHM

    @property
    def level_unusual(self) -> bool:
        return self.mandel is not None and abs(self.mandel.h) > self.mandel.h_limit

    @property
    def spread_unusual(self) -> bool:
        return self.mandel is not None and self.mandel.k > self.mandel.k_limit


def reading_habits(known: Mapping[str, Any]) -> Habits:
    """The figures of a contributor's entry in a snapshot.

    >>> entry = {"miss": [2, 98], "invent": [1, 199], "sheets": 5, "mistakes": {"mirrored_pins": 1.0}}
    >>> found = reading_habits(entry)
    >>> found.miss.share, round(found.miss.low, 4), found.leads_seen
    (0.02, 0.0025, False)
    """
    one = ContributorReliability.from_plain(dict(known))
    seen = [(name, max(1, round(count))) for name, count in one.mistakes if count >= MISTAKE_SEEN]
    return Habits(
        sheets=one.sheets,
        miss=Rate(one.miss_rate, *one.miss_interval()),
        invent=Rate(one.invent_rate, *one.invent_interval()),
        mistakes=tuple(sorted(seen, key=lambda pair: -pair[1])),
        leads_ohm=one.leads_ohm,
        mandel=one.mandel,
        made_up=one.made_up,
    )
