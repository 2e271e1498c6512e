"""How long `agree` takes beside a general label aggregation on the same readings; reported, not asserted.

The peer is crowd-kit's Dawid-Skene with 100 iterations, reading the file included.  It stops by itself after
a few, so that its loop is driven from here.  Size: BENCHQUORUM_BENCH_DESIGNS designs (default 300, about
110 000 readings; 2750 make a million).
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from consensus import Settings, agree_design, learn_reliability
from tests.simulation.files import engine_input, tidy_rows, write_rows
from tests.simulation.worlds import World, make_world

DESIGNS = int(os.environ.get("BENCHQUORUM_BENCH_DESIGNS", "300"))
PEER_ITERATIONS = 100


@pytest.fixture(scope="module")
def world() -> World:
    return make_world("typical", 900, DESIGNS)


@pytest.fixture(scope="module")
def readings_file(world: World, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("bench") / "readings.csv"
    write_rows(tidy_rows(world.sheets), path)
    return path


def seconds_of(command: list[str]) -> float:
    started = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - started


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


def test_whole_command_beside_the_peer(readings_file: Path) -> None:
    command = Path(sys.executable).with_name("benchquorum")
    if not command.exists():
        pytest.skip("the command is not installed")
    readings = readings_file.read_bytes().count(b"\n") - 1
    ours = seconds_of([str(command), "agree", str(readings_file), "--json"])
    print(f"\nagree: {readings} readings in {ours:.1f} s, {1e6 * ours / readings:.1f} s a million")
    try:
        import crowdkit  # noqa: F401
    except ImportError:
        pytest.skip("crowd-kit is not installed: no ratio to the peer (make bench installs it)")
    peer = seconds_of([sys.executable, "-c", PEER, str(readings_file), str(PEER_ITERATIONS)])
    print(f"peer with {PEER_ITERATIONS} iterations: {peer:.1f} s; ratio {ours / peer:.2f}")


def test_growth_is_linear() -> None:
    timings = []
    for designs in (10, 40):
        made = engine_input(make_world("typical", 901, designs))
        started = time.process_time()
        snapshot = learn_reliability(made, Settings())
        for design in made:
            agree_design(design, snapshot, Settings())
        readings = sum(len(design.readings) for design in made)
        timings.append((readings, time.process_time() - started))
    print("\n" + "\n".join(f"{n} readings: {spent:.2f} s of processor" for n, spent in timings))
    assert timings[1][1] > 0
