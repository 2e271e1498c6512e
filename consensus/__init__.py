"""Consensus of bench readings: pure numpy and scipy, no Django, no I/O."""

from consensus.check_results import (
    Candidate,
    Cause,
    Identification,
    NextReading,
    SheetCheck,
    UnlikeReading,
)
from consensus.code_results import FaultEffect, LineCode, ShortTest
from consensus.comparison import Comparison, compare_classes
from consensus.diagnosis import check_sheet
from consensus.drift import Drift, DriftReadings, resistance_drift
from consensus.engine import agree, agree_design, agree_designs, learn_reliability
from consensus.errors import ConsensusError
from consensus.fault_priors import Outcomes, learned_priors
from consensus.identify import identify_sheet
from consensus.increment import update_design
from consensus.law_interval import Bounded, next_failure, replacement_interval
from consensus.life import GroupLife, group_life
from consensus.lifetimes import Lifetimes
from consensus.line_codes import line_code
from consensus.readings import DesignReadings, Kind, Readings, Sheet
from consensus.reliability import ContributorReliability, Reliability
from consensus.replace_level import ReplaceLevel, level_to_replace
from consensus.replacement_age import ReplacementAge, age_replacement
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
from consensus.sheet_origin import name_other_designs
from consensus.short_tests import short_test
from consensus.standing import Standing, begin_updates
from consensus.together import alike_designs

__all__ = [
    "ENGINE_VERSION",
    "Bounded",
    "Candidate",
    "Cause",
    "CellAgreement",
    "Comparison",
    "ConsensusError",
    "ContributorReliability",
    "DesignAgreement",
    "DesignReadings",
    "Drift",
    "DriftReadings",
    "FaultEffect",
    "FindingCell",
    "GroupLife",
    "Identification",
    "Kind",
    "Lifetimes",
    "LineCode",
    "NextReading",
    "OhmFigures",
    "Outcomes",
    "ReadingModel",
    "Readings",
    "Reliability",
    "ReplaceLevel",
    "ReplacementAge",
    "Settings",
    "Sheet",
    "SheetCheck",
    "SheetFinding",
    "ShortTest",
    "Standing",
    "UnlikeReading",
    "VariantPattern",
    "age_replacement",
    "agree",
    "agree_design",
    "agree_designs",
    "alike_designs",
    "begin_updates",
    "check_sheet",
    "compare_classes",
    "group_life",
    "identify_sheet",
    "learn_reliability",
    "learned_priors",
    "level_to_replace",
    "line_code",
    "name_other_designs",
    "next_failure",
    "replacement_interval",
    "resistance_drift",
    "short_test",
    "update_design",
]
