"""`benchquorum demo`: migrate, load the invented co-operative, print the sign-ins and the address, serve."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable

from registry.commands import serve

NEEDS_DATABASE = MAKES_DATABASE = True
FOLDER = "fixtures_demo"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    serve.add_arguments(parser)
    parser.add_argument("--no-serve", action="store_true", help="load only")


def run(args: argparse.Namespace) -> int:
    from django.conf import settings
    from django.core.management import call_command

    from registry.services.demo.cooperative import demo_load

    if settings.DEBUG:  # refused before anything is made otherwise
        call_command("migrate", interactive=False, verbosity=0)
    loaded = demo_load(settings.BASE_DIR / FOLDER, progress=_progress())
    facts = loaded.plan.as_dict()
    print(f"{loaded.co_operative} (invented): {facts['sheets_new']} sheets added, ", end="")
    print(f"{facts['sheets_known']} were here already.\n")
    print("Sign-ins of this demo, of no use anywhere else:")
    for sign_in in loaded.sign_ins:
        print(f"  {sign_in.role:<12} {sign_in.email:<34} {sign_in.password}")
    if args.no_serve:
        return 0
    print(f"\nOpen http://{_shown(args.address)}:{args.port}/  (Ctrl-C stops it)", flush=True)
    return serve.run(args)


def _shown(address: str) -> str:
    """Where one's own browser finds it."""
    everywhere = "0.0.0.0"  # only compared  # noqa: S104  # nosec B104
    return "localhost" if address in ("127.0.0.1", everywhere, "::") else address


def _progress() -> Callable[[str, int, int], None]:
    """A line that is written over on a terminal; elsewhere only what is done."""
    terminal = sys.stderr.isatty()

    def tell(what: str, done: int, of: int) -> None:
        if terminal:
            print(f"\r{done} of {of} {what}", end="\n" if done == of else "", file=sys.stderr, flush=True)
        elif done == of:
            print(f"{of} {what}", file=sys.stderr, flush=True)

    return tell
