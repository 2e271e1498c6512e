"""Answers of people as arrays for the consensus of facts, and what it says as plain rows."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from consensus.facts import FactAnswers, agree_facts, agree_quantity

Plain = dict[str, Any]


SOMETHING_ELSE = ""  # of an open question: what nobody has said yet
MOST_ELSEWHERE = 5000  # answers to other facts by which the reliability of these contributors is learned


@dataclass(frozen=True)
class FactRow:
    """A fact.  kind: of its question; choices: its codes, () where the answers given are the choices."""

    fact: str
    kind: str
    choices: tuple[str, ...] = ()
    disputed: bool = False


@dataclass(frozen=True)
class AnswerRow:
    """fact, contributor, voice: names; voice is the workshop's, or the person's own where there is none."""

    fact: str
    contributor: str
    voice: str
    answer: str
    quantity: float | None


def fact_agreements(
    facts: Sequence[FactRow], answers: Sequence[AnswerRow], elsewhere: Mapping[str, FactRow]
) -> dict[str, Plain]:
    """What is known of each of some facts, whatever the order of the rows.

    answers: to these facts and to those elsewhere by which their contributors are known.
    """
    ordered = sorted(answers, key=lambda row: (row.fact, row.contributor))
    known = {**elsewhere, **{row.fact: row for row in facts}}
    choices = [row for row in ordered if known[row.fact].kind != "quantity"]
    found = _choices(known, choices) if any(row.kind != "quantity" for row in facts) else {}
    for fact in facts:
        if fact.kind == "quantity":
            rows = [row for row in ordered if row.fact == fact.fact]
            found[fact.fact] = quantity_agreement(rows, fact.disputed)
    return {fact.fact: found[fact.fact] for fact in facts}


def _choices(known: Mapping[str, FactRow], rows: Sequence[AnswerRow]) -> dict[str, Plain]:
    given: dict[str, dict[str, None]] = defaultdict(dict)
    for row in rows:
        given[row.fact][row.answer] = None
    codes = {
        name: list(fact.choices) or [*sorted(given[name]), SOMETHING_ELSE]
        for name, fact in known.items()
        if fact.kind != "quantity"
    }
    return choice_agreements(rows, codes, {name for name, fact in known.items() if fact.disputed})


def choice_agreements(
    rows: Sequence[AnswerRow], choices: Mapping[str, Sequence[str]], disputed: set[str]
) -> dict[str, Plain]:
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
        disputed=[at[fact] for fact in sorted(disputed) if fact in at],
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
