"""`benchquorum COMMAND …`: finds the command, runs it, and turns whatever goes wrong into a clear line.

A command is a module with `add_arguments(parser)` and `run(args) -> int` (its exit status), named in
`COMMANDS`; one that says `NEEDS_DATABASE = True` runs with Django set up and, unless it `MAKES_DATABASE`, a
migrated database.  Only the module that is called is
imported: `agree` must start without settings or a database.
"""

from __future__ import annotations

import argparse
import importlib
import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from types import ModuleType

from registry.commands.database import require_database, require_own_line
from registry.commands.output import say_errors, warn, warn_in_lines
from registry.errors import RegistryError, RegistryErrors
from registry.log_lines import own_words_too

DEBUG = "BENCHQUORUM_DEBUG"  # set it to see where an unexpected error comes from
LOGGED = ("serve", "work", "due")  # what they say is read in the log
UNEXPECTED, WRONG_INPUT, STOPPED = 1, 2, 130


@dataclass(frozen=True)
class Command:
    """module: where it lives; summary: one line for the help."""

    module: str
    summary: str


COMMANDS: dict[str, Command] = {
    "agree": Command("registry.commands.agree", "agreed patterns from a file of readings"),
    "check": Command("registry.commands.check", "good or faulty: suspect units against agreed patterns"),
    "identify": Command("registry.commands.identify", "which switch is this: from readings alone"),
    "life": Command("registry.commands.life", "how long units last: from a file of units over time"),
    "migrate": Command("registry.commands.migrate", "make or upgrade the database"),
    "import": Command(
        "registry.commands.import_", "tidy readings, or a package, into the registry: all or nothing"
    ),
    "export": Command("registry.commands.export", "sheets as tidy readings, or all open data as a package"),
    "recompute": Command(
        "registry.commands.recompute", "refresh charts, or verify published ones to the byte"
    ),
    "verify": Command("registry.commands.verify", "every chart of an open-data package computed anew"),
    "pull": Command("registry.commands.pull", "follow another registry: a mirror, or an exchange of sheets"),
    "serve": Command("registry.commands.serve", "run the production server"),
    "demo": Command("registry.commands.demo", "an invented co-operative to look around in"),
    "work": Command("registry.commands.work", "a worker of the durable queue"),
    "backup": Command("registry.commands.backup", "the whole registry in one file, checked"),
    "restore": Command("registry.commands.restore", "an empty registry from a backup, compared row for row"),
    "move": Command("registry.commands.move", "the registry into another database, SQLite or PostgreSQL"),
    "audit": Command("registry.commands.audit", "verify the log of who did what, or a copy of it"),
    "invite": Command("registry.commands.invite", "invite somebody to moderate"),
    "due": Command("registry.commands.due", "what a clock owes: decisions, reminders, mail"),
}


def main(argv: Sequence[str] | None = None) -> int:
    """Exit status: 0 done, 1 unexpected error, 2 the input is wrong."""
    arguments = list(sys.argv[1:] if argv is None else argv)
    in_lines = _called(arguments) in LOGGED and _log_format() == "json"
    warn_in_lines(in_lines)
    if in_lines and argv is None:  # this process is its own
        own_words_too()
    try:
        return _run(arguments)
    except RegistryErrors as errors:
        say_errors(errors)
        return WRONG_INPUT
    except RegistryError as error:
        say_errors(RegistryErrors([error]))
        return WRONG_INPUT
    except BrokenPipeError:
        # The reader of our output has gone (`… | head`); what Python flushes at exit must not fail again.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return UNEXPECTED
    except KeyboardInterrupt:
        warn("stopped")
        return STOPPED
    except Exception as error:
        if os.environ.get(DEBUG):
            raise
        from django.core.exceptions import ImproperlyConfigured  # here: many commands run without Django

        if isinstance(error, ImproperlyConfigured):
            warn(f"error: {error}")
            return WRONG_INPUT
        _say_unexpected(error)
        return UNEXPECTED


def _run(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(
        prog="benchquorum", description="Agreed continuity patterns of multi-position lever switches."
    )
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    called = _called(arguments)
    module: ModuleType | None = None
    for name, command in COMMANDS.items():
        subparser = commands.add_parser(name, help=command.summary, description=command.summary)
        if name == called:
            module = _load(command)
            module.add_arguments(subparser)
    args = parser.parse_args(arguments)
    assert module is not None  # argparse has refused every other name
    if getattr(module, "MAKES_DATABASE", False):
        require_own_line()
    elif getattr(module, "NEEDS_DATABASE", False):
        require_database()
    status = int(module.run(args))
    sys.stdout.flush()
    return status


def _called(arguments: Sequence[str]) -> str | None:
    return next((argument for argument in arguments if not argument.startswith("-")), None)


def _log_format() -> str:
    """As the settings have it, which may be what can't be loaded."""
    return os.environ.get("BENCHQUORUM_LOG_FORMAT") or ("plain" if os.environ.get(DEBUG) else "json")


def _load(command: Command) -> ModuleType:
    module = importlib.import_module(command.module)
    if getattr(module, "NEEDS_DATABASE", False):
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "registry.settings")
        import django

        django.setup()
    return module


def _say_unexpected(error: Exception) -> None:
    first_line = (str(error).splitlines() or [""])[0][:300]
    kind = type(error).__name__
    if isinstance(error, MemoryError):
        first_line = "there is not enough memory for this file"
    warn(f"error: unexpected {kind}: {first_line} (set {DEBUG}=1 to see where)", error)


if __name__ == "__main__":
    sys.exit(main())
