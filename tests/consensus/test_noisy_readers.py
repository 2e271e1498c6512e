"""Labelled data of other fields in the file form: few readers, many items, a third of the readings wrong."""

from __future__ import annotations

import numpy as np
import pytest

from consensus import Settings, agree
from consensus.results import DesignAgreement
from tests.consensus.check_values import published
from tests.simulation.files import design_readings

ROWS, LINES = 8, 5


def rows_of(item: int, reader: int, is_open: bool) -> dict[str, str]:
    design, place = divmod(item, ROWS * LINES)
    row, line = divmod(place, LINES)
    sheet = f"D{design:02d}-r{reader}"
    return {
        "design": f"D{design:02d}",
        "submission": sheet,
        "unit": sheet,
        "contributor": f"r{reader}",
        "step": str(row + 1),
        "position": f"S{row + 1}",
        "pin": str(line + 2),
        "against": "1",
        "reading": "OL" if is_open else "0.4",
    }


def charts(labels: list[tuple[int, int, bool]]) -> tuple[DesignAgreement, ...]:
    """Charts of (item, reader, open) labels."""
    by_design: dict[str, list[dict[str, str]]] = {}
    for label in labels:
        row = rows_of(*label)
        by_design.setdefault(row["design"], []).append(row)
    return agree(
        [design_readings(name, by_design[name], common="1") for name in sorted(by_design)], Settings()
    )[1]


def opens(agreements: tuple[DesignAgreement, ...], items: int) -> np.ndarray:
    """(items,) p_open."""
    found = np.full(items, 0.5)
    for design, agreement in enumerate(agreements):
        for cell in agreement.variants[0].cells:
            row, line = int(cell.position[1:]) - 1, int(cell.pin) - 2
            item = (design * ROWS + row) * LINES + line
            if item < items and cell.units:
                found[item] = cell.states[0]
    return found


def dawid_skene(
    labels: list[tuple[int, int, bool]], items: int, readers: int, rounds: int = 200
) -> np.ndarray:
    """(items,) chance of open by Dawid & Skene (1979), two classes, from vote fractions."""
    item, reader, shown = (np.array(column, dtype=int) for column in zip(*labels, strict=True))
    votes = np.zeros((items, 2))
    np.add.at(votes, (item, shown), 1)
    chance = votes / votes.sum(axis=1, keepdims=True)
    for _ in range(200):
        errors = np.full((readers, 2, 2), 0.01)
        for true in (0, 1):
            np.add.at(errors, (reader, true, shown), chance[item, true])
        errors /= errors.sum(axis=2, keepdims=True)
        logs = np.tile(np.log(chance.mean(axis=0)), (items, 1))
        for true in (0, 1):
            np.add.at(logs[:, true], item, np.log(errors[reader, true, shown]))
        chance = np.exp(logs - logs.max(axis=1, keepdims=True))
        chance /= chance.sum(axis=1, keepdims=True)
    return chance[:, 1]


def noisy_labels(seed: int, items: int, readers: int) -> tuple[list[tuple[int, int, bool]], np.ndarray]:
    """Everybody reads everything, each with a hit rate of its own each way about 0.7."""
    rng = np.random.default_rng(seed)
    truth = rng.random(items) < 0.5
    hits = np.clip(rng.normal(0.7, 0.1, (readers, 2)), 0.4, 0.95)
    labels = [
        (item, reader, bool(truth[item]) == bool(rng.random() < hits[reader, int(truth[item])]))
        for item in range(items)
        for reader in range(readers)
    ]
    return labels, truth


def hard_labels(seed: int, items: int, readers: int) -> tuple[list[tuple[int, int, bool]], np.ndarray]:
    """Items lie between the two states, each reader draws the line somewhere else (signal detection: Welinder
    et al. 2010, The multidimensional wisdom of crowds): the same items are misread by many alike."""
    rng = np.random.default_rng(seed)
    truth = rng.random(items) < 0.45
    seen, aside = np.where(truth, 0.9, -0.9) + rng.normal(0, 0.7, items), rng.normal(0, 1, items)
    line, taste, noise = (
        rng.normal(0.35, 0.8, readers),
        rng.normal(0, 0.5, readers),
        rng.gamma(3, 0.35, readers),
    )
    labels = [
        (
            item,
            reader,
            bool(seen[item] + taste[reader] * aside[item] + rng.normal() * noise[reader] > line[reader]),
        )
        for item in range(items)
        for reader in range(readers)
    ]
    return labels, truth


def log_loss(chance: np.ndarray, truth: np.ndarray) -> float:
    held = np.clip(chance, 1e-6, 1 - 1e-6)
    return float(-np.log(np.where(truth, held, 1 - held)).mean())


@pytest.mark.parametrize(("seed", "readers"), [(1, 5), (2, 7)])
def test_readers_who_err_by_a_third_are_judged_as_dawid_and_skene_do(seed: int, readers: int) -> None:
    """320 items; accuracy within one point, log loss within 0.01 (its standard error here)."""
    items = 320
    labels, truth = noisy_labels(seed, items, readers)
    agreements = charts(labels)
    ours, theirs = opens(agreements, items), dawid_skene(labels, items, readers)
    assert np.mean((ours > 0.5) == truth) >= np.mean((theirs > 0.5) == truth) - 0.01
    assert log_loss(ours, truth) <= log_loss(theirs, truth) + 0.01
    assert {one.finding for agreement in agreements for one in agreement.findings} <= {"fits", "slip"}


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_what_is_hard_to_see_makes_neither_variant_nor_fault(seed: int) -> None:
    """108 items, 39 readers, as one of the known sets of pictures has."""
    labels, truth = hard_labels(seed, 108, 39)
    agreements = charts(labels)
    ours, theirs = opens(agreements, 108), dawid_skene(labels, 108, 39)
    assert {len(agreement.variants) for agreement in agreements} == {1}
    assert {one.finding for agreement in agreements for one in agreement.findings} <= {"fits", "slip"}
    assert np.mean((ours > 0.5) == truth) >= np.mean((theirs > 0.5) == truth) - 0.02
    assert log_loss(ours, truth) < log_loss(theirs, truth)


def test_anaesthetists_severe_or_not() -> None:
    """Dawid & Skene (1979), Table 1: 45 patients, 5 observers; here "class 1" against the rest, observer 1 by
    the first of three readings.  The published labels put 18 patients in class 1 and 27 elsewhere."""
    data, expected = published("dawid_skene_1979")
    labels = [
        (patient, observer, (answers[0] if isinstance(answers, list) else answers) == 1)
        for patient, row in enumerate(data["ratings"])
        for observer, answers in enumerate(row)
    ]
    ours = opens(charts(labels), 45) > 0.5
    severe_not = np.array(expected["labels"]) == 1
    assert np.sum(ours != severe_not) <= 1
