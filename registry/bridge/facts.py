"""Answers of people as arrays for the consensus of facts, and what it says as plain rows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from consensus.facts import FactAnswers, agree_facts, agree_quantity

Plain = dict[str, Any]


@dataclass(frozen=True)
class AnswerRow:
    """fact, contributor, voice: ids; voice is the workshop's, or the person's own where there is none."""

    fact: int
    contributor: int
    voice: str
    answer: str
    quantity: float | None


def choice_agreements(
    rows: Sequence[AnswerRow], choices: Mapping[int, Sequence[str]], disputed: set[int]
) -> dict[int, Plain]:
    """For each fact its answer, standing and counts.  choices: of each fact, the codes that it may have."""
    facts = sorted(choices)
    at = {fact: n for n, fact in enumerate(facts)}
    codes = {fact: {code: n for n, code in enumerate(choices[fact])} for fact in facts}
    people, voices = _numbered(row.contributor for row in rows), _numbered(row.voice for row in rows)
    found = agree_facts(
        FactAnswers(
            fact=_array(at[row.fact] for row in rows),
            contributor=_array(people[row.contributor] for row in rows),
            workshop=_array(voices[row.voice] for row in rows),
            choice=_array(codes[row.fact][row.answer] for row in rows),
            choices=_array(len(choices[fact]) for fact in facts),
        ),
        disputed=[at[fact] for fact in disputed if fact in at],
    )
    return {fact: _choice_plain(found[at[fact]], choices[fact]) for fact in facts}


def _choice_plain(agreement: Any, codes: Sequence[str]) -> Plain:
    low, high = agreement.interval()
    return {
        "answer": None if agreement.choice is None else codes[agreement.choice],
        "p": 0.0 if agreement.choice is None else agreement.p[agreement.choice],
        "standing": agreement.standing,
        "voices": agreement.voices,
        "agreeing": agreement.agreeing,
        "agreement": [low, high],
    }


def quantity_agreement(rows: Sequence[AnswerRow], disputed: bool) -> Plain:
    """Robust centre and the range for the next job, in the question's unit."""
    voices = _numbered(row.voice for row in rows)
    found = agree_quantity(
        np.array([row.quantity for row in rows], dtype=np.float64),
        _array(voices[row.voice] for row in rows),
        disputed,
    )
    return {
        "typical": found.typical,
        "accept": None if found.accept is None else list(found.accept),
        "standing": found.standing,
        "voices": found.voices,
    }


def _numbered(names: Any) -> dict[Any, int]:
    return {name: n for n, name in enumerate(dict.fromkeys(names))}


def _array(values: Any) -> Any:
    return np.array(list(values), dtype=np.int64)
