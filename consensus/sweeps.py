"""Several sweeps of one place in one sheet as one reading.

What they show is what most of them show; of two that show different states neither is right, so that they
read as a figure that wandered between the two.  Its resistance is the mean of those that show it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from consensus.contacts import CONTACT, LEAK, OVER_LIMIT, Alphabet, consistent_symbols

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

IN_OPEN, IN_CLOSED, IN_LEVEL, UNDECIDED = range(4)  # what a code shows: a state, or none alone


@dataclass(frozen=True)
class MergedSweeps:
    """Of R readings.  code, ohm: (R,) as in `Encoded`; missed: (R,) share of sweeps that show an open
    contact; torn: (R,) True where no contact shows all of its sweeps."""

    code: IntArray
    ohm: FloatArray
    missed: FloatArray
    torn: BoolArray


def merge_sweeps(
    code: IntArray, ohm: FloatArray, merged: IntArray | None, alphabet: Alphabet
) -> MergedSweeps:
    """code, ohm: (raw,) of each sweep's reading; merged: (raw,) the reading that it is part of, None where
    each is a reading of its own."""
    opened = (code == OVER_LIMIT) | (code == LEAK)
    if merged is None:
        return MergedSweeps(code, ohm, opened.astype(np.float64), np.zeros(len(code), dtype=bool))
    many = int(merged.max(initial=-1)) + 1
    sweeps = np.bincount(merged, minlength=many)
    shows = consistent_symbols(alphabet)[code]
    fitting = np.stack([np.bincount(merged, column, many) for column in shows.T], axis=1)
    kind = shown_kinds(alphabet)[code]
    by_kind = np.bincount(merged * 4 + kind, minlength=many * 4).reshape(many, 4)
    by_kind[:, UNDECIDED] = by_kind.sum(axis=1) == by_kind[:, UNDECIDED]  # only where nothing else is shown
    most = by_kind == by_kind.max(axis=1, keepdims=True)
    chosen = _most_frequent(code, merged, most[merged, kind], many, alphabet)
    tied = most.sum(axis=1) > 1
    mixed = np.where(most[:, IN_CLOSED], alphabet.from_contact, alphabet.into_open) + len(alphabet.levels)
    mixed = np.where(most[:, IN_CLOSED] & most[:, IN_OPEN], alphabet.wander_code, mixed)
    return MergedSweeps(
        code=np.where(tied, mixed, chosen),
        ohm=np.where(tied, np.nan, _mean_ohms(ohm, merged, code == chosen[merged], many)),
        missed=np.bincount(merged, opened, many) / sweeps,
        torn=np.asarray((fitting < sweeps[:, None]).all(axis=1)),
    )


def shown_kinds(alphabet: Alphabet) -> IntArray:
    """(codes,) kind of what each code shows."""
    kinds = np.full(alphabet.codes, UNDECIDED, dtype=np.int64)
    kinds[[OVER_LIMIT, LEAK]] = IN_OPEN
    kinds[CONTACT] = IN_CLOSED
    kinds[CONTACT + 1 : alphabet.odd_code + 1] = IN_LEVEL
    return kinds


def _most_frequent(
    code: IntArray, merged: IntArray, candidate: BoolArray, many: int, alphabet: Alphabet
) -> IntArray:
    """(many,) the code that most candidates of each reading have, the lowest of equals."""
    keys, times = np.unique(merged[candidate] * alphabet.codes + code[candidate], return_counts=True)
    reading, code_of = np.divmod(keys, alphabet.codes)
    order = np.lexsort((-times, reading))
    first = np.searchsorted(reading[order], np.arange(many))
    return np.asarray(code_of[order][first])


def _mean_ohms(ohm: FloatArray, merged: IntArray, used: BoolArray, many: int) -> FloatArray:
    """(many,) mean Ω of the sweeps that are used; without a figure nan, over the limit inf."""
    figures = used & np.isfinite(ohm)
    count = np.bincount(merged[figures], minlength=many)
    total = np.bincount(merged[figures], ohm[figures], many)
    over = np.bincount(merged[used], np.isinf(ohm[used]), many) > 0
    return np.where(count > 0, total / np.maximum(count, 1), np.where(over, np.inf, np.nan))
