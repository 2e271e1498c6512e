"""python -m tests.simulation write|score|check: make a world of files, or measure the engine on worlds."""

from __future__ import annotations

import argparse
import time
from pathlib import Path
from typing import Any

from tests.simulation.check_scores import score_checks
from tests.simulation.files import (
    engine_input,
    file_input,
    read_world,
    sheets_readings,
    world_truth,
    write_world,
)
from tests.simulation.rates import ALLOWED, HARSHER, WORLDS
from tests.simulation.scores import Tally, score_agreed
from tests.simulation.suspects import HARDER, MIXTURES, Mixture, ideal_chart, make_suspects
from tests.simulation.worlds import make_world


def agreed_plain(designs: list[Any]) -> dict[str, Any]:
    """The engine's answer in the plain form of the contract."""
    from consensus import Settings, agree

    _, agreements = agree(designs, Settings())
    return {
        "designs": [agreement.to_plain() for agreement in agreements],
        "submissions": [finding for agreement in agreements for finding in agreement.findings_plain()],
    }


def score_worlds(
    kind: str, seeds: list[int], designs: int | None, harsher: bool = False, by_file: bool = False
) -> Tally:
    """by_file: the worlds are written and read as the command does it, which finds the commons itself."""
    total = Tally()
    for seed in seeds:
        world = make_world(kind, seed, designs, HARSHER.get(kind) if harsher else None)
        given = file_input(world) if by_file else engine_input(world)
        total.merge(score_agreed(agreed_plain(given), world_truth(world)))
    return total


def score_suspects(
    seeds: list[int], designs: int, per_design: int, ideal: bool, mixture: Mixture = HARDER
) -> Tally:
    """Checks of suspects by charts of typical worlds; ideal: charts with true tables and true rates."""
    from consensus import Settings, agree, check_sheet

    checks, suspects = [], []
    for seed in seeds:
        world = make_world("typical", seed, designs)
        made = make_suspects(world, seed, per_design, mixture)
        settings = Settings()
        if ideal:
            readers = [one.sheet.reader for one in made]
            charts = {design.name: ideal_chart(design, readers) for design in world.designs}
        else:
            charts = {one.design: one for one in agree(engine_input(world), settings)[1]}
        suspects += made
        for one in made:
            sheet, chart = sheets_readings([one.sheet]), charts[one.sheet.design.name]
            checks.append(check_sheet(sheet, chart, (), settings).to_plain())
    return score_checks(checks, suspects)


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.simulation", description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)
    suspects = commands.add_parser("check")
    suspects.add_argument("--seed", type=int, default=1, help="first seed")
    suspects.add_argument("--seeds", type=int, default=1, help="number of seeds")
    suspects.add_argument("--designs", type=int, default=40)
    suspects.add_argument("--per-design", type=int, default=8)
    suspects.add_argument("--mixture", default="harder", choices=[*MIXTURES])
    suspects.add_argument("--ideal", action="store_true", help="charts that know the truth")
    for name in ("write", "score"):
        command = commands.add_parser(name)
        command.add_argument("--world", default="typical", choices=[*WORLDS, "all", *ALLOWED, "allowed"])
        command.add_argument("--seed", type=int, default=1, help="first seed")
        command.add_argument("--designs", type=int, default=None)
        command.add_argument("--seeds", type=int, default=1, help="number of seeds")
        command.add_argument("--folder", type=Path, help="write there, or score what is stored there")
        command.add_argument("--harsher", action="store_true", help="more mistakes than in the samples")
        command.add_argument("--by-file", action="store_true", help="read through the file form")
    given = parser.parse_args()
    seeds = list(range(given.seed, given.seed + given.seeds))
    if given.command == "check":
        mixture = MIXTURES[given.mixture]
        rows = score_suspects(seeds, given.designs, given.per_design, given.ideal, mixture).rows()
        print(*rows, sep="\n")
        return
    if given.command == "write":
        rates = HARSHER.get(given.world) if given.harsher else None
        write_world(make_world(given.world, given.seed, given.designs, rates), given.folder)
        return
    if given.folder:
        designs, truth = read_world(given.folder)
        print("\n".join(score_agreed(agreed_plain(designs), truth).rows()))
        return
    kinds = {"all": list(WORLDS), "allowed": list(ALLOWED)}.get(given.world, [given.world])
    for kind in kinds:
        started = time.perf_counter()
        rows = score_worlds(kind, seeds, given.designs, given.harsher, given.by_file).rows()
        print(f"== {kind}, seeds {seeds}, {time.perf_counter() - started:.1f} s", *rows, sep="\n")


if __name__ == "__main__":
    main()
