"""Consensus of bench readings: pure numpy and scipy, no Django, no I/O."""

from consensus.engine import agree, agree_design, learn_reliability
from consensus.errors import ConsensusError
from consensus.readings import DesignReadings, Kind, KnownVariant, Readings, Sheet
from consensus.reliability import ContributorReliability, Reliability
from consensus.results import (
    CellAgreement,
    DesignAgreement,
    FindingCell,
    OhmFigures,
    ReadingModel,
    SheetFinding,
    VariantPattern,
)
from consensus.settings import ENGINE_VERSION, Settings

__all__ = [
    "ENGINE_VERSION",
    "CellAgreement",
    "ConsensusError",
    "ContributorReliability",
    "DesignAgreement",
    "DesignReadings",
    "FindingCell",
    "Kind",
    "KnownVariant",
    "OhmFigures",
    "ReadingModel",
    "Readings",
    "Reliability",
    "Settings",
    "Sheet",
    "SheetFinding",
    "VariantPattern",
    "agree",
    "agree_design",
    "learn_reliability",
]
