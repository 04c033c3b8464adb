"""``airpath open``: a page on this machine on which a case is worked on live."""

from __future__ import annotations

import argparse
import asyncio
import signal
import sys
from contextlib import suppress
from pathlib import Path


def arguments(command: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    command.add_argument("case", metavar="CASE", nargs="?", help="case file (TOML); left out: box types to start from")
    command.add_argument("--no-browser", action="store_true", help="only print the page's address")
    command.add_argument("--quiet", action="store_true", help="print the page's address alone")


def run(options: argparse.Namespace) -> None:
    """Run the command until it is interrupted."""
    from airpath.live.server import serve

    path = None if options.case is None else Path(options.case)
    folder = Path.cwd() if path is None else path.resolve().parent

    def ready(address: str) -> None:
        print(address, flush=True)
        if not options.quiet:
            print("The page is for this machine alone. Leave it with Ctrl+C.", file=sys.stderr, flush=True)
        if not options.no_browser:
            import webbrowser

            webbrowser.open(address)

    signal.signal(signal.SIGTERM, signal.default_int_handler)  # leave tidily then too
    with suppress(KeyboardInterrupt):
        asyncio.run(serve(path, folder, ready))
