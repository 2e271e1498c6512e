"""How often things go wrong, per kind of world.

The rates were set by counting the labels of the sample worlds in tests/data/worlds (187, 66 and 213 sheets)
and the words of the tracker; they are invented worlds, not field data.  Mistakes are a fifth of the sheets of
the ordinary sample, but a ninth of those with two variants and of those of few units.

What a general vote gets wrong says how hard a world is.  Wrong cells of a majority in %, seeds 21 to 28
(reference worlds in brackets): typical .19 (.18), messy 1.9 (1.1), variants .63 (.53), few 2.6 (1.8), storm
5.1 (5.1).  The best of Dawid-Skene and its one-coin form gains less here: typical .14 (.05), messy 1.5 (.06),
variants .56 (.30), few 2.0 (.77), storm 3.9 (2.1).  Habits of mirroring strong enough to explain that are not
in the samples (there, mirrored sheets vary by reader about 1.5 times as much as chance has it), so that these
worlds stay harder than the reference.  `HARSHER` have every mistake at the ordinary sample's rate.
"""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Rates:
    """Shares are probabilities per sheet unless said otherwise."""

    designs: int = 40
    units: tuple[int, int] = (6, 25)  # units of a design, inclusive
    contributors: int = 30  # drawn with weights 1 / rank: a few read most sheets
    second_sheet: float = 0.08  # a unit is read again, mostly by somebody else
    mirrored: float = 0.075
    face: float = 0.65  # of the mirrored: whole connector mirrored, else the lines alone
    shifted: float = 0.06
    wrong_common: float = 0.04
    exchanged: float = 0.02
    faulty: float = 0.06  # per unit, although held good
    careless: float = 0.25  # of contributors
    missing: tuple[float, float] = (0.0, 0.5)  # share of readings not taken, uniform per sheet
    ladder: float = 0.2  # of designs
    no_common: float = 0.05  # of designs: separate contacts, each with its own two pins
    variant: float = 0.0  # share of units of a second table
    block: float = 0.0  # share of units that three accounts made up
    block_least: int = 3  # units of a block, whatever its share
    same_accounts: float = 0.5  # chance that one world's blocks are all of the same three accounts
    bare_continuity: float = 0.1  # of contributors: write down that it buzzed
    leads_unzeroed: float = 0.03  # of contributors: their leads are in every figure
    # what the model allows and the worlds of the bars never have: shapes; habits (shares of contributors)
    lines: tuple[int, int] = (3, 6)  # of a design, inclusive
    positions: tuple[int, int] = (5, 8)
    leads_given: float = 0.0  # the leads are in every figure, and given to be subtracted
    leads_twice: float = 0.0  # subtracted from every figure, and given all the same
    wanders: float = 0.0  # writes down between what the figure wandered, at WANDERING of the places
    gaps: float = 0.0  # also reads between the detents
    several_sweeps: float = 0.0  # goes out and back, or out again too
    low_limit: float = 0.0  # has a meter whose limit lies far below the open range
    across: float = 0.0  # also reads neighbouring lines against each other


TYPICAL = Rates()
SELDOM: dict[str, float] = {"wrong_common": 0.025, "exchanged": 0.01}
WORLDS: dict[str, Rates] = {
    "typical": TYPICAL,
    "messy": replace(
        TYPICAL,
        mirrored=0.20,
        shifted=0.10,
        careless=0.55,
        missing=(0.1, 0.56),
        **SELDOM,
    ),
    "variants": replace(
        TYPICAL, units=(14, 40), variant=0.3, mirrored=0.05, shifted=0.03, wrong_common=0.025
    ),
    "colluding": replace(TYPICAL, units=(8, 25), block=0.3),
    "few": replace(
        TYPICAL, units=(2, 6), faulty=0.1, missing=(0.0, 0.3), mirrored=0.05, shifted=0.03, **SELDOM
    ),
    "storm": replace(
        TYPICAL,
        units=(5, 14),
        variant=0.2,
        block=0.25,
        block_least=2,
        same_accounts=0.75,
        mirrored=0.15,
        shifted=0.08,
        careless=0.45,
        missing=(0.05, 0.5),
        faulty=0.08,
        **SELDOM,
    ),
}
_OFTEN = {"wrong_common": TYPICAL.wrong_common, "exchanged": TYPICAL.exchanged}
HARSHER: dict[str, Rates] = {
    "messy": replace(WORLDS["messy"], **_OFTEN),
    "few": replace(
        WORLDS["few"], mirrored=TYPICAL.mirrored, shifted=TYPICAL.shifted, missing=(0.0, 0.35), **_OFTEN
    ),
    "storm": replace(WORLDS["storm"], **_OFTEN),
}
ALLOWED: dict[str, Rates] = {
    "leads": replace(TYPICAL, leads_given=0.4, leads_twice=0.15, leads_unzeroed=0.1),
    "ranges": replace(TYPICAL, wanders=0.6),
    "gaps": replace(TYPICAL, gaps=0.6),
    "sweeps": replace(TYPICAL, several_sweeps=0.6),
    "low limits": replace(TYPICAL, low_limit=0.4),
    "across": replace(TYPICAL, across=0.5, no_common=0.0),
    "two lines": replace(TYPICAL, lines=(2, 2), no_common=0.0),
    "one line": replace(TYPICAL, lines=(1, 1), no_common=0.0),
    "few positions": replace(TYPICAL, lines=(1, 6), positions=(1, 3)),
    "all of it": replace(
        TYPICAL, lines=(1, 6), positions=(1, 8), leads_given=0.2, leads_twice=0.05, wanders=0.2, gaps=0.2,
        several_sweeps=0.2, low_limit=0.1, across=0.2,
    ),
}  # fmt: skip
