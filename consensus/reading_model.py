"""What a chart says of readers, meters and contacts, for the checks that are made against it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from consensus.figures import rounded

Plain = dict[str, Any]


@dataclass(frozen=True)
class ReadingModel:
    """What a check needs to know of readers, meters and contacts; shares are probabilities, figures Ω.

    miss, invent: slip rates of a reader of whom nothing is known; contributors: (name, miss, invent) of
    those who read this design; contact_ohm, contact_spread: median and ln-spread of closed contacts;
    mistakes, faults: prior shares by kind; evidence: (name, contacts, opens) readings behind a contributor's
    two rates; slip_weights: readings that the population's rates are worth beside them.
    """

    miss: float
    invent: float
    leak: float
    dirty: float
    misread_level: float
    contact_ohm: float
    contact_spread: float
    level_spread: float
    contributors: tuple[tuple[str, float, float], ...] = ()
    mistakes: tuple[tuple[str, float], ...] = ()
    faults: tuple[tuple[str, float], ...] = ()
    evidence: tuple[tuple[str, float, float], ...] = ()
    slip_weights: tuple[float, float] = (0.0, 0.0)

    def to_plain(self) -> Plain:
        return {
            "miss": rounded(self.miss),
            "invent": rounded(self.invent),
            "leak": rounded(self.leak),
            "dirty": rounded(self.dirty),
            "misread_level": rounded(self.misread_level),
            "contact_ohm": rounded(self.contact_ohm, 5),
            "contact_spread": rounded(self.contact_spread, 5),
            "level_spread": rounded(self.level_spread, 5),
            "contributors": {name: [rounded(m), rounded(i)] for name, m, i in self.contributors},
            "mistakes": {name: rounded(p) for name, p in self.mistakes},
            "faults": {name: rounded(p) for name, p in self.faults},
            "evidence": {name: [rounded(c, 4), rounded(o, 4)] for name, c, o in self.evidence},
            "slip_weights": [rounded(weight) for weight in self.slip_weights],
        }

    @classmethod
    def from_plain(cls, plain: Plain) -> ReadingModel:
        readers = plain.get("contributors", {})
        weights = plain.get("slip_weights", (0.0, 0.0))
        return cls(
            miss=float(plain["miss"]),
            invent=float(plain["invent"]),
            leak=float(plain["leak"]),
            dirty=float(plain["dirty"]),
            misread_level=float(plain["misread_level"]),
            contact_ohm=float(plain["contact_ohm"]),
            contact_spread=float(plain["contact_spread"]),
            level_spread=float(plain["level_spread"]),
            contributors=tuple((name, float(m), float(i)) for name, (m, i) in readers.items()),
            mistakes=tuple((name, float(p)) for name, p in plain.get("mistakes", {}).items()),
            faults=tuple((name, float(p)) for name, p in plain.get("faults", {}).items()),
            evidence=tuple((name, float(c), float(o)) for name, (c, o) in plain.get("evidence", {}).items()),
            slip_weights=(float(weights[0]), float(weights[1])),
        )
