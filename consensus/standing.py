"""A chart kept with what it takes to add sheets to it (increment.py)."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from consensus.common_offset import with_offsets
from consensus.design_figures import told_states
from consensus.encoding import Encoded, encode
from consensus.engine import Judged, agreement_of, judge_design
from consensus.problem import make_problem
from consensus.readings import DesignReadings
from consensus.reliability import Reliability
from consensus.results import DesignAgreement
from consensus.settings import Settings
from consensus.unit_groups import MOST_CLUSTERED

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

CERTAIN = 60.0  # nats between the likeliest state of a place and the next: e^-60 is no doubt
SILENT = 1e-9  # nats up to which nothing was said of a place


@dataclass(frozen=True)
class Spoken:
    """What the units say of places.  told: (U, Q, 3) as in `told_states`; reach: (U, Q) nats between the
    likeliest and the least likely symbol; weight: (R,) design effects under which these were computed."""

    told: BoolArray
    reach: FloatArray
    weight: FloatArray


@dataclass(frozen=True)
class Standing:
    """A chart with what it takes to add sheets to it.

    total: (1, Q, A) log messages of all units; loud: (n, 1, Q, A) of the most outspoken ones, loud_units:
    (n,) which they are; whole: sheets at the last whole computation; anew: that was the last one.
    Without `total` nothing can be added but by a new batch.
    """

    chart: DesignAgreement
    encoded: Encoded
    reliability: Reliability
    settings: Settings
    judged: Judged
    anew: bool = True
    whole: int = 0
    total: FloatArray | None = None
    loud: FloatArray | None = None
    loud_units: IntArray | None = None
    spoken: Spoken | None = None


def begin_updates(readings: DesignReadings, reliability: Reliability, settings: Settings) -> Standing:
    """The batch: `agree_design`, and what later sheets are added to."""
    encoded = with_offsets(encode(readings, settings), settings)
    problem = make_problem(encoded, reliability, settings)
    judged = judge_design(encoded, problem)
    chart = agreement_of(encoded, judged, reliability, settings, problem)
    standing = Standing(chart, encoded, reliability, settings, replace(judged, state=None))
    state, bound = judged.state, any(sheet.bound_variant for sheet in readings.sheets)
    if state is None or state.final is not None or bound or state.messages.shape[1] > 1:
        return standing
    total, said = state.messages.sum(axis=0), state.messages.sum(axis=1)
    if not is_certain(total[0], state.prior):
        return standing
    loudest = loudest_units(state.messages)
    return replace(
        standing,
        whole=len(readings.sheets),
        total=total,
        loud=state.messages[loudest],
        loud_units=np.unique(encoded.unit[encoded.sheet_order])[loudest],
        spoken=Spoken(told_states(state.messages), said.max(axis=-1) - said.min(axis=-1), encoded.weight),
    )


def is_certain(total: FloatArray, prior: FloatArray) -> bool:
    """Whether each place (Q, A) is beyond doubt, or was never read."""
    logs = np.sort(total + np.log(prior), axis=-1)
    silent = np.abs(total).max(axis=-1) < SILENT
    return bool((silent | (logs[:, -1] - logs[:, -2] > CERTAIN)).all())


def loudest_units(messages: FloatArray) -> IntArray:
    """The units that variants.py clusters."""
    spoken = np.abs(messages.sum(axis=1)).sum(axis=(1, 2))
    return np.sort(np.argsort(-spoken, kind="stable")[:MOST_CLUSTERED])
