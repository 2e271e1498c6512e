"""A registry with every kind of trouble that a package has to carry, and others in folders of their own."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

from registry.bridge.corrections import suggested_correction
from registry.models import Design, Sheet, UnitMatch, User
from registry.services.decisions import decide
from registry.services.disputes import dispute_open
from registry.services.sheets import sheet_amend, sheet_withdraw
from registry.services.snapshots import snapshot_learn
from tests.registry.moderation.made import (
    account,
    made_design,
    made_sheet,
    mirrored,
    pattern,
    readers,
    sheet_json,
)

ROOT = Path(__file__).parents[3]
PRIVATE = (
    "my number is 555 0100",
    "shelf",
    "reader0",
    "yard",
    "@workshop.example",
    "TAG-77",
    "leads were off",
)


def made_registry() -> tuple[Design, list[Sheet], list[User]]:
    """One design: six sheets, one of them corrected, one amended, one taken back; a dispute; a formula."""
    people, moderator = readers(7), account("moderator", moderator=True)
    design = made_design(people[0], description="=HYPERLINK(1)")
    sheets = [made_sheet(person, design) for person in people[:5]]
    sheets.append(made_sheet(people[5], design, mirrored(pattern())))
    sheets.append(made_sheet(people[6], design))
    snapshot_learn()
    amended = sheet_json(design, {**pattern(), ("P", "2"): "0.6"}, note=PRIVATE[0])
    amended["unit"] = {"key": sheets[0].unit.key, "tag_code": "TAG-77"}
    sheet_amend(by=people[0], sheet=sheets[0], on_version=1, body=amended, reason="leads were off")
    sheet_withdraw(by=people[6], sheet=sheets[6], reason="wrong switch")
    correction = suggested_correction(sheets[5].finding.body)
    decide(
        by=moderator, kind="correct", target_kind="sheet", target_uuid=sheets[5].uuid,
        reason="It is so.", payload={"correction": correction},
    )  # fmt: skip
    for speaker in (sheets[1], sheets[2]):
        UnitMatch.objects.create(unit=sheets[2].unit, same_as=sheets[1].unit, said_by=speaker.contributor)
    cell = {"position": "D", "between": False, "pin": "3", "against": "1"}
    dispute_open(
        by=people[3],
        target_kind="cell",
        target_uuid=design.uuid,
        target_cell=cell,
        reason="Mine is open.",
    )
    return design, sheets, people


class Instance:
    """A registry of its own: an SQLite database in a folder, the command in a process."""

    def __init__(self, folder: Path, origin: str = "local") -> None:
        self.folder, self.origin = folder, origin

    def environment(self, **more: str) -> dict[str, str]:
        kept = {name: value for name, value in os.environ.items() if not name.startswith("BENCHQUORUM")}
        kept.pop("DJANGO_SETTINGS_MODULE", None)
        return {
            **kept,
            "DATABASE_URL": "",
            "BENCHQUORUM_DATA": str(self.folder),
            "BENCHQUORUM_ORIGIN": self.origin,
            "BENCHQUORUM_DEBUG": "1",
            **more,
        }

    def run(self, *arguments: Any, status: int = 0, **more: str) -> str:
        done = subprocess.run(
            [sys.executable, "-m", "registry.commands.main", *map(str, arguments)],
            cwd=ROOT,
            env=self.environment(**more),
            capture_output=True,
            text=True,
            timeout=300,
            check=False,
        )
        assert done.returncode == status, done.stderr[-3000:] + done.stdout[-1000:]
        return done.stdout + done.stderr
