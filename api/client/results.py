"""What the registry answers, as frozen objects.  `plain` is the whole answer, for what is not named here."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

Plain = dict[str, Any]


@dataclass(frozen=True)
class DesignFound:
    """A line of the list of designs."""

    design: str
    name: str
    part_numbers: tuple[str, ...]
    positions: tuple[str, ...]
    pins: tuple[str, ...]
    common: str | None
    standing: str | None
    plain: Plain = field(repr=False)

    @classmethod
    def of(cls, plain: Plain) -> DesignFound:
        chart = plain.get("chart")
        return cls(
            design=plain["design"],
            name=plain["name"],
            part_numbers=tuple(part["number"] for part in plain["part_numbers"]),
            positions=tuple(plain["positions"]),
            pins=tuple(plain["pins"]),
            common=plain["common"],
            standing=None if chart is None else chart["standing"],
            plain=plain,
        )


@dataclass(frozen=True)
class ChartCell:
    """The pattern at one place; accept: Ω that one new good unit may show."""

    variant: str
    position: str
    pin: str
    against: str
    between: bool
    state: str | None
    standing: str
    units: int
    agreeing: int
    accept: tuple[float, float] | None


@dataclass(frozen=True)
class Chart:
    """A published chart.  withdrawn: the reason, where it has been taken back."""

    design: str
    revision: int
    state: str
    withdrawn: str | None
    digest: str
    cells: tuple[ChartCell, ...]
    plain: Plain = field(repr=False)

    @classmethod
    def of(cls, plain: Plain) -> Chart:
        cells = [
            ChartCell(
                variant=variant["variant"],
                position=cell["position"],
                pin=cell["pin"],
                against=cell["against"],
                between=cell["between"],
                state=cell["state"],
                standing=cell["standing"],
                units=cell["units"],
                agreeing=cell["agreeing"],
                accept=None if cell["ohm"] is None else (cell["ohm"]["accept"][0], cell["ohm"]["accept"][1]),
            )
            for variant in plain["chart"]["variants"]
            for cell in variant["cells"]
        ]
        withdrawn = plain["withdrawn"]
        return cls(
            design=plain["design"],
            revision=plain["revision"],
            state=plain["state"],
            withdrawn=None if withdrawn is None else withdrawn["reason"],
            digest=plain["digest"],
            cells=tuple(cells),
            plain=plain,
        )


@dataclass(frozen=True)
class Cause:
    cause: str
    pins: tuple[str, ...]
    positions: tuple[str, ...]
    p: float
    message: str


@dataclass(frozen=True)
class NextReading:
    """A reading not taken yet, and what it would tell, in bits."""

    position: str
    pin: str
    against: str
    bits: float


@dataclass(frozen=True)
class CheckResult:
    """verdict: good, faulty or undecided; p_good: probability that the unit is good."""

    verdict: str
    p_good: float
    causes: tuple[Cause, ...]
    next: tuple[NextReading, ...]
    plain: Plain = field(repr=False)

    @classmethod
    def of(cls, plain: Plain) -> CheckResult:
        return cls(
            verdict=plain["verdict"],
            p_good=plain["p_good"],
            causes=tuple(
                Cause(c["cause"], tuple(c["pins"]), tuple(c["positions"]), c["p"], c["message"])
                for c in plain["causes"]
            ),
            next=tuple(NextReading(n["position"], n["pin"], n["against"], n["bits"]) for n in plain["next"]),
            plain=plain,
        )


@dataclass(frozen=True)
class Submitted:
    """A sheet that the registry has.  known: it had it before, with the same body."""

    submission: str
    version: int
    known: bool
    plain: Plain = field(repr=False)
