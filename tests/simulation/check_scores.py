"""How checks compare with the truth, in the figures that the tracker's bars are set in."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from tests.simulation.scores import Tally
from tests.simulation.suspects import Suspect, suspect_truth

Plain = dict[str, Any]


def score_checks(checks: Sequence[Plain], suspects: Sequence[Suspect]) -> Tally:
    """checks: `check/1` objects in the order of the suspects."""
    tally = Tally()
    p_good, good = [], []
    for check, suspect in zip(checks, suspects, strict=True):
        truth = suspect_truth(suspect)
        is_good = not truth["faults"]
        p = min(max(check["p_good"], 1e-6), 1 - 1e-6)
        p_good.append(p)
        good.append(is_good)
        _score_verdict(tally, check, truth, is_good, p)
        if check["verdict"] == "faulty" and not is_good:
            _score_cause(tally, check, truth)
    tally.add("expected calibration error", calibration_error(np.array(p_good), np.array(good)))
    return tally


def _score_verdict(tally: Tally, check: Plain, truth: Plain, is_good: bool, p: float) -> None:
    tally.add("verdict log loss", -np.log(p if is_good else 1 - p))
    tally.add(f"verdict log loss, {'full' if truth['full'] else 'part'}", -np.log(p if is_good else 1 - p))
    kind = "good" if is_good else truth["faults"][0]["cause"]
    tally.add(f"log loss of {kind}", -np.log(p if is_good else 1 - p))
    tally.add(f"log loss with {truth['mistake']}", -np.log(p if is_good else 1 - p))
    shifted = any(fault["cause"] == "detent_shift" for fault in truth["faults"])
    if truth["full"] and not shifted:
        tally.add("undecided on full sheets", check["verdict"] == "undecided")
    if truth["full"]:
        tally.add("undecided on full sheets, shifts included", check["verdict"] == "undecided")
    if not is_good and truth["shows"]:
        tally.add("faulty called good", check["verdict"] == "good")
        if not shifted:
            tally.add("faulty called faulty", check["verdict"] == "faulty")
    if is_good:
        tally.add("good called faulty", check["verdict"] == "faulty")
        tally.add("good called good", check["verdict"] == "good")


UNIT = ("line_open", "line_closed", "worn_contact", "bridged_lines", "resistive_common", "detent_shift")


def _score_cause(tally: Tally, check: Plain, truth: Plain) -> None:
    """The likeliest fault is the true one or of its group; the probability given to the true one."""
    fault = truth["faults"][0]
    faults = [cause for cause in check["causes"] if cause["cause"] in UNIT]
    right = [cause for cause in faults if _is(cause, fault)]
    groups = {cause["group"] for cause in right}
    tally.add("likeliest fault right", bool(faults) and faults[0]["group"] in groups)
    in_group = sum(cause["p"] for cause in faults if cause["group"] in groups)
    tally.add("probability of the true fault", min(in_group, 1.0))
    tally.add("probability of the true fault alone", sum(cause["p"] for cause in right))


def _is(cause: Plain, fault: Plain) -> bool:
    if cause["cause"] != fault["cause"]:
        return False
    if fault["cause"] in ("resistive_common", "detent_shift"):
        return True
    same_pins = set(cause["pins"]) == set(fault["pins"])
    if fault["cause"] == "worn_contact":
        return same_pins and cause["positions"] == fault["positions"]
    return same_pins


def calibration_error(p: np.ndarray, truth: np.ndarray, bins: int = 10) -> float:
    """Expected calibration error: mean over equal-width bins of |mean p - share true|, weighted by count."""
    at = np.minimum((p * bins).astype(int), bins - 1)
    return float(
        sum(abs(p[at == b].mean() - truth[at == b].mean()) * (at == b).mean() for b in np.unique(at))
    )
