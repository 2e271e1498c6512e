"""`python -m tests.soak.fill FILE DESIGNS UNITS`: made-up readings; `… people N`: accounts with tokens."""

from __future__ import annotations

import json
import os
import random
import sys
from pathlib import Path

POSITIONS, PINS = "PRND", ("2", "3", "4", "5", "6", "7", "8", "9", "10", "11")  # 40 readings a sheet


def write_readings(path: Path, designs: int, units: int) -> None:
    chance = random.Random(16)
    with path.open("w") as file:
        file.write("design,submission,unit,contributor,step,position,pin,against,reading\n")
        for d in range(designs):
            table = {(p, pin): chance.random() < 0.5 for p in POSITIONS for pin in PINS}
            for u in range(units):
                name = f"soak {d},d{d}u{u},u{u},reader{u % 9}"
                for step, position in enumerate(POSITIONS, start=1):
                    for pin in PINS:
                        reading = f"{0.2 + chance.random() / 2:.2f}" if table[position, pin] else "OL"
                        file.write(f"{name},{step},{position},{pin},1,{reading}\n")


def make_people(count: int) -> list[str]:
    """Accounts with a token each."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "registry.settings")
    import django

    django.setup()
    from registry.models import User
    from registry.services.tokens import token_make

    secrets = []
    for n in range(count):
        user = User.objects.create_user(f"soak{n}@workshop.example", "a long pass phrase")
        secrets.append(token_make(by=user, name="soak", scopes=("read", "submit"))[1])
    return secrets


def queue_owed() -> int:
    """What a worker's round does for designs that are in no queue."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "registry.settings")
    import django

    django.setup()
    from registry.services.workers import tasks_owed

    return tasks_owed()


if __name__ == "__main__":
    if sys.argv[1] == "owed":
        print(queue_owed())
    elif sys.argv[1] == "people":
        print(json.dumps(make_people(int(sys.argv[2]))))
    else:
        write_readings(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
