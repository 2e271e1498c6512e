"""Worlds as the command gets them: written as a file and read back; pins and commons found there."""

from __future__ import annotations

from dataclasses import replace

import pytest

from consensus.readings import DesignReadings
from tests.simulation.__main__ import score_worlds
from tests.simulation.files import engine_input, file_input
from tests.simulation.rates import ALLOWED, WORLDS
from tests.simulation.worlds import make_world

# by chance most of a design's two to six units are of one mistake, or one line is all that was read of it
COMMONS_FOUND = {"few": 0.97, "storm": 0.98}


@pytest.mark.parametrize("kind", sorted(WORLDS))
def test_separate_contacts_have_no_common_and_others_theirs(kind: str) -> None:
    found = apart = commons = 0
    for seed in (1, 2, 3):
        world = make_world(kind, seed, 40, replace(WORLDS[kind], no_common=0.3))
        for design, read in zip(world.designs, file_input(world), strict=True):
            common = None if read.common is None else read.pins[read.common]
            if design.common is None:
                assert common is None, (seed, design.name)
                apart += 1
            else:
                commons += 1
                found += common == design.pins[design.common]
    assert apart > 20
    assert found >= COMMONS_FOUND.get(kind, 0.99) * commons


@pytest.mark.parametrize("kind", sorted({**WORLDS, **ALLOWED}))
def test_readings_come_back_as_they_were_written(kind: str) -> None:
    world = make_world(kind, 2, 3)
    for given, read in zip(engine_input(world), file_input(world), strict=True):
        assert named_rows(given) == named_rows(read)


def named_rows(design: DesignReadings) -> list[str]:
    """The readings with sheets and pins by their names, in no order."""
    columns = {name: column.tolist() for name, column in design.readings.__dict__.items()}
    columns["sheet"] = [design.sheets[at].name for at in columns["sheet"]]
    for name in ("pin", "against"):
        columns[name] = [design.pins[at] for at in columns[name]]
    return sorted(str(row) for row in zip(*columns.values(), strict=True))


@pytest.mark.parametrize("kind", sorted(WORLDS))
def test_worlds_score_alike_by_their_files(kind: str) -> None:
    by_file, given = (score_worlds(kind, [21], 8, by_file=route) for route in (True, False))
    assert by_file.share("cells wrong") <= given.share("cells wrong") + 0.002
    assert by_file.share("cells agreed") >= given.share("cells agreed") - 0.02
    assert not by_file.of["line to line: state right"]  # places that nobody read
