"""How long `agree` takes beside a general label aggregation on the same readings, how it grows, what memory
it takes, and what one sheet more costs: all in one run, because only ratios carry over to other machines.

The peer is crowd-kit's Dawid-Skene with 100 iterations, reading the file included; it stops after 3 itself,
so that its loop is driven from here.  Size: BENCHQUORUM_BENCH_DESIGNS designs of 6 to 36 units (default 2050,
which is a million readings of 46 000 sheets).
"""

from __future__ import annotations

import importlib.util
import math
import os
import subprocess
import sys
import time
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from consensus import DesignReadings, Reliability, Settings, begin_updates, update_design
from tests.simulation.files import engine_input, tidy_rows, write_rows
from tests.simulation.rates import WORLDS
from tests.simulation.worlds import make_world

DESIGNS = int(os.environ.get("BENCHQUORUM_BENCH_DESIGNS", "2050"))
SMALL_DESIGNS = (20, 200)  # about 10 000 and 100 000 readings
PEER_ITERATIONS, PEER_DEFAULT = 100, 3
MOST_MEMORY = 2e9  # bytes
MOST_GROWTH = 1.1
MOST_OF_BATCH = 1 / 20
LARGE_UNITS, ADDED = 4760, 5  # of a design of 5 000 sheets; sheets added one by one
SAMPLED = 0.1  # s between two looks at the memory


@dataclass(frozen=True)
class Run:
    """seconds: wall; memory: peak bytes of all processes of the command, shared pages counted once."""

    seconds: float
    memory: float


def bench_file(folder: Path, designs: int) -> tuple[Path, int]:
    """A tidy file of so many designs, and its readings."""
    rates = replace(WORLDS["typical"], units=(6, 36))
    path = folder / f"readings-{designs}.csv"
    write_rows(tidy_rows(make_world("typical", 900, designs, rates).sheets), path)
    return path, path.read_bytes().count(b"\n") - 1


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[Path, int]]:
    folder = tmp_path_factory.mktemp("bench")
    return [bench_file(folder, designs) for designs in (*SMALL_DESIGNS, DESIGNS)]


def run_of(command: list[str]) -> Run:
    started = time.perf_counter()
    peak = 0.0
    with subprocess.Popen(command, stdout=subprocess.DEVNULL) as process:
        while True:
            try:
                code = process.wait(SAMPLED)
                break
            except subprocess.TimeoutExpired:
                peak = max(peak, memory_of(process.pid))
    assert code == 0
    return Run(time.perf_counter() - started, peak)


def memory_of(pid: int) -> float:
    """Bytes of a process and its children, shared pages by their share; 0 where /proc can't tell."""
    try:
        rollup = Path(f"/proc/{pid}/smaps_rollup").read_text()
        children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    except OSError:
        return 0.0
    own = next((float(line.split()[1]) for line in rollup.splitlines() if line.startswith("Pss:")), 0.0)
    return 1024 * own + sum(memory_of(int(child)) for child in children)


PEER = """
import sys, pandas as pd
from crowdkit.aggregation import DawidSkene
rows = pd.read_csv(sys.argv[1], dtype=str)
rows["task"] = rows["design"] + "/" + rows["step"] + "/" + rows["pin"] + "/" + rows["against"]
rows["label"] = rows["reading"].eq("OL").map({True: "open", False: "closed"})
data = rows.rename(columns={"contributor": "worker"})[["task", "worker", "label"]]
model = DawidSkene(n_iter=3).fit(data)
left = int(sys.argv[2]) - 3
errors, priors = model.errors_, model.priors_
while left > 0:
    probas = model._e_step(data, priors, errors)
    priors, errors = probas.mean(axis=0), model._m_step(data, probas)
    left -= 1
"""


def test_whole_command_beside_the_peer(files: list[tuple[Path, int]]) -> None:
    command = Path(sys.executable).with_name("benchquorum")
    assert command.exists(), "make setup installs the command"
    runs = [run_of([str(command), "agree", str(path), "--json"]) for path, _readings in files]
    for (_path, readings), run in zip(files, runs, strict=True):
        print(f"\nagree: {readings:8d} readings in {run.seconds:6.1f} s, {run.memory / 1e6:5.0f} MB", end="")
    sizes, times = [size for _path, size in files], [run.seconds for run in runs]
    growth = math.log(times[-1] / times[0]) / math.log(sizes[-1] / sizes[0])
    print(f"\ngrowth exponent from {sizes[0]} to {sizes[-1]} readings: {growth:.2f} (at most {MOST_GROWTH})")
    assert growth <= MOST_GROWTH
    assert runs[-1].memory <= MOST_MEMORY
    if importlib.util.find_spec("crowdkit") is None:
        pytest.skip("crowd-kit is not installed: no ratio to the peer (make bench installs it)")
    for iterations in (PEER_ITERATIONS, PEER_DEFAULT):
        peer = run_of([sys.executable, "-c", PEER, str(files[-1][0]), str(iterations)])
        ratio = times[-1] / peer.seconds
        print(f"peer, {iterations} iterations: {peer.seconds:.1f} s; agree takes {ratio:.2f} of that")
        if iterations == PEER_ITERATIONS:
            assert ratio <= 1


def first_sheets(design: DesignReadings, many: int) -> DesignReadings:
    kept = design.readings.sheet < many
    columns = {name: column[kept] for name, column in design.readings.__dict__.items()}
    return replace(design, sheets=design.sheets[:many], readings=replace(design.readings, **columns))


def test_one_sheet_more_in_a_large_design() -> None:
    rates = replace(WORLDS["typical"], units=(LARGE_UNITS, LARGE_UNITS), second_sheet=0.05)
    (design,) = engine_input(make_world("typical", 5, 1, rates))
    before = len(design.sheets) - ADDED
    settings = Settings()
    started = time.process_time()
    first = first_sheets(design, before)
    standing = begin_updates(first, Reliability.from_settings(settings), settings)
    batch = time.process_time() - started
    updates = []
    for many in range(before + 1, len(design.sheets) + 1):
        readings = first_sheets(design, many)
        started = time.process_time()
        standing = update_design(standing, readings)
        updates.append(time.process_time() - started)
    mean = sum(updates) / len(updates)
    print(
        f"\n{before} sheets: batch {batch:.2f} s, one more {mean:.3f} s, 1/{batch / mean:.0f} (at most 1/20)"
    )
    assert mean <= MOST_OF_BATCH * batch
