"""Which reading would tell most: expected information gain in bits, about the verdict and about the cause.

Gain = H(class) - E[H(class | outcome)], Shannon (1948), Bell System Technical Journal 27:379-423; used to
choose measurements: Lindley (1956), Ann. Math. Statist. 27:986-1005.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from consensus.contacts import OPEN, Alphabet

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]


def entropy_bits(p: FloatArray, axis: int = -1) -> FloatArray:
    """Shannon entropy of probabilities along an axis, in bits; 0 log 0 = 0.

    >>> float(entropy_bits(np.array([0.5, 0.5])))
    1.0
    """
    safe = np.where(p > 0, p, 1.0)
    return np.asarray(-(p * np.log2(safe)).sum(axis=axis))


def information_gain(joint: FloatArray) -> FloatArray:
    """Mutual information in bits of joint probabilities (…, outcomes, classes).

    >>> round(float(information_gain(np.array([[0.5, 0.0], [0.0, 0.5]]))), 6)
    1.0
    """
    total = joint.sum(axis=(-2, -1), keepdims=True)
    p = joint / np.where(total > 0, total, 1.0)
    both = entropy_bits(p.reshape(*p.shape[:-2], -1))
    gain = entropy_bits(p.sum(axis=-1)) + entropy_bits(p.sum(axis=-2)) - both
    return np.maximum(gain, 0.0)


def outcome_table(alphabet: Alphabet, miss: float, invent: float) -> FloatArray:
    """(A + 2, A) probability that a symbol (unknown and worn last) is read as each symbol."""
    size = alphabet.size
    table = np.zeros((size + 2, size))
    table[OPEN, OPEN], table[OPEN, 1] = 1 - invent, invent
    for symbol in range(1, size):
        table[symbol, symbol], table[symbol, OPEN] = 1 - miss, miss
    table[size, [OPEN, 1, alphabet.odd]] = (0.5, 0.4, 0.1)
    table[size + 1, [OPEN, 1, alphabet.odd]] = (0.5, 0.1, 0.4)
    return table


def expected_gains(symbols: IntArray, p: FloatArray, classes: IntArray, outcomes: FloatArray) -> FloatArray:
    """(C,) bits that each candidate reading is expected to tell about the class.

    symbols: (H, C) what each explanation predicts for each candidate; p: (H,) probabilities of the
    explanations; classes: (H,) class of each, 0…; outcomes: (symbols, outcomes) as `outcome_table`.
    """
    candidates = symbols.shape[1]
    kinds = int(classes.max(initial=0)) + 1
    at = (np.arange(candidates) * len(outcomes) + symbols) * kinds + classes[:, None]
    shares = np.broadcast_to(p[:, None], symbols.shape)
    weight = np.bincount(at.ravel(), shares.ravel(), candidates * len(outcomes) * kinds)
    weight = weight.reshape(candidates, len(outcomes), kinds)
    joint = np.einsum("csk,so->cok", weight, outcomes)
    return information_gain(joint)
