"""`make audit`: known weaknesses in what is installed; a failure, too, where nobody could be asked.

The tool ends well where the index has no such data.  So it is asked first about a release that is known to be
weak: an index that finds nothing there has not looked.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

KNOWN_WEAK = "jinja2==2.4.1"
OURS = "benchquorum"  # in no index
FINE, WEAK, NOT_AUDITED = 0, 1, 2


def found(*arguments: str) -> list[tuple[str, list[str] | None]] | None:
    """(package, names of its weaknesses, None where it was passed over); None where nobody answered."""
    command = [sys.executable, "-m", "pip_audit", "--format", "json", "--progress-spinner", "off", *arguments]
    asked = subprocess.run(command, capture_output=True, text=True, check=False)
    try:
        packages = json.loads(asked.stdout)["dependencies"]
    except (ValueError, KeyError):
        print(asked.stderr.strip()[-2000:], file=sys.stderr)
        return None
    return [(one["name"], _weaknesses(one)) for one in packages]


def _weaknesses(package: dict[str, Any]) -> list[str] | None:
    return [weak["id"] for weak in package["vulns"]] if "vulns" in package else None


def can_be_asked() -> bool:
    with tempfile.TemporaryDirectory() as folder:
        wanted = Path(folder) / "requirements.txt"
        wanted.write_text(KNOWN_WEAK + "\n")
        answer = found("--requirement", str(wanted), "--no-deps", "--disable-pip")
    return bool(answer) and any(weak for _name, weak in answer)


def main() -> int:
    if not can_be_asked():
        print(f"NOT AUDITED: nothing is known even of {KNOWN_WEAK}.", file=sys.stderr)
        return NOT_AUDITED
    packages = [one for one in found("--skip-editable") or [] if one[0] != OURS]
    if not packages:
        print("NOT AUDITED: the tool gave no answer.", file=sys.stderr)
        return NOT_AUDITED
    passed_over = [name for name, ids in packages if ids is None]
    if passed_over:
        print(f"NOT AUDITED: nothing was said of {', '.join(passed_over)}.", file=sys.stderr)
        return NOT_AUDITED
    weak = [(name, ids) for name, ids in packages if ids]
    for name, ids in weak:
        print(f"{name}: {', '.join(ids)}", file=sys.stderr)
    print(f"{len(packages)} packages audited, {len(weak)} with known weaknesses.")
    return WEAK if weak else FINE


if __name__ == "__main__":
    sys.exit(main())
