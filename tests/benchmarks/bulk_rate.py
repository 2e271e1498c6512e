"""100 000 readings in a database of their own: by the API's call, by the command, and as plain rows.

Run in a process of its own, with the database in the environment: `python -m tests.benchmarks.bulk_rate`
prints the seconds of each way as JSON.  The API's are those of a whole request: the body is read, the sheets
are checked and stored, and, as the embedded default does it, the chart is made before the answer.  The
command's are those of a whole process, with the snapshot and all charts: a few designs of 125 sheets, and
many of ten, where what each design costs is most of it.
"""

from __future__ import annotations

import csv
import json
import subprocess
import sys
import tempfile
import time
import uuid
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.api.bulk_process import ask

SHEETS, POSITIONS, PINS = 2500, "PRNDSLMK", "23456"
A_SHEET = len(POSITIONS) * len(PINS)
READINGS = SHEETS * A_SHEET
COLUMNS = ("design", "submission", "unit", "contributor", "step", "position", "pin", "against", "reading")
DESIGNS, MANY_DESIGNS, CONTRIBUTORS = 20, 250, 12  # of the command's files


def as_typed(n: int, position: str, pin: str) -> str:
    """What the meter showed: closed contacts of 0.3 to 0.6 Ω, open elsewhere."""
    closed = (ord(position) + int(pin)) % 4 == 0
    return f"0.{3 + (n + int(pin)) % 4}" if closed else "OL"


def bulk_body(design: Any, *, sheets: int = SHEETS) -> dict[str, Any]:
    """The body of one call."""
    return {
        "submissions": [
            {
                "client_id": str(uuid.UUID(int=n + 1)),
                "design": str(design.uuid),
                "unit": {"key": f"u{n}"},
                "held_good": "worked",
                "measured_it_myself": True,
                "readings": [
                    {"position": position, "pin": pin, "against": "1", "reading": as_typed(n, position, pin)}
                    for position in POSITIONS
                    for pin in PINS
                ],
            }
            for n in range(sheets)
        ]
    }


def write_file(path: Path, designs: int = DESIGNS) -> None:
    """The same number of readings in the tidy form, of several designs and people."""
    with path.open("w", newline="", encoding="utf-8") as file:
        rows = csv.writer(file)
        rows.writerow(COLUMNS)
        for n in range(SHEETS):
            named = (f"Design {n % designs} of {designs}", f"s{n} of {designs}", f"u{n}")
            head = (*named, f"person {n % CONTRIBUTORS}")
            for step, position in enumerate(POSITIONS, start=1):
                for pin in PINS:
                    rows.writerow([*head, step, position, pin, "1", as_typed(n, position, pin)])


def seconds(act: Callable[[], Any]) -> float:
    began = time.perf_counter()
    act()
    return time.perf_counter() - began


def by_api(token: str, design: Any) -> dict[str, float]:
    """Sent to the whole server, and sent again: nothing is doubled."""
    from django.core.handlers.wsgi import WSGIHandler

    from registry.models import Reading

    server, body = WSGIHandler(), json.dumps(bulk_body(design)).encode()

    def send(stored: int, known: int) -> None:
        answer = _posted(server, "/api/v1/submissions/bulk/", token, body)
        assert (answer["stored"], answer["known"]) == (stored, known), answer

    first, again = seconds(lambda: send(SHEETS, 0)), seconds(lambda: send(0, SHEETS))
    assert Reading.objects.filter(version__sheet__design=design).count() == READINGS
    return {"api": first, "api_again": again}


def _posted(server: Any, address: str, token: str, body: bytes) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(ask(server, "POST", address, token, body))
    return found


def by_command(path: Path, designs: int, name: str) -> dict[str, float]:
    """`benchquorum import` of a file as a process, twice."""
    write_file(path, designs)
    command = [sys.executable, "-m", "registry.commands.main", "import", str(path), "--json"]

    def run(sheets: int) -> None:
        told = json.loads(subprocess.run(command, check=True, capture_output=True).stdout)
        assert told["sheets_new"] == sheets, told

    return {name: seconds(lambda: run(SHEETS)), f"{name}_again": seconds(lambda: run(0))}


def plain_rows(design: Any, contributor: Any, like: Any) -> float:
    """Seconds of bulk_create for as many units, sheets, versions and readings, in one transaction."""
    from django.db import transaction

    from registry.models import Reading, Sheet, SheetVersion, Unit

    readings = list(Reading.objects.filter(version__sheet__design=like).order_by("pk"))

    @transaction.atomic
    def write() -> None:
        own = {"contributor": contributor, "design": design}
        units = Unit.objects.bulk_create(Unit(**own, key=f"p{n}") for n in range(SHEETS))
        sheets = Sheet.objects.bulk_create(
            Sheet(
                **own,
                unit=unit,
                name=f"{design.name}/{unit.key}",
                body_digest="x",
                licence="x",
                measured_it_myself=True,
            )
            for unit in units
        )
        versions = SheetVersion.objects.bulk_create(
            SheetVersion(sheet=sheet, number=1, digest="x") for sheet in sheets
        )
        Reading.objects.bulk_create(
            Reading(
                version=versions[n // A_SHEET],
                place_id=reading.place_id,
                sweep=reading.sweep,
                turned=reading.turned,
                as_typed=reading.as_typed,
                kind=reading.kind,
                low_ohm=reading.low_ohm,
                high_ohm=reading.high_ohm,
                limit_ohm=reading.limit_ohm,
                lead_ohm=reading.lead_ohm,
            )
            for n, reading in enumerate(readings)
        )

    return seconds(write)


def main() -> None:
    import os

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "registry.settings")
    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    from tests.api.made import made_design, made_token, made_user

    user = made_user()
    design, other, third = (made_design(user, name, pins=6, positions=POSITIONS) for name in "ABC")
    found = by_api(made_token(user), design)
    plain = [plain_rows(one, user.contributor, design) for one in (other, third)]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "readings.csv"
        found |= by_command(path, DESIGNS, "command")
        found |= by_command(path, MANY_DESIGNS, "many_designs")
    print(json.dumps({**found, "plain": min(plain)}))


if __name__ == "__main__":
    main()
