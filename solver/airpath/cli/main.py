"""Entry point: the commands, their options and their exit status."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from importlib import import_module

import airpath
from airpath.errors import AirpathError

COMMANDS = {
    "open": "work on a case live: a page on this machine where its dimensions are turned and its curves move",
    "predict": "solve a case, write the report folder, print the summary",
    "explain": "every peak, dip and ripple of the impedance, with its cause",
    "ports": "per port: effective length, tuning, pipe resonances, air speed",
    "cover": "every combination of covered openings at every tone",
    "modes": "standing waves of each chamber: what excites them, what hears them, pressure maps",
    "fold": "what a drawn, folded path really is: area along it, length, throat impedance",
    "fit": "which dimensions and values explain a measured impedance sweep",
    "driver": "driver values from measured sweeps: free air, then added mass or known volume",
    "scale": "write a case at another scale, solve both and say where they differ",
    "rank": "designs side by side at the same tones and the same drive",
    "demo": "predict a bundled case, from anywhere",
}


def parser(chosen: str | None = None) -> argparse.ArgumentParser:
    """Return the argument parser of the whole command line; only the ``chosen`` command's module is loaded."""
    top = argparse.ArgumentParser(
        prog="airpath", description="Predicts and explains what the air in a loudspeaker box does."
    )
    top.add_argument("--version", action="version", version=f"airpath {airpath.__version__}")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name, text in COMMANDS.items():
        command = commands.add_parser(name, help=text, description=text.capitalize() + ".")
        if name == chosen:
            import_module(f"airpath.cli.{name}").arguments(command)
    return top


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return the exit status: 0 done, 2 wrong input, 3 a result that can't be trusted."""
    words = sys.argv[1:] if argv is None else list(argv)
    options = parser(next((word for word in words if word in COMMANDS), None)).parse_args(words)
    try:
        run = import_module(f"airpath.cli.{options.command}").run
        run(options)
        sys.stdout.flush()
    except AirpathError as error:
        print(f"airpath: {error}", file=sys.stderr)
        return error.exit_status
    except BrokenPipeError:  # the reader of a pipe has had enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except OSError as error:
        print(f"airpath: {error.filename or ''}: {error.strerror or error}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("airpath: stopped", file=sys.stderr)
        return 130
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
