"""The reliability snapshot: slip rates and habits of contributors, learned across designs.

A contributor has two slip rates (a missed contact, an invented one) with Beta posteriors and habits
(how often a sheet of theirs went through each sheet mistake).  A snapshot is plain data: a chart is
a pure function of its readings, the snapshot and the settings.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from scipy.special import betaincinv

from consensus.settings import Settings

Plain = dict[str, Any]
UNKNOWN_MADE_UP = 0.0  # of an account of which nothing is known
UNKNOWN_WITHIN = Settings.block_within
MISTAKES = ("mirrored_pins", "shifted_positions", "wrong_common", "exchanged")


@dataclass(frozen=True)
class MandelFigures:
    """h and k of one contributor with the limits at 1 %, among so many contributors who repeated readings."""

    h: float
    k: float
    h_limit: float
    k_limit: float
    contributors: int

    def to_plain(self) -> dict[str, Any]:
        return dict(self.__dict__)


@dataclass(frozen=True)
class ContributorReliability:
    """Beta posteriors (a, b) of both slip rates, and expected counts of sheets by mistake.

    leads_ohm: mean excess of this contributor's closed readings, Ω: leads that are not zeroed; mandel: their
    figures beside those of others, None where too few contacts were read twice (meter_habits.py).  made_up,
    made_up_within: shares of the sheets that are of coordinated blocks, of all and of those in designs that
    have one (blocks.py).
    """

    miss: tuple[float, float]
    invent: tuple[float, float]
    sheets: float
    mistakes: tuple[tuple[str, float], ...] = ()
    leads_ohm: float = 0.0
    mandel: MandelFigures | None = None
    made_up: float = UNKNOWN_MADE_UP
    made_up_within: float = UNKNOWN_WITHIN

    @property
    def miss_rate(self) -> float:
        """Posterior mean share of closed or resistive contacts read as open."""
        return self.miss[0] / sum(self.miss)

    @property
    def invent_rate(self) -> float:
        """Posterior mean share of open contacts read as closed or resistive."""
        return self.invent[0] / sum(self.invent)

    @property
    def discernment(self) -> float:
        """Youden's J: 1 less both slip rates; 0 for one who writes down whatever comes."""
        return 1 - self.miss_rate - self.invent_rate

    def miss_interval(self, level: float = 0.95) -> tuple[float, float]:
        """Equal-tailed posterior interval of the missed-contact rate."""
        return _beta_interval(self.miss, level)

    def invent_interval(self, level: float = 0.95) -> tuple[float, float]:
        """Equal-tailed posterior interval of the invented-contact rate."""
        return _beta_interval(self.invent, level)

    def habit(self, mistake: str) -> float:
        """Expected number of this contributor's sheets that went through `mistake`."""
        return dict(self.mistakes).get(mistake, 0.0)

    def to_plain(self) -> Plain:
        return {
            "miss": list(self.miss),
            "invent": list(self.invent),
            "sheets": self.sheets,
            "mistakes": dict(self.mistakes),
            "leads_ohm": self.leads_ohm,
            "mandel": None if self.mandel is None else self.mandel.to_plain(),
            "made_up": self.made_up,
            "made_up_within": self.made_up_within,
        }

    @classmethod
    def from_plain(cls, plain: Plain) -> ContributorReliability:
        return cls(
            miss=(float(plain["miss"][0]), float(plain["miss"][1])),
            invent=(float(plain["invent"][0]), float(plain["invent"][1])),
            sheets=float(plain["sheets"]),
            mistakes=tuple((name, float(count)) for name, count in plain["mistakes"].items()),
            leads_ohm=float(plain.get("leads_ohm", 0.0)),
            mandel=None if plain.get("mandel") is None else MandelFigures(**plain["mandel"]),
            made_up=float(plain.get("made_up", UNKNOWN_MADE_UP)),
            made_up_within=float(plain.get("made_up_within", UNKNOWN_WITHIN)),
        )


def _beta_interval(posterior: tuple[float, float], level: float) -> tuple[float, float]:
    tail = (1 - level) / 2
    a, b = posterior
    return float(betaincinv(a, b, tail)), float(betaincinv(a, b, 1 - tail))


@dataclass(frozen=True)
class Reliability:
    """A snapshot.  miss, invent: population Beta (a, b) for contributors not in it; mistakes, faults:
    shares of sheets and units by kind; leak, dirty: shares of readings; block_rate: designs with a
    coordinated block (see `Settings`)."""

    miss: tuple[float, float]
    invent: tuple[float, float]
    mistakes: tuple[tuple[str, float], ...]
    fault_rate: float
    leak: float
    dirty: float
    contributors: dict[str, ContributorReliability] = field(default_factory=dict)
    block_rate: float = Settings.block_rate

    @classmethod
    def from_settings(cls, settings: Settings) -> Reliability:
        """The snapshot before any data: the priors of the settings.

        >>> round(Reliability.from_settings(Settings()).of("nobody").miss_rate, 3)
        0.03
        """
        weight = settings.slip_strength
        return cls(
            miss=(settings.miss_rate * weight, (1 - settings.miss_rate) * weight),
            invent=(settings.invent_rate * weight, (1 - settings.invent_rate) * weight),
            mistakes=(
                ("mirrored_pins", settings.mistake_mirrored),
                ("shifted_positions", settings.mistake_shifted),
                ("wrong_common", settings.mistake_wrong_common),
                ("exchanged", settings.mistake_exchanged),
            ),
            fault_rate=settings.fault_rate,
            leak=settings.leak_rate,
            dirty=settings.dirty_rate,
            block_rate=settings.block_rate,
        )

    def of(self, contributor: str) -> ContributorReliability:
        """What is known of a contributor; the population where nothing is."""
        known = self.contributors.get(contributor)
        return known or ContributorReliability(miss=self.miss, invent=self.invent, sheets=0.0)

    def to_plain(self) -> Plain:
        return {
            "miss": list(self.miss),
            "invent": list(self.invent),
            "mistakes": dict(self.mistakes),
            "fault_rate": self.fault_rate,
            "leak": self.leak,
            "dirty": self.dirty,
            "block_rate": self.block_rate,
            "contributors": {name: one.to_plain() for name, one in sorted(self.contributors.items())},
        }

    @classmethod
    def from_plain(cls, plain: Plain) -> Reliability:
        return cls(
            miss=(float(plain["miss"][0]), float(plain["miss"][1])),
            invent=(float(plain["invent"][0]), float(plain["invent"][1])),
            mistakes=tuple((name, float(p)) for name, p in plain["mistakes"].items()),
            fault_rate=float(plain["fault_rate"]),
            leak=float(plain["leak"]),
            dirty=float(plain["dirty"]),
            block_rate=float(plain.get("block_rate", Settings.block_rate)),
            contributors={
                name: ContributorReliability.from_plain(one) for name, one in plain["contributors"].items()
            },
        )
