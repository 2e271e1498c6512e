"""Which designs a file speaks of: known ones, ones to extend, ones to make (proposed, without a drawing)."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import chain

import numpy as np

from registry.bridge.tables import common_pin
from registry.errors import RegistryError
from registry.formats.labels import natural_key
from registry.formats.tidy_table import TidyTable
from registry.models import Connector, Contributor, CurrentChart, Design, Pin, Position, User, part_key
from registry.services.accounts import contributor_of
from registry.services.catalogue import MOST_POSITIONS
from registry.translation import gettext as _

BATCH = 2000


@dataclass
class DesignPlan:
    """One design of the file: its positions by step, its pins, and what the registry has of it."""

    name: str
    design: Design | None
    positions: dict[int, str] = field(default_factory=dict)  # step → label, to be made
    pins: list[str] = field(default_factory=list)  # to be made
    common: str | None = None
    grows: bool = True  # by this file
    errors: list[RegistryError] = field(default_factory=list)
    position_ids: dict[str, int] = field(default_factory=dict)  # label or alias → id
    pin_ids: dict[str, int] = field(default_factory=dict)

    @property
    def extends(self) -> bool:
        return self.design is not None and bool(self.positions or self.pins)

    @property
    def made(self) -> Design:
        assert self.design is not None
        return self.design

    def extend(self) -> None:
        """Make what a design that is there lacks."""
        connector, _made = Connector.objects.get_or_create(design=self.design)
        for row in Position.objects.bulk_create(self.new_positions()):
            self.position_ids[row.label] = row.pk
        self._add_pins(connector)

    def new_positions(self) -> list[Position]:
        positions = sorted(self.positions.items())
        return [Position(design=self.design, step=step, label=label) for step, label in positions]

    def first_pins(self, connector: Connector) -> list[Pin]:
        """Those of a connector that has none yet."""
        places = enumerate(self.pins, start=1)
        return [Pin(connector=connector, label=label, order=n, column=n) for n, label in places]

    def _add_pins(self, connector: Connector) -> None:
        if not self.pins:
            return
        there = list(connector.pins.all())
        labels = sorted([*self.pins, *(pin.label for pin in there)], key=natural_key)
        place = {label: order for order, label in enumerate(labels, start=1)}
        # Orders are unique at every moment: those that are there go out of the way first.
        for far in (1000, 0) if there else ():
            for pin in there:
                Pin.objects.filter(pk=pin.pk).update(order=far + place[pin.label], column=place[pin.label])
        new = [Pin(connector=connector, label=one, order=place[one], column=place[one]) for one in self.pins]
        for pin in Pin.objects.bulk_create(new):
            self.pin_ids[pin.label] = pin.pk
        if connector.common_id is None and self.common is not None:
            connector.common_id = self.pin_ids.get(self.common)
            connector.save(update_fields=["common"])


def carry_out(plans: Iterable[DesignPlan], by: User | None) -> None:
    """Make what is missing; afterwards every label of the file has an id."""
    new = []
    for plan in plans:
        if plan.design is None:
            new.append(plan)
        elif plan.extends:
            plan.extend()
    if new:
        _make(new, None if by is None else contributor_of(by))


def _make(plans: list[DesignPlan], proposer: Contributor | None) -> None:
    """New designs, a few statements for all of them."""
    for plan in plans:
        plan.design = Design(name=plan.name, key=part_key(plan.name), proposed_by=proposer)
    Design.objects.bulk_create([plan.made for plan in plans], batch_size=BATCH)
    connectors = [Connector(design=plan.design) for plan in plans]
    Connector.objects.bulk_create(connectors, batch_size=BATCH)
    positions = [plan.new_positions() for plan in plans]
    Position.objects.bulk_create(chain.from_iterable(positions), batch_size=BATCH)
    pins = [plan.first_pins(connector) for plan, connector in zip(plans, connectors, strict=True)]
    Pin.objects.bulk_create(chain.from_iterable(pins), batch_size=BATCH)
    for plan, connector, steps, cavities in zip(plans, connectors, positions, pins, strict=True):
        plan.position_ids.update((row.label, row.pk) for row in steps)
        plan.pin_ids.update((row.label, row.pk) for row in cavities)
        connector.common_id = None if plan.common is None else plan.pin_ids.get(plan.common)
    with_common = [connector for connector in connectors if connector.common_id is not None]
    Connector.objects.bulk_update(with_common, ["common"], batch_size=500)


def plan_designs(table: TidyTable, by: User | None = None) -> dict[str, DesignPlan]:
    """A plan for each design of the table, by its name in the file.  by: whose own file it is, if anybody's.

    Only a proposed design grows by an import; a confirmed one has been drawn by somebody.  Nor does one that
    has agreed cells grow by one person's file: what a mirrored sheet means depends on its pins.
    """
    known = {
        design.name: design
        for design in Design.objects.filter(name__in=list(table.designs)).prefetch_related(
            "positions__aliases", "connector__pins"
        )
    }
    plans = {name: DesignPlan(name, known.get(name)) for name in table.designs}
    agreed = CurrentChart.objects.filter(design__in=list(known.values()), cells_agreed__gt=0)
    drawn = set() if by is None else set(agreed.values_list("design", flat=True))
    for name, design in known.items():
        plans[name].grows = design.state == Design.State.PROPOSED and design.pk not in drawn
    of_sheet = np.array([sheet.design for sheet in table.sheets], dtype=np.int64)
    design_column = of_sheet[table.sheet] if len(table) else of_sheet
    order = np.argsort(design_column, kind="stable")
    ends = np.searchsorted(design_column[order], np.arange(len(table.designs)), side="right")
    for name, rows in zip(table.designs, np.split(order, ends[:-1]), strict=True):
        _plan_positions(plans[name], table, rows)
        _plan_pins(plans[name], table, rows)
    return plans


def _plan_positions(plan: DesignPlan, table: TidyTable, rows: np.ndarray) -> None:
    steps = {}
    if plan.design is not None:
        for position in plan.design.positions.all():
            steps[position.step] = position
            for label in (position.label, *(alias.label for alias in position.aliases.all())):
                plan.position_ids[label] = position.pk
    by_id = {position.pk: position for position in steps.values()}
    pairs, first = np.unique(np.stack([table.step[rows], table.position[rows]]), axis=1, return_index=True)
    lines = table.line[rows]
    for (step, label_index), at in zip(pairs.T.tolist(), first.tolist(), strict=True):
        label, line = table.labels[label_index], int(lines[at])
        if label in plan.position_ids:
            position = by_id[plan.position_ids[label]]
            if position.step != step:
                plan.errors.append(_wrong_step(plan.name, label, position.step, step, line))
        elif step > MOST_POSITIONS:
            plan.errors.append(_step_too_high(plan.name, step, line))
        elif step in steps:
            plan.errors.append(_step_taken(plan.name, label, steps[step].label, step, line))
        elif step in plan.positions:  # two sheets of the file name one step differently
            plan.errors.append(_step_taken(plan.name, label, plan.positions[step], step, line))
        elif label in plan.positions.values():
            known = next(n for n, other in plan.positions.items() if other == label)
            plan.errors.append(_wrong_step(plan.name, label, known, step, line))
        else:
            _may_extend(plan, _("position"), label, line)
            plan.positions[step] = label


def _plan_pins(plan: DesignPlan, table: TidyTable, rows: np.ndarray) -> None:
    if plan.design is not None:
        plan.pin_ids = {pin.label: pin.pk for pin in plan.design.connector.pins.all() if not pin.empty}
    lines = table.line[rows]
    missing: set[str] = set()
    for column in (table.pin[rows], table.against[rows]):
        labels, first = np.unique(column, return_index=True)
        for index, at in zip(labels.tolist(), first.tolist(), strict=True):
            label = table.labels[index]
            if label not in plan.pin_ids and label not in missing:
                _may_extend(plan, _("pin"), label, int(lines[at]))
                missing.add(label)
    plan.pins = sorted(missing, key=natural_key)
    plan.common = _common(table, rows)


def _common(table: TidyTable, rows: np.ndarray) -> str | None:
    """The common as a chart of the file has it; where two are named alike, the first in natural order."""
    used = np.unique(np.concatenate((table.pin[rows], table.against[rows]))).tolist()
    labels = sorted((table.labels[index] for index in used), key=natural_key)
    rank = np.zeros(len(table.labels), dtype=np.int64)
    for index in used:
        rank[index] = labels.index(table.labels[index])
    sheets, sheet = np.unique(table.sheet[rows], return_inverse=True)
    if not len(sheets):
        return None
    common = common_pin(sheet, rank[table.pin[rows]], rank[table.against[rows]], len(sheets), len(labels))
    return None if common is None else labels[common]


def _may_extend(plan: DesignPlan, what: str, label: str, line: int) -> None:
    if not plan.grows:
        plan.errors.append(
            RegistryError(
                "label_unknown",
                _("Design “{design}” has no {what} “{label}”.").format(
                    design=plan.name, what=what, label=label
                ),
                _("Write it as the design names it, or propose a design of its own."),
                line=line or None,
            )
        )


def _wrong_step(design: str, label: str, known: int, given: int, line: int) -> RegistryError:
    return RegistryError(
        "step_differs",
        _("In design “{design}” position “{label}” is step {known}, not {given}.").format(
            design=design, label=label, known=known, given=given
        ),
        _("Count the positions in detent order as the design does."),
        line=line or None,
        column="step",
    )


def _step_too_high(design: str, step: int, line: int) -> RegistryError:
    return RegistryError(
        "number_impossible",
        _("Step {step} of design “{design}”: a design of the registry has {most} positions at most.").format(
            step=step, design=design, most=MOST_POSITIONS
        ),
        _("Count positions from 1 in detent order, up to {highest}.").format(highest=MOST_POSITIONS),
        line=line or None,
        column="step",
    )


def _step_taken(design: str, label: str, known: str, step: int, line: int) -> RegistryError:
    return RegistryError(
        "position_differs",
        _("In design “{design}” step {step} is “{known}”, not “{label}”.").format(
            design=design, step=step, known=known, label=label
        ),
        _("Write the position's own name, or have the other one added as an alias."),
        line=line or None,
        column="position",
    )
