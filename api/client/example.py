"""Reads bench sheets from a CSV file, checks each, and sends those that the registry calls good.

    python -m api.client.example https://registry.example readings.csv

The token is taken from BENCHQUORUM_TOKEN; checking needs none.  Give `--send` to send the good ones: it is
your word that you measured the units yourself.  Exit status 1: a sheet was refused; 2: nothing was done.
"""

from __future__ import annotations

import argparse
import os
import sys
from typing import Any

from api.client import Registry, RegistryProblem, sheets_from_csv


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description="Check, and send, the bench sheets of a CSV file.")
    parser.add_argument("url", help="address of the registry")
    parser.add_argument("file", help="tidy readings (CSV)")
    parser.add_argument("--send", action="store_true", help="send the sheets: I measured these units myself")
    asked = parser.parse_args(arguments)
    try:
        registry = Registry(asked.url, os.environ.get("BENCHQUORUM_TOKEN"))
        return _run(registry, list(sheets_from_csv(asked.file, measured_it_myself=asked.send)), asked.send)
    except (OSError, ValueError) as error:  # no such file, a column is missing, no address, nobody answers
        print(error, file=sys.stderr)  # noqa: T201
        return 2


def _run(registry: Registry, sheets: list[dict[str, Any]], send: bool) -> int:
    refused = 0
    for sheet in sheets:
        try:
            result = registry.check(sheet)
            print(f"{sheet['name']}: {result.verdict} (p = {result.p_good:.2f})")  # noqa: T201
            for cause in result.causes[:1] if result.verdict != "good" else ():
                print(f"  {cause.message}")  # noqa: T201
            if send and sheet["purpose"] == "suspect":
                print("  not sent: it is a suspect")  # noqa: T201
            elif send:
                sent = registry.submit(sheet)
                print(f"  {'known' if sent.known else 'sent'}: {sent.submission}")  # noqa: T201
        except RegistryProblem as problem:
            refused += 1
            for fault in problem.faults or (problem,):
                print(f"{sheet['name']}: {fault.detail}", file=sys.stderr)  # noqa: T201
    return 1 if refused else 0


if __name__ == "__main__":
    raise SystemExit(main())
