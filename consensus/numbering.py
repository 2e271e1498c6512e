"""What the columns of a sheet may be on a chart, when pins and positions may be numbered in any way."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, islice

import numpy as np
from numpy.typing import NDArray

from consensus.assignment import best_assignment
from consensus.chart_table import ChartTable
from consensus.contacts import CLOSED, OPEN
from consensus.readings import DesignReadings

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

MOST_ALIGNMENTS = 250
SHIFTED = 0.04  # share of sheets off by a detent throughout
SKIPPED = 0.05  # of positions, and of lines: not read at all, although the rest of the sheet is full
STAYED_ON_LINE = 0.04  # share of sheets whose fixed lead was on a line
LINE_FAULT = 0.01  # a line open, closed throughout or bridged: the unit in the hand may be the dead one
BRIDGE = 0.03  # per column of a bridged pair, so that a pair costs it twice
MOST_BRIDGED = 12  # lines: beyond, bridges are not looked for


@dataclass(frozen=True)
class Columns:
    """A sheet's readings by contact: contact (n,), pairs (R, 2) as read, hub: the pin in all or -1."""

    contact: IntArray
    pairs: list[tuple[int, int]]
    hub: int


def contact_columns(sheet: DesignReadings, detents: NDArray[np.bool_]) -> Columns:
    readings = sheet.readings
    read = list(zip(readings.pin[detents].tolist(), readings.against[detents].tolist(), strict=True))
    numbers: dict[frozenset[int], int] = {}
    pairs: list[tuple[int, int]] = []
    contact = []
    for pin, against in read:
        key = frozenset((pin, against))
        if key not in numbers:
            numbers[key] = len(pairs)
            pairs.append((pin, against))
        contact.append(numbers[key])
    shared = set(pairs[0]).intersection(*pairs)
    hub = pairs[0][1] if pairs[0][1] in shared else next(iter(shared), -1)
    return Columns(np.array(contact), pairs, hub)


def skipped_shares(columns: Columns, rows: NDArray[np.int32]) -> tuple[float, float]:
    """Chance that a position, and that a line, was left out altogether: by choice, or by the gaps of a
    sheet in part, as many as the sheet shows where it was read; rows: (n,) position of each reading."""
    positions, lines = len(np.unique(rows)), len(columns.pairs)
    taken = len(set(zip(rows.tolist(), columns.contact.tolist(), strict=True)))
    gaps = 1 - taken / (positions * lines)
    return SKIPPED + (1 - SKIPPED) * gaps**lines, SKIPPED + (1 - SKIPPED) * gaps**positions


def log_choices(read: int, known: int, skipped: float) -> float:
    """log probability that `read` of `known` are read, whichever they are; -inf where more were read.

    >>> round(log_choices(2, 3, 0.1), 6) == round(math.log(3 * 0.9**2 * 0.1), 6)
    True
    """
    if read > known:
        return -math.inf
    left_out = known - read
    return math.log(math.comb(known, read)) + left_out * math.log(skipped) + read * math.log1p(-skipped)


def position_alignments(
    read: Sequence[str], known: Sequence[str], skipped: float
) -> tuple[IntArray, FloatArray]:
    """(A, positions read) rows of the chart, and log prior of each way; a shifted sheet among them.

    skipped: chance that a position was left out.  A chart of more positions than were read pays for each.
    """
    m, n = len(read), len(known)
    plain = np.array(list(islice(combinations(range(n), m), MOST_ALIGNMENTS)), dtype=np.int64).reshape(-1, m)
    log_m = log_choices(m, n, skipped) + np.log(1 - SHIFTED)
    log_p: FloatArray = np.full(len(plain), log_m - np.log(len(plain)))
    if set(read) <= set(known) and len(plain) > 1:
        at = [known.index(label) for label in read]
        named = (plain == at).all(axis=1)
        if named.any():
            log_p = np.asarray(np.where(named, np.log(0.9), np.log(0.1 / len(plain)))) + log_m
    if m == n and n > 1:
        shifted = [np.arange(n) - 1, np.arange(n) + 1]
        moved = [np.clip(rows, 0, n - 1) for rows in shifted]  # a shifted sheet: the end read twice
        moved += [np.where((rows < 0) | (rows >= n), -1, rows) for rows in shifted]  # a shifted detent
        plain = np.concatenate([plain, np.stack(moved)])
        log_shifted = log_choices(m, n, skipped) + np.log(SHIFTED / 4)
        log_p = np.concatenate([log_p, np.full(4, log_shifted)])
    return plain, log_p


@dataclass(frozen=True)
class Targets:
    """What columns of a sheet may be, for each place where the fixed lead may have been (H hubs).

    pins: per hub the chart's pins of each target; first, second: (H, T) contacts in series, -1: none;
    log_prior: (H,).
    """

    pins: list[list[tuple[int, int]]]
    first: IntArray
    second: IntArray
    log_prior: FloatArray


def column_targets(columns: Columns, table: ChartTable) -> Targets | None:
    """None where the shapes can't match: one pin in all readings, but no pin in all contacts."""
    shape = table.shape
    pair_at = {pair: at for at, pair in enumerate(shape.pairs)}
    common = shape.common
    if common is None or columns.hub < 0:
        if common is None and columns.hub >= 0 and len(columns.pairs) > 1:
            return None
        own = np.arange(len(shape.pairs))[None]
        return Targets([list(shape.pairs)], own, np.full_like(own, -1), np.zeros(1))
    of_line = {line: pair_at[min(line, common), max(line, common)] for line in shape.lines}
    pins = [[(line, common) for line in shape.lines]]
    first, second = [[of_line[line] for line in shape.lines]], [[-1] * len(of_line)]
    for stayed in shape.lines:
        others = [line for line in shape.lines if line != stayed]
        pins.append([(line, stayed) for line in others] + [(common, stayed)])
        first.append([of_line[line] for line in others] + [of_line[stayed]])
        second.append([of_line[stayed]] * len(others) + [-1])
    log_prior = np.full(len(pins), np.log(STAYED_ON_LINE / len(of_line)))
    log_prior[0] = np.log(1 - STAYED_ON_LINE)
    return Targets(pins, np.array(first), np.array(second), log_prior)


def target_symbols(table: ChartTable, targets: Targets) -> tuple[IntArray, IntArray, FloatArray]:
    """(positions, H, T) symbols, what they would be otherwise, and the doubt about them."""
    shape = table.shape
    detents = [at for at, (_, between) in enumerate(shape.slots) if not between]
    size = (len(shape.slots), len(shape.pairs))
    symbols, other = table.symbols.reshape(size)[detents], table.other.reshape(size)[detents]
    doubt = table.doubt.reshape(size)[detents]
    joined = targets.second >= 0
    mate = np.where(joined, targets.second, 0)
    both = np.where(
        joined, table.alphabet.series[symbols[:, targets.first], symbols[:, mate]], symbols[:, targets.first]
    )
    instead = np.where(joined, np.where(both == OPEN, CLOSED, OPEN), other[:, targets.first])
    unsure = doubt[:, targets.first] + np.where(joined, doubt[:, mate], 0.0)
    return both, instead, np.minimum(unsure, 0.5)


def column_weights(
    columns: Columns,
    rows: NDArray[np.int32],
    likelihood: FloatArray,
    alignments: IntArray,
    shown: tuple[IntArray, IntArray, FloatArray],
    table: ChartTable,
    bridges: bool,
) -> FloatArray:
    """(A, H, read columns, targets) log likelihood of each read column being each target.

    A line may be dead, or bridged to another: the unit in the hand need not be sound.
    """
    symbols, other, doubt = shown
    positions, hubs, targets = symbols.shape
    # an open row is added: past the end of travel nothing is connected
    ended = np.full((1, hubs, targets), OPEN)
    symbols, other = np.concatenate([symbols, ended]), np.concatenate([other, ended])
    doubt = np.concatenate([doubt, np.zeros((1, hubs, targets))])
    at = np.where(alignments < 0, positions, alignments)[:, rows]  # (A, n)
    member = (columns.contact[None, :] == np.arange(len(columns.pairs))[:, None]).astype(np.float64)
    # likelihood of each reading at each row of the chart, then the rows that an alignment picks
    n = np.arange(len(rows))
    by_row = np.log(
        (1 - doubt)[:, None] * likelihood[n[:, None, None], symbols[:, None]]
        + doubt[:, None] * likelihood[n[:, None, None], other[:, None]]
    )  # (rows, n, H, T)
    picked = by_row[at, n[None, :]].reshape(len(at), len(rows), -1)
    total = (member @ picked).reshape(len(at), len(member), hubs, targets).transpose(0, 2, 1, 3)
    log_of = np.log(likelihood)
    dead = np.logaddexp(member @ log_of[:, OPEN], member @ log_of[:, CLOSED])[None, None, :, None]
    total = np.logaddexp(total + np.log1p(-3 * LINE_FAULT), dead + np.log(LINE_FAULT))
    if bridges and 1 < targets <= MOST_BRIDGED:
        a, b = np.divmod(np.arange(targets * targets), targets)
        joined = table.alphabet.parallel[symbols[:, 0, a], symbols[:, 0, b]]  # (rows, T * T)
        summed = member @ log_of[n[:, None], joined[:, None]][at, n[None, :]]
        summed = summed.reshape(len(at), len(member), targets, targets)
        largest = summed.max(axis=3, keepdims=True)
        bridged = largest[..., 0] + np.log(np.exp(summed - largest).sum(axis=3))
        total[:, 0] = np.logaddexp(total[:, 0], bridged + np.log(BRIDGE / targets))
    return np.asarray(total)


def same_labels(
    columns: Columns, sheet: DesignReadings, named: Sequence[tuple[str, str]]
) -> NDArray[np.bool_]:
    """(read columns, targets) True where both name the same two pins."""
    read = [frozenset((sheet.pins[a], sheet.pins[b])) for a, b in columns.pairs]
    return np.array([[frozenset(target) == pair for target in named] for pair in read])


def pin_numbering(
    columns: Columns, sheet: DesignReadings, weight: FloatArray, named: Sequence[tuple[str, str]]
) -> dict[str, str]:
    """Pin as read: pin of the design, under the likeliest assignment."""
    if weight.shape[0] > weight.shape[1]:
        return {}
    pins: dict[str, str] = {}
    for row, column in zip(*best_assignment(weight), strict=True):
        pin, against = columns.pairs[row]
        if against != columns.hub and pin == columns.hub:
            pin, against = against, pin
        pins[sheet.pins[pin]], pins[sheet.pins[against]] = named[column]
    return pins
