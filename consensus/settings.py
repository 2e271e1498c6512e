"""Documented thresholds and priors of the engine (README.md says where each one comes from)."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Any

ENGINE_VERSION = "1.4"


@dataclass(frozen=True)
class Settings:
    """Thresholds of `model.md` and priors of the generative model; shares are probabilities, figures Ω.

    >>> Settings().closed_below_ohm, Settings().with_values(agreed_units=6).agreed_units
    (20.0, 6)
    """

    # --- states by the true contact, leads subtracted (Ω)
    closed_below_ohm: float = 20.0
    open_above_ohm: float = 100e3

    # --- standing of a cell
    agreed_units: int = 5
    agreed_contributors: int = 3
    agreed_p: float = 0.995
    provisional_units: int = 2
    provisional_p: float = 0.95
    disputed_units: int = 3

    # --- variants and blocks
    variant_units: int = 4
    variant_contributors: int = 4
    block_units: int = 3
    variant_differs: float = 0.15  # prior share of places in which a second table differs from the first
    variant_differs_places: float = 10.0  # places that this prior share is worth
    variant_evidence: float = 4.0  # nats that a further table must gain over none

    # --- sheet mistakes and unit faults: prior shares of sheets (units) before data
    mistake_mirrored: float = 0.07
    mistake_shifted: float = 0.05
    mistake_wrong_common: float = 0.04
    mistake_exchanged: float = 0.03
    fault_rate: float = 0.06
    unexplained_rate: float = 0.004
    other_design_rate: float = 0.01  # sheets that are of another design than they claim
    block_rate: float = 0.05  # designs with a block of units that a few accounts made up
    block_designs: float = 20.0  # designs that this share is worth
    block_within: float = 0.3  # units of one account in a design with a block that are of it
    block_strength: float = 4.0  # sheets that the shares of one account in blocks are worth
    mistake_strength: float = 12.0  # sheets that the prior shares are worth
    habit_strength: float = 8.0  # sheets that the common shares are worth against a contributor's own

    # --- slips: population mean and weight (readings) of the Beta priors, replaced by data
    miss_rate: float = 0.03
    invent_rate: float = 0.012
    slip_strength: float = 25.0

    # --- readings
    leak_rate: float = 0.04  # open contact that still shows a figure below the meter's limit
    dirty_rate: float = 0.004  # closed contact that reads as resistive
    misread_level_rate: float = 0.012  # resistive contact that reads as another figure, mostly on no level
    unit_deviation: float = 0.003  # one place of one good unit that is not as the pattern says
    level_tolerance: float = 0.03  # figures nearer to each other than this share make one resistive level
    level_reach: float = 0.06  # a figure belongs to its nearest level within this share
    level_spread: float = 0.012  # standard deviation of ln(reading) about its level
    contact_ohm: float = 0.4  # median contact resistance of a closed contact
    contact_spread: float = 0.6  # standard deviation of its natural logarithm
    meter_resolution_ohm: float = 0.1  # step of the lowest range (GUM type B, rectangular)
    lead_u_ohm: float = 0.05  # standard uncertainty of the lead correction
    contributor_correlation: float = 0.05  # intraclass correlation of one contributor's units at one place

    # --- checking a suspect (common practice, no source; to be replaced by recorded outcomes)
    suspect_fault_rate: float = 0.5  # of the units that somebody found worth checking
    suspect_fault_shares: tuple[tuple[str, float], ...] = (
        ("line_open", 0.175),
        ("line_closed", 0.175),
        ("worn_contact", 0.12),
        ("bridged_lines", 0.19),
        ("resistive_common", 0.17),
        ("detent_shift", 0.17),
    )
    suspect_slip_strength: float = 45.0  # readings behind a known reader's rates, where a chart says nothing
    # hands that read a suspect: share, miss rate, invent rate, readings that the two rates are worth
    suspect_hands: tuple[tuple[float, float, float, float], ...] = (
        (0.67, 0.012, 0.004, 120.0),
        (0.33, 0.075, 0.035, 80.0),
    )
    suspect_outcomes_weight: float = 20.0  # recorded outcomes that the rate and the shares above are worth
    suspect_pair_share: float = 0.03  # of faulty units: two faults at once
    suspect_common_cost: float = 5.0  # nats: the figure of a resistive common is taken from the sheet itself
    suspect_unknown_rate: float = 0.01  # sheets that nothing in the model explains
    suspect_other_design_rate: float = 0.02  # another design was in the hand
    harness_fault_rate: float = 0.05  # a line broken on the way, where read through the harness
    connector_fault_rate: float = 0.01  # the same at the unplugged connector
    sweep_fault_share: float = 0.3  # of detent faults: the detents slip in one sweep only
    verdict_good_p: float = 0.85  # from here on a unit is called good
    verdict_faulty_p: float = 0.32  # up to here it is called faulty

    # --- inference
    max_iterations: int = 8
    tolerance: float = 1e-3
    joint_units: int = 4  # up to so many units, joint explanations are searched and averaged

    def with_values(self, **values: Any) -> Settings:
        """A copy with some values replaced."""
        return replace(self, **values)

    def to_plain(self) -> dict[str, Any]:
        """JSON-ready; part of a chart's digest."""
        return asdict(self)
