"""A finding per sheet, from what propagation says of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from consensus.encoding import Encoded
from consensus.explanation import Explanation
from consensus.hypotheses import Fault, HypothesisSet
from consensus.results import FindingCell, SheetFinding, rounded

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

# what a sheet is named after when several things are true of it, most telling first
ORDER = (
    "coordinated",
    "mirrored_pins",
    "shifted_positions",
    "wrong_common",
    "exchanged",
    "unexplained",
    "faulty_unit",
    "other_variant",
    "slip",
    "fits",
)
MISTAKE_KINDS = ("mirrored_pins", "shifted_positions", "wrong_common", "exchanged", "unexplained")
WORTH_NAMING = 0.01  # chance from which another finding is named
LIKELY = 0.5
MOST_ALSO = 4


@dataclass(frozen=True)
class TableRole:
    """What a table of the design is: its key where published, a coordinated block, or a candidate."""

    key: str | None
    minority: bool = False
    coordinated: bool = False
    p: float = 1.0


def find_all(
    encoded: Encoded,
    hypotheses: HypothesisSet,
    explained: Explanation,
    sheets: IntArray,
    roles: list[TableRole],
) -> list[SheetFinding]:
    """Findings of the explained sheets; sheets: (N,) their index in `encoded`."""
    chances = label_chances(hypotheses, explained, roles)
    names = list(chances)
    table = np.stack([chances[name] for name in names], axis=1)
    start = np.searchsorted(explained.sheet, np.arange(len(sheets) + 1))
    return [
        _one(encoded, hypotheses, explained, at, int(sheet), roles, dict(zip(names, table[at], strict=True)),
             slice(start[at], start[at + 1]))
        for at, sheet in enumerate(sheets)
    ]  # fmt: skip


def label_chances(
    hypotheses: HypothesisSet, explained: Explanation, roles: list[TableRole]
) -> dict[str, FloatArray]:
    """(N,) chance that each finding is true of a sheet; several may be, so that they need not add to 1."""
    kinds = [mistake.kind for mistake in hypotheses.mistakes]
    found = {
        kind: explained.mistakes[:, [at for at, one in enumerate(kinds) if one == kind]].sum(axis=1)
        for kind in MISTAKE_KINDS
    }
    worn = np.zeros(len(explained.p))
    np.maximum.at(worn, explained.sheet, explained.worn)
    found["faulty_unit"] = np.minimum(explained.faults[:, 1:].sum(axis=1) + worn, 1.0)
    zero = np.zeros(len(explained.p))
    found["coordinated"] = sum(
        (role.p * explained.tables[:, at] for at, role in enumerate(roles) if role.coordinated), zero
    )
    minority = [at for at, role in enumerate(roles) if role.minority]
    found["other_variant"] = explained.tables[:, minority].sum(axis=1)
    for at, role in enumerate(roles):
        if role.key is None:
            apart = 1 - role.p if role.coordinated else 1.0
            found["unexplained"] = found["unexplained"] + apart * explained.tables[:, at]
    main = [at for at, role in enumerate(roles) if role.key is not None and not role.minority]
    found["slip"] = explained.slip
    plain = np.minimum(explained.plain, explained.tables[:, main].sum(axis=1))
    found["fits"] = plain * (1 - worn) * (1 - explained.slip)
    return found


def _one(
    encoded: Encoded,
    hypotheses: HypothesisSet,
    explained: Explanation,
    at: int,
    sheet: int,
    roles: list[TableRole],
    chances: dict[str, float],
    entries: slice,
) -> SheetFinding:
    name = next((label for label in ORDER if chances[label] > LIKELY), None)
    name = name or max(ORDER, key=lambda label: chances[label])
    others = sorted((label for label in ORDER if label != name and chances[label] >= WORTH_NAMING),
                    key=lambda label: -chances[label])  # fmt: skip
    design = encoded.readings
    differs = explained.differs[entries] > LIKELY
    role = roles[int(explained.table[at])]
    params = explanation_params(encoded, hypotheses, int(explained.hypothesis[at]))
    if "fault" not in params and len(differs):
        worn = entries.start + int(explained.worn[entries].argmax())
        fault = 1 + int(explained.faults[at, 1:].argmax())
        sure, other = explained.worn[worn], explained.faults[at, fault]
        if sure > LIKELY or (name == "faulty_unit" and sure > other):
            differs[worn - entries.start] = False
            params |= worn_params(encoded, explained, worn)
        elif name == "faulty_unit":  # faults are likely together, though none is likelier than slips
            params |= fault_params(encoded, hypotheses.faults[fault])
    differing = np.flatnonzero(differs) + entries.start
    readings = entries.stop - entries.start
    agreeing = int(readings) - len(differing)
    as_read = explained.as_read[at, int(explained.table[at]) if role.key is not None else 0]
    params |= {"readings": int(readings), "agreeing": agreeing, "agreeing_as_read": int(as_read)}
    if not encoded.counts[sheet]:
        params["counts"] = False
    if "fault" in params and params["fault"] == "resistive_common":
        params["ohm"] = rounded(float(encoded.offset[sheet]), 4)
    return SheetFinding(
        submission=design.sheets[sheet].name,
        design=design.design,
        variant=role.key,
        finding=name,
        p=float(min(chances[name], 1.0)),
        also=tuple((label, float(min(chances[label], 1.0))) for label in others[:MOST_ALSO]),
        cells=tuple(reading_cell(encoded, int(explained.row[entry])) for entry in differing),
        params=params,
    )


def explanation_params(encoded: Encoded, hypotheses: HypothesisSet, hypothesis: int) -> dict[str, object]:
    """Mistake, fault, pins and positions of a hypothesis, by their labels, for a sentence."""
    design = encoded.readings
    mistake = hypotheses.mistakes[hypothesis % len(hypotheses.mistakes)]
    fault = hypotheses.faults[hypothesis // len(hypotheses.mistakes)]
    params: dict[str, object] = {}
    if mistake.kind != "none":
        params["mistake"] = mistake.kind
        if mistake.detail:
            params["detail"] = mistake.detail
        params["pins"] = [design.pins[pin] for pin in mistake.pins]
        params["positions"] = [design.positions[row] for row in mistake.positions]
    if fault.kind != "none":
        params |= fault_params(encoded, fault)
    return params


def fault_params(encoded: Encoded, fault: Fault) -> dict[str, object]:
    """A fault of the unit by its labels, for a sentence."""
    design = encoded.readings
    params: dict[str, object] = {"fault": fault.kind}
    if fault.detail:
        params["fault_detail"] = fault.detail
    params["fault_pins"] = [design.pins[pin] for pin in fault.pins]
    params["fault_positions"] = [design.positions[row] for row in fault.positions]
    return params


def worn_params(encoded: Encoded, explained: Explanation, entry: int) -> dict[str, object]:
    """The worn contact that a reading shows; Ω where it is high, not open."""
    shape = encoded.shape
    slot, pair = divmod(int(explained.place[entry]), len(shape.pairs))
    fault = Fault("worn_contact", pins=shape.pairs[pair], positions=(shape.slots[slot][0],))
    params = fault_params(encoded, fault)
    if explained.code[entry] == encoded.alphabet.odd_code:
        params["ohm"] = rounded(float(encoded.ohm[explained.row[entry]]), 4)
    return params


def reading_cell(encoded: Encoded, row: int) -> FindingCell:
    """Where a merged reading was written down, the common last."""
    shape, design = encoded.shape, encoded.readings
    slot, named = divmod(int(encoded.cell[row]), len(shape.named))
    (position, between), (low, high) = shape.slots[slot], shape.named[named]
    pin, against = (high, low) if low == shape.common else (low, high)
    return FindingCell(design.positions[position], design.pins[pin], design.pins[against], between)
