"""The bulk call and the import killed with -9 wherever they are, and repeated: the same rows, once."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.api.bulk_process import SHEETS
from tests.api.killed_world import Rows, World, world_on
from tests.machine import postgres_url

# Shares of the undisturbed time; 1.02: it has answered, and the answer may or may not have arrived.
MOMENTS = (0.02, 0.2, 0.35, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1.02)
DESIGNS = 3  # of the file


def server_of(database: str) -> str | None:
    if database == "sqlite":
        return None
    server = postgres_url()
    if server is None:
        pytest.skip("no PostgreSQL server answers")
    return server


def send(world: World, copy: str, key: str = "", kill_after: float | None = None) -> tuple[float, str]:
    call = ["tests.api.bulk_process", world.token, world.design, key]
    return world.run(copy, call, begins=True, kill_after=kill_after)


@pytest.mark.slow
@pytest.mark.parametrize("database", ["sqlite", "postgresql"])
def test_a_bulk_call_killed_anywhere_and_sent_again_leaves_the_same_rows_once(
    tmp_path: Path, database: str
) -> None:
    with world_on(tmp_path / "registry", server_of(database)) as world:
        undisturbed = world.fresh()
        seconds, answer = send(world, undisturbed)
        assert json.loads(answer)["stored"] == SHEETS
        wanted = world.rows(undisturbed)
        assert len(wanted[0]) == SHEETS * 16 and wanted[1:] == (SHEETS, [(False, SHEETS)])
        stored = []
        for n, share in enumerate(MOMENTS):
            copy, key = world.fresh(), f"call-{n}" if n % 2 else ""
            send(world, copy, key, seconds * share)
            stored.append(world.rows(copy)[1])
            assert stored[-1] in (0, SHEETS)
            told = json.loads(send(world, copy, key)[1])
            assert (told["stored"] + told["known"], told["refused"]) == (SHEETS, 0)
            assert world.rows(copy) == wanted
        assert stored[0] == 0


def write_file(path: Path) -> None:
    lines = ["design,submission,unit,contributor,step,position,pin,against,reading"]
    for n in range(SHEETS):
        for step, (position, own) in enumerate(zip("PRND", "2345", strict=True), start=1):
            lines += [
                f"Design {n % DESIGNS},s{n},u{n},person {n % 7},{step},{position},{pin},1,"
                + ("0.4" if pin == own else "OL")
                for pin in "2345"
            ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


@pytest.mark.slow
@pytest.mark.parametrize("database", ["sqlite", "postgresql"])
def test_an_import_killed_anywhere_and_repeated_leaves_the_same_rows_once(
    tmp_path: Path, database: str
) -> None:
    file = tmp_path / "readings.csv"
    write_file(file)
    command = ["registry.commands.main", "import", str(file), "--json"]
    with world_on(tmp_path / "registry", server_of(database)) as world:
        undisturbed = world.fresh()
        seconds, answer = world.run(undisturbed, command, begins=False)
        assert json.loads(answer)["sheets_new"] == SHEETS
        wanted = _by_names(world, undisturbed)
        assert len(wanted[0]) == SHEETS * 16
        assert wanted[1:] == (SHEETS, [(False, SHEETS // DESIGNS)] * DESIGNS)
        stored = []
        for share in MOMENTS:
            copy = world.fresh()
            world.run(copy, command, begins=False, kill_after=seconds * share)
            stored.append(world.rows(copy)[1])
            assert stored[-1] in (0, SHEETS)
            told = json.loads(world.run(copy, command, begins=False)[1])
            assert told["sheets_new"] + told["sheets_known"] == SHEETS
            assert _by_names(world, copy) == wanted
        assert stored[0] == 0


def _by_names(world: World, copy: str) -> Rows:
    """Without the ids of sheets and the digests of bodies: contributors' keys are new in each copy."""
    readings, sheets, shown = world.rows(copy)
    return sorted(row[:2] + row[4:] for row in readings), sheets, shown
